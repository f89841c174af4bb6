"""Whether photographs show the stone of the record, and which stone of the book they show."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func, insert, select

from setstone.capture.photograph import Lamp
from setstone.record import schema
from setstone.record.entries import ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.examinations import examination, latest_examinations, read_examination
from setstone.record.inventory import stone_of_id
from setstone.record.photographs import find_photograph, stored_pixels
from setstone.record.store import Store
from setstone.record.vocabulary import Verdict

if TYPE_CHECKING:
    from setstone.measure.candidates import Candidate
    from setstone.measure.fingerprint import Fingerprint
    from setstone.measure.light import Pixels
    from setstone.measure.outline import Outline
    from setstone.measure.same_stone import SameStone

_e, _f, _s = schema.examinations.c, schema.fingerprints.c, schema.stones.c

#: Waves of so many orders are compared in the quick look through a book, and so many stones then thoroughly.
_QUICK, _THOROUGH = 12, 12


@dataclass(frozen=True)
class Match:
    """A stone of the book, on one occasion, beside the photographs asked about."""

    stone: StoneEntry
    occasion: str
    result: "SameStone"


class _Newest(NamedTuple):
    """An examination, the stone, and its fingerprint where it is kept."""

    id: int
    stone_id: int
    packed: bytes | None


@dataclass(frozen=True)
class Found:
    """What a search of the book for the stone in photographs came to.

    Parameters
    ----------
    matches : tuple of Match
        The most alike first, each stone once; none that can't be told.
    stones : int
        How many stones were searched.
    findings : int
        Likely findings in the photographs.
    lacking : int
        Examinations that could not be searched: their fingerprints are not drawn yet, or their photographs are lost.
    """

    matches: tuple[Match, ...]
    stones: int
    findings: int
    lacking: int = 0

    @property
    def says(self) -> str:
        """What it means, in a few sentences; a likelihood ratio is of two stones, so many stones make chance likenesses likelier."""
        if not self.lacking:
            return self._says
        were = "1 examination was" if self.lacking == 1 else f"{self.lacking} examinations were"
        return f"{self._says} {were} not searched: fingerprints are drawn from stored photographs by a search in a book that is open for writing."

    @property
    def _says(self) -> str:
        from setstone.measure.same_stone import FINDINGS

        if not self.stones:
            return "No stone of the book could be searched." + (
                "" if self.lacking else " Examine them first."
            )
        if self.findings < FINDINGS:
            return "Can't tell: the photographs show no likely finding inside, and facets alone are the cut's and not the stone's."
        many = f"{self.stones} stone{'s' if self.stones > 1 else ''} of the book"
        if not self.matches:
            return (
                f"Of {many} none can be told to be like it. That does not show that it is none of them: of computed stones "
                "photographed anew about one in four could not be told."
            )
        chance = self.stones / self.matches[0].result.likelihood_ratio
        return (
            f"Searched among {many}, of which {'up to ' if chance >= 0.1 else 'fewer than '}{max(chance, 0.1):.1f} would be as alike by chance "
            "as the first, by the calibration on computed stones."
        )


def fingerprint_of_files(files: Sequence[Path]) -> "Fingerprint":
    """Draw the fingerprint of the stone in photographs that are not in the book.

    Parameters
    ----------
    files : sequence of Path
        One under white light, one under blue, or both; the lamp is read from file and picture.

    Returns
    -------
    Fingerprint

    Raises
    ------
    BookError
        When there is more than one of a lamp, or the lamp of one cannot be told.
    PhotographError, MeasurementError
        When one cannot be opened, or shows no stone.
    """
    from setstone.capture.lamp import recognise_lamp
    from setstone.capture.open import open_photograph
    from setstone.measure.examine import examine

    by_lamp: dict[Lamp, Pixels] = {}
    for file in files:
        photograph = open_photograph(file)
        lamp = photograph.lamp_hint or recognise_lamp(photograph.pixels).lamp
        if lamp is Lamp.OTHER:
            raise BookError(
                f"The light of '{file.name}' cannot be told; name it like 'stone_white.jpg' or 'stone_blue.jpg'."
            )
        if lamp in by_lamp:
            raise BookError(f"There are two photographs under {lamp} light; give one of each lamp.")
        by_lamp[lamp] = photograph.pixels
    white, blue = by_lamp.get(Lamp.WHITE), by_lamp.get(Lamp.BLUE)
    result = examine(white, blue)
    assert result.outline is not None  # noqa: S101 -- `examine` raises where there is none
    return _drawn(result.outline, result.candidates, white, blue, result.blue_to_white)


def fingerprint_of(book: Store, entry: ExaminationEntry) -> "Fingerprint":
    """Draw the fingerprint of a stone from its stored photographs and what was decided on them.

    Parameters
    ----------
    entry : ExaminationEntry

    Returns
    -------
    Fingerprint
        Findings weigh in full, what was rejected not at all, the rest by its score.

    Raises
    ------
    BookError
        When it has no outline, or a photograph was altered or lost.
    """
    if entry.result.outline is None:
        raise BookError("That examination has no outline; examine the stone again.")
    white, blue = (
        None if sha is None else stored_pixels(find_photograph(book, sha))
        for sha in (entry.white, entry.blue)
    )
    held = [
        replace(c.candidate, score=1.0) if c.is_finding else c.candidate
        for c in entry.candidates
        if c.decision is None or c.decision.verdict is not Verdict.REJECTED
    ]
    return _drawn(entry.result.outline, held, white, blue, entry.result.blue_to_white)


def compare_stone(
    book: Store, stone: StoneEntry, with_print: "Fingerprint", *, occasion: str | None = None
) -> tuple[Match, ...]:
    """Weigh whether photographs show a stone of the book.

    Parameters
    ----------
    stone : StoneEntry
    with_print : Fingerprint
        Of the photographs.
    occasion : str, optional
        Beside which of its photographs; beside those of every occasion when not given.

    Returns
    -------
    tuple of Match
        One for each occasion, the most alike first.

    Raises
    ------
    BookError
        When the stone has not been examined.
    """
    from setstone.measure.same_stone import same_stone

    if occasion is not None:
        entries: tuple[ExaminationEntry, ...] = (examination(book, stone, occasion),)
    else:
        entries = latest_examinations(book, stone) or (examination(book, stone),)
    found = [
        Match(stone, entry.occasion, same_stone(with_print, fingerprint_of(book, entry))) for entry in entries
    ]
    return tuple(sorted(found, key=lambda m: -m.result.likelihood_ratio))


def draw_fingerprints(book: Store, progress: Callable[[str], None] | None = None) -> int:
    """Draw and keep the fingerprints that a search of the book still lacks.

    Parameters
    ----------
    progress : callable, optional
        Told the name of each stone as its turn comes.

    Returns
    -------
    int
        How many were drawn; none in a book that is open for reading only.
    """
    if book.why_read_only:
        return 0
    lacking = [one.id for one in _newest(book) if one.packed is None]
    drawn = 0
    for number in lacking:
        with book.snapshot() as connection:
            entry = read_examination(connection, number)
            stone = stone_of_id(connection, entry.stone_id)
        if progress is not None:
            progress(stone.position)
        try:
            row = packed(fingerprint_of(book, entry))
        except BookError:
            continue  # a photograph lost or altered: checking the book tells of it
        with book.atomic() as connection:
            known = select(_f.examination_id).where(_f.examination_id == number)
            # What was judged meanwhile asks for another.
            same = read_examination(connection, number).judged == entry.judged
            if same and connection.execute(known).first() is None:
                connection.execute(insert(schema.fingerprints).values(examination_id=number, packed=row))
        drawn += 1
    return drawn


def find_stone_of(book: Store, shown: "Fingerprint", *, most: int = 5) -> Found:
    """Find the stones of the book that photographs may show.

    A quick look at the slow waves of all fingerprints that are kept (`draw_fingerprints`), then a thorough one at the best
    few.

    Parameters
    ----------
    shown : Fingerprint
        Of the photographs.
    most : int
        How many to name.

    Returns
    -------
    Found
    """
    from setstone.measure.fingerprint import ORDERS, WEIGHTS, likeness_of_waves
    from setstone.measure.same_stone import Strength, same_stone

    newest = _newest(book)
    kept = [(one.id, one.packed) for one in newest if one.packed is not None]
    if not kept:
        return Found((), 0, shown.findings, len(newest))
    slow = slice(ORDERS - _QUICK, ORDERS + _QUICK + 1)
    quick = np.stack([_unpacked_waves(row)[..., slow] for _, row in kept])
    layers, _ = likeness_of_waves(shown.waves[..., slow], quick)
    best = np.argsort(-(layers @ WEIGHTS))[:_THOROUGH]
    matches: dict[int, Match] = {}
    for at in best:
        with book.snapshot() as connection:
            entry = read_examination(connection, kept[at][0])
            stone = stone_of_id(connection, entry.stone_id)
        match = Match(stone, entry.occasion, same_stone(shown, _unpacked(kept[at][1])))
        before = matches.get(stone.id)
        if before is None or match.result.likelihood_ratio > before.result.likelihood_ratio:
            matches[stone.id] = match
    told = (m for m in matches.values() if m.result.strength in (Strength.STRONG, Strength.SOME))
    best_first = sorted(told, key=lambda m: -m.result.likelihood_ratio)
    return Found(
        tuple(best_first[:most]),
        len({one.stone_id for one in newest if one.packed is not None}),
        shown.findings,
        len(newest) - len(kept),
    )


def _newest(book: Store) -> list[_Newest]:
    """Newest examination of each occasion of each stone in the book, and its fingerprint where it is kept."""
    newest = (
        select(func.max(_e.id).label("id"), _e.stone_id)
        .join(schema.stones, _s.id == _e.stone_id)
        .where(_s.removed.is_(None))
        .group_by(_e.stone_id, _e.occasion)
        .subquery()
    )
    query = (
        select(newest.c.id, newest.c.stone_id, _f.packed)
        .outerjoin(schema.fingerprints, _f.examination_id == newest.c.id)
        .order_by(newest.c.id)
    )
    with book.snapshot() as connection:
        return [_Newest(*row) for row in connection.execute(query)]


def _drawn(
    outline: "Outline",
    candidates: "Sequence[Candidate]",
    white: "Pixels | None",
    blue: "Pixels | None",
    blue_to_white: NDArray[np.float64] | None,
) -> "Fingerprint":
    from setstone.measure.align import warp
    from setstone.measure.fingerprint import fingerprint

    if white is not None and blue is not None:
        blue = None if blue_to_white is None else warp(blue, blue_to_white, white.shape[:2])
    return fingerprint(outline, candidates, white, blue)


def packed(drawn: "Fingerprint") -> bytes:
    """Write it as it is kept: number of findings, largest amplitude of each layer, amplitudes in bytes; 12 kB."""
    parts = np.stack([drawn.waves.real, drawn.waves.imag], axis=-1)
    largest = np.maximum(np.abs(parts).max(axis=(1, 2, 3)), 1e-12).astype("<f4")
    whole = np.rint(parts / largest[:, None, None, None] * 127).astype(np.int8)
    return np.array([drawn.findings], "<i4").tobytes() + largest.tobytes() + whole.tobytes()


def _unpacked(row: bytes) -> "Fingerprint":
    from setstone.measure.fingerprint import Fingerprint

    findings = int(np.frombuffer(row, "<i4", 1)[0])
    return Fingerprint(_unpacked_waves(row), findings)


def _unpacked_waves(row: bytes) -> NDArray[np.complex64]:
    from setstone.measure.fingerprint import LAYERS, ORDERS, RINGS

    largest = np.frombuffer(row, "<f4", len(LAYERS), offset=4)
    whole = np.frombuffer(row, np.int8, offset=4 + 4 * len(LAYERS))
    parts = whole.reshape(len(LAYERS), RINGS, 2 * ORDERS + 1, 2).astype(np.float32)
    parts *= largest[:, None, None, None] / 127
    return parts.view(np.complex64)[..., 0]
