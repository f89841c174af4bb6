"""Comparisons of two occasions as kept in the book; the review raises what differs between them."""

from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, RowMapping, Select, insert, or_, select

from setstone import __version__
from setstone.record import schema
from setstone.record.clock import now
from setstone.record.convert import from_json, to_json
from setstone.record.deciding import require_newest
from setstone.record.entries import ComparisonEntry, ComparisonResult, ExaminationEntry, Seen, StoneEntry
from setstone.record.errors import BookError
from setstone.record.examinations import read_examination
from setstone.record.inventory import stone_of_id
from setstone.record.journal import note
from setstone.record.store import Store, new_id
from setstone.record.text import operator

if TYPE_CHECKING:
    from setstone.measure.changes import Change
    from setstone.record.before_after import BeforeAfter
    from setstone.record.changing import Comparison

_k = schema.comparisons.c
_before, _after = schema.examinations.alias("before"), schema.examinations.alias("after")


def keep_comparison(book: Store, found: "BeforeAfter", *, by: str) -> ComparisonEntry:
    """Keep what comparing two occasions has shown.

    What was kept before stays. The same result by the same setstone is kept once.

    Parameters
    ----------
    found : BeforeAfter
    by : str
        Who compared.

    Returns
    -------
    ComparisonEntry

    Raises
    ------
    BookError
        When nobody is named, the photographs do not lie on one another, or candidates were judged since.
    """
    by = operator(by, required=True)
    at = now()
    comparison = found.required
    before, after = comparison.both.before, comparison.both.after
    result = _result(found, comparison)
    with book.atomic() as connection:
        for day in (before, after):
            require_newest(connection, day)
            if read_examination(connection, day.id).judged != day.judged:
                raise BookError(
                    f"Candidates of '{day.occasion}' were judged or drawn since this comparison was made; compare again, then keep it."
                )
        if (known := _same_kept(connection, before.id, after.id, result)) is not None:
            return known
        made = connection.execute(
            insert(schema.comparisons).values(
                before_id=before.id,
                after_id=after.id,
                version=__version__,
                result=to_json(result),
                by=by,
                at=at,
            )
        )
        kept = _entry(connection.execute(_query().where(_k.id == new_id(made))).mappings().one())
        stone = stone_of_id(connection, before.stone_id)
        note(
            connection,
            at,
            by,
            "compare",
            stone.full_name,
            stone_id=stone.id,
            after={
                "before": _photographs(before),
                "after": _photographs(after),
                "residual, µm": result.residual_um,
                "seen on one day only": [_told(kept, one) for one in result.seen if one.differs],
            },
        )
    return kept


def comparisons(book: Store, stone: StoneEntry) -> tuple[ComparisonEntry, ...]:
    """Read the comparisons kept of a stone, oldest first.

    Parameters
    ----------
    stone : StoneEntry

    Returns
    -------
    tuple of ComparisonEntry
    """
    with book.snapshot() as connection:
        rows = connection.execute(_query().where(_before.c.stone_id == stone.id).order_by(_k.id)).mappings()
        return tuple(map(_entry, rows))


def comparison_kept(book: Store, found: "BeforeAfter") -> ComparisonEntry | None:
    """Read what was kept last of two examinations, where it is what this setstone finds now; None elsewhere.

    Parameters
    ----------
    found : BeforeAfter

    Returns
    -------
    ComparisonEntry or None
    """
    if found.comparison is None:
        return None
    both = found.comparison.both
    with book.snapshot() as connection:
        return _same_kept(connection, both.before.id, both.after.id, _result(found, found.comparison))


