"""Files dropped at the window become photographs of a stone: each by itself, so that a bad one spoils none."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from setstone.annotate.bench.choosing import likely_occasion
from setstone.capture.errors import PhotographError
from setstone.capture.lamp import recognise_lamp
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp
from setstone.record.book import Book
from setstone.record.clock import in_utc
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError


@dataclass(frozen=True)
class Arrival:
    """What became of files that were dropped.

    Parameters
    ----------
    added : tuple of PhotographEntry
    known : tuple of PhotographEntry
        Those the stone had already.
    problems : tuple of str
        One sentence for each file that was not added.
    """

    added: tuple[PhotographEntry, ...]
    known: tuple[PhotographEntry, ...]
    problems: tuple[str, ...]


def add_files(
    book: Book, stone: StoneEntry, files: Sequence[Path], *, by: str, progress: Callable[[str], None]
) -> Arrival:
    """Add files as photographs of a stone, with the light and the occasion they most likely have.

    Parameters
    ----------
    book : Book
    stone : StoneEntry
    files : sequence of Path
    by : str
        Who adds them.
    progress : callable
        Told the name of each file; whatever it raises ends the work, and what was added stays.

    Returns
    -------
    Arrival
    """
    added: list[PhotographEntry] = []
    known: list[PhotographEntry] = []
    problems: list[str] = []
    for file in files:
        progress(file.name)
        try:
            occasion = _occasion(book, stone, file)
            entry, is_new = book.add_photograph(stone, file, occasion=occasion, by=by)
        except (PhotographError, BookError) as error:
            problems.append(str(error))
        else:
            (added if is_new else known).append(entry)
    return Arrival(tuple(added), tuple(known), tuple(problems))


def _occasion(book: Book, stone: StoneEntry, file: Path) -> str:
    photograph = open_photograph(file)
    lamp = recognise_lamp(photograph.pixels).lamp
    if lamp is Lamp.OTHER and photograph.lamp_hint is not None:
        lamp = photograph.lamp_hint
    try:
        taken = None if photograph.taken is None else in_utc(photograph.taken)
    except (OverflowError, OSError, ValueError):
        taken = None  # the clock of the camera was never set
    return likely_occasion(book.photographs(stone), lamp, taken)
