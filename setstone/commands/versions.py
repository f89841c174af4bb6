"""Commands that sign a stone's record, show its versions, and find stones."""

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from setstone.commands.common import (
    HERE,
    LOGIN,
    BookOption,
    ByOption,
    JsonOption,
    StoneArgument,
    in_local_time,
    open_book,
    say,
    show,
    table,
)

if TYPE_CHECKING:
    from setstone.record.progress import Stage


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(sign)
    app.command()(versions)
    app.command()(difference)
    app.command()(search)


def sign(
    stone: StoneArgument,
    take_back: Annotated[
        bool, typer.Option("--take-back", help="Take the signature back; the journal keeps both.")
    ] = False,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Sign the record of a stone as it stands: you stand for it. Later changes make a new version.

    Example: setstone sign lid-3 --by Ada
    """
    from setstone.commands import as_json as j

    with open_book(book) as opened:
        entry = opened.stone(stone)
        if take_back:
            opened.take_signature_back(entry, by=by)
        else:
            opened.sign(entry, by=by)
        found = opened.versions(entry)
    newest = found[-1] if found else None
    number = "" if newest is None else f" version {newest.number} of"
    show(
        as_json,
        None if newest is None else j.version(newest),
        lambda: say(f"{'Took back the signature on' if take_back else 'Signed'}{number} {entry.full_name}."),
    )


def versions(stone: StoneArgument, book: BookOption = HERE, as_json: JsonOption = False) -> None:
    """List the versions of a stone's record: who signed which, and when."""
    from setstone.commands import as_json as j

    with open_book(book) as opened:
        entry = opened.stone(stone)
        found = opened.versions(entry)
        open_changes = len(opened.difference(entry)) if found else 0
    show(
        as_json,
        [{**j.version(v), "record": v.state} for v in found],
        lambda: table(
            ("version", "signed", "taken back"),
            [
                (
                    str(v.number),
                    "; ".join(f"{s.by}, {s.at.astimezone():%Y-%m-%d %H:%M}" for s in v.signatures),
                    "; ".join(f"{s.by}, {s.at.astimezone():%Y-%m-%d %H:%M}" for s in v.taken_back) or "–",
                )
                for v in found
            ],
            f"{entry.full_name} has not been signed yet; sign it with 'setstone sign {entry.position}'.",
        ),
    )
    if open_changes and not as_json:
        say(f"Changed since: {open_changes} values; 'setstone difference {entry.position}' lists them.")


def difference(
    stone: StoneArgument,
    older: Annotated[
        int | None, typer.Argument(help="Number of a version.", show_default="signed last")
    ] = None,
    newer: Annotated[
        int | None, typer.Argument(help="Number of another.", show_default="as it stands now")
    ] = None,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Show what was changed from one version of a stone's record to another.

    Example: setstone difference lid-3 1 2
    """
    from setstone.commands import as_json as j
    from setstone.record.versions import plain

    with open_book(book) as opened:
        changes = opened.difference(opened.stone(stone), older, newer)
    show(
        as_json,
        [j.change(c) for c in changes],
        lambda: table(
            ("of", "what", "before", "after"),
            [(c.of, c.field or "–", plain(c.before), plain(c.after)) for c in changes],
            "Nothing was changed.",
        ),
    )


def search(
    text: Annotated[
        list[str] | None,
        typer.Argument(help="Words that all occur in what the book says of the stone.", show_default=False),
    ] = None,
    species: Annotated[str, typer.Option(help="What it is claimed to be, or is most consistent with.")] = "",
    stage: Annotated[
        list[str] | None,
        typer.Option(
            help="'no photograph', 'to examine', 'to review', 'reviewed' or 'signed'; may be repeated."
        ),
    ] = None,
    contradicted: Annotated[
        bool, typer.Option("--contradicted", help="Only stones whose record holds contradictions.")
    ] = False,
    since: Annotated[datetime | None, typer.Option(help="Something was entered on it since.")] = None,
    until: Annotated[datetime | None, typer.Option(help="Nothing was entered on it from then on.")] = None,
    of: Annotated[str, typer.Option("--object", help="Only stones of this object.")] = "",
    most: Annotated[int, typer.Option(help="How many to list.", min=1)] = 200,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Find stones in the whole book.

    Example: setstone search glue --species ruby --stage "to review"
    """
    from setstone.commands import as_json as j

    with open_book(book) as opened:
        found = opened.search(
            " ".join(text or ()),
            species=species,
            stages=[_stage(s) for s in stage or ()],
            contradicted=contradicted,
            since=in_local_time(since),
            until=in_local_time(until),
            owner=opened.object(of) if of else None,
            most=most,
        )

    def human() -> None:
        table(
            ("object", "stone", "claimed as", "state", "photographs", "findings", "to judge", "last entry"),
            [
                (
                    p.stone.object_name,
                    p.stone.position,
                    p.stone.claimed_as or "–",
                    str(p.stage) + (f", {p.contradictions} contradictions" if p.contradictions else ""),
                    str(p.photographs),
                    str(p.findings),
                    str(p.left),
                    f"{p.changed.astimezone():%Y-%m-%d %H:%M}",
                )
                for p in found.stones
            ],
            "No stone is like that.",
        )
        if len(found.stones) < found.total:
            say(f"{found.total} in all; '--most {found.total}' lists them.")

    show(as_json, {"total": found.total, "stones": [j.progress(p) for p in found.stones]}, human)


def _stage(text: str) -> "Stage":
    from setstone.record.errors import BookError
    from setstone.record.progress import Stage

    try:
        return Stage(text.casefold())
    except ValueError as error:
        known = ", ".join(f"'{s}'" for s in Stage)
        raise BookError(f"'{text}' is no state of a stone; choose one of {known}.") from error
