"""One better photograph, made of several or of one: what a person chose, ready to be done."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from setstone.annotate.depth_map import write_depth_map
from setstone.record.book import Book
from setstone.record.deriving import combine, correct_light
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.series import derivation_of

Way = Literal["average", "pyramid", "bracket", "light"]

#: Each way, what it is called and what it is for.
WAYS: dict[Way, tuple[str, str]] = {
    "average": (
        "mean of repeats",
        "Photographs taken alike, one after the other: the noise falls with the square root of their number.",
    ),
    "pyramid": (
        "stack through the focus",
        "A series from the table downwards, the focus a little deeper each time: what is sharp in any is kept.",
    ),
    "bracket": (
        "bracket of exposures",
        "The same view exposed shorter and longer: glints and dark facets both keep their detail.",
    ),
    "light": (
        "even, neutral light",
        "One photograph: shading divided out by a blank field, white balanced on a grey card.",
    ),
}


@dataclass(frozen=True)
class Combination:
    """What a person chose to make.

    Parameters
    ----------
    way : {"average", "pyramid", "bracket", "light"}
    entries : tuple of PhotographEntry
        In the order of the focus.
    step_um : float, optional
        How far the focus went down between the frames of a stack, µm; negative where it went up.
    table_frame : int, optional
        Frame, from 1, in which the table is sharp.
    depth_map : Path, optional
        Where to write which frame of a stack each place is sharpest in: a file ending in ``.png``.
    blank, card : Path, optional
        Photographs of a blank field and of a grey card that fills the middle.
    """

    way: Way
    entries: tuple[PhotographEntry, ...]
    step_um: float | None = None
    table_frame: int | None = None
    depth_map: Path | None = None
    blank: Path | None = None
    card: Path | None = None

    def make(
        self, book: Book, stone: StoneEntry, *, by: str, progress: Callable[[str], None]
    ) -> PhotographEntry:
        """Make it and keep it beside its sources.

        Raises
        ------
        BookError, PhotographError
            When it cannot be made of these.
        AnnotateError
            When it was made, and its depth map cannot be written.
        """
        if self.way != "light":
            entry, depth = combine(
                book,
                stone,
                self.entries,
                self.way,
                step_um=self.step_um,
                table_frame=self.table_frame,
                by=by,
                progress=progress,
            )
            if self.depth_map is not None and depth is not None:
                write_depth_map(self.depth_map, depth, len(self.entries))
            return entry
        if len(self.entries) != 1:
            raise BookError("The light is corrected of one photograph at a time; tick just one.")
        progress(self.entries[0].name)
        return correct_light(book, stone, self.entries[0], blank=self.blank, card=self.card, by=by)


def alike(entries: tuple[PhotographEntry, ...], like: PhotographEntry) -> tuple[PhotographEntry, ...]:
    """Those to combine with one: of its light, occasion and setup, not made of others, by when they were taken."""
    same = [
        e
        for e in entries
        if (e.lamp, e.occasion, e.setup_id) == (like.lamp, like.occasion, like.setup_id)
        and not ((made := derivation_of(e)) and made.sources)
    ]
    return tuple(sorted(same, key=lambda e: (e.taken or e.added, e.name)))