def differing(book: Store, entry: ExaminationEntry) -> dict[int, Seen]:
    """Tell which candidates of an examination were not seen on another day it was compared with.

    Parameters
    ----------
    entry : ExaminationEntry

    Returns
    -------
    dict of int to Seen
        By number.
    """
    of_it = or_(_k.before_id == entry.id, _k.after_id == entry.id)
    with book.snapshot() as connection:
        rows = connection.execute(_query().where(of_it).order_by(_k.id)).mappings()
        newest: dict[str, ComparisonEntry] = {}
        for kept in map(_entry, rows):
            other = kept.before if kept.after_id == entry.id else kept.after
            newest.pop(other, None)  # of each other day what was kept last, in the order in which it was
            newest[other] = kept
    found: dict[int, Seen] = {}
    for kept in newest.values():
        for one in kept.result.seen:
            here = one.differs and one.of_after == (kept.after_id == entry.id)
            # What one other day raises as damage, no third takes back.
            if here and not (one.number in found and found[one.number].possible_damage):
                found[one.number] = one
    return found


def state_of_comparison(entry: ComparisonEntry) -> dict[str, object]:
    """Say what a comparison has shown in plain values, for the versions of a record."""
    residual = entry.result.residual_um
    more = {
        "same stone": entry.result.same,
        "glue": list(entry.result.glue),
        "notes": list(entry.result.notes),
    }
    return {
        "before": entry.before,
        "after": entry.after,
        "turned": f"{entry.result.turned_deg:.1f}°",
        "residual": None if residual is None else f"{residual:.0f} µm",
        "seen on one day only": [_told(entry, one) for one in entry.result.seen if one.differs],
        **{what: told for what, told in more.items() if told},  # absent from what older versions kept
        "setstone": entry.version,
        "by": entry.by,
        "at": entry.at.isoformat(),
    }


def _result(found: "BeforeAfter", comparison: "Comparison") -> ComparisonResult:
    from setstone.measure.same_stone import meaning
    from setstone.record.glue_words import glue_notes, glue_rows

    registration = comparison.both.registration
    glue: tuple[str, ...] = (found.no_glue,) if found.no_glue else ()
    if found.glue is not None:
        rows = (f"{what}: {before}, then {after}" for what, before, after in glue_rows(found.glue))
        glue = (*rows, *glue_notes(found.glue))
    return ComparisonResult(
        after_to_before=tuple(tuple(map(float, row)) for row in registration.matrix),
        turned_deg=float(registration.turned_deg),
        residual_um=None if comparison.residual_um is None else float(comparison.residual_um),
        seen=tuple(
            Seen(
                one.entry.number,
                bool(one.change.of_after),
                str(one.change.where),
                bool(one.change.possible_damage),
                one.says,
                _end(one.change),
            )
            for one in comparison.changed
        ),
        same=found.no_same if found.same is None else f"{found.same.strength}. {meaning(found.same)}",
        glue=glue,
        notes=comparison.both.notes,
    )


def _end(change: "Change") -> tuple[tuple[float, float], ...]:
    """The end of a line that is longer after, to a tenth of a pixel."""
    if change.grown is None or change.where != "longer after":
        return ()
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in change.grown)


def _photographs(entry: ExaminationEntry) -> dict[str, str | None]:
    return {"occasion": entry.occasion, "white": entry.white, "blue": entry.blue}


def _told(entry: ComparisonEntry, one: Seen) -> str:
    return f"{one.number}, {entry.after if one.of_after else entry.before}: {one.says}"


def _query() -> Select[Any]:
    return (
        select(
            schema.comparisons,
            _before.c.stone_id,
            _before.c.occasion.label("before"),
            _after.c.occasion.label("after"),
        )
        .join(_before, _before.c.id == _k.before_id)
        .join(_after, _after.c.id == _k.after_id)
    )


def _same_kept(
    connection: Connection, before_id: int, after_id: int, result: ComparisonResult
) -> ComparisonEntry | None:
    newest = _query().where(_k.before_id == before_id, _k.after_id == after_id).order_by(_k.id.desc())
    row = connection.execute(newest.limit(1)).mappings().first()
    if row is None:
        return None
    kept = _entry(row)
    return kept if (kept.result, kept.version) == (result, __version__) else None


def _entry(row: RowMapping) -> ComparisonEntry:
    return ComparisonEntry(**{**row, "result": from_json(row["result"], ComparisonResult)})
