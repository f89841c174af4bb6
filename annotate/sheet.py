"""What the hand-out tells about one stone, gathered from a book and ready to be laid out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from setstone.annotate.errors import AnnotateError
from setstone.annotate.overlay import overlay_of, um_per_px
from setstone.annotate.overview import CutOut, cut_out
from setstone.annotate.photo_copies import LONGEST_SIDE, PhotoCopies, copies_of, small_copy
from setstone.annotate.pictures import examined
from setstone.annotate.png import eight_bit
from setstone.annotate.shapes import Overlay
from setstone.annotate.sheet_compare import ComparisonSheet, comparison_sheet
from setstone.annotate.texts import Texts
from setstone.capture.errors import PhotographError
from setstone.capture.open import open_photograph
from setstone.measure.candidates import LampName
from setstone.record.book import Book
from setstone.record.consistency import Consistency, ReadAs, consistency
from setstone.record.entries import (
    ExaminationEntry,
    FactEntry,
    ObjectPhotograph,
    PhotographEntry,
    RemarkEntry,
    StoneEntry,
    WorkEntry,
)
from setstone.record.versions import Version

#: The hand-out shows pictures at about half a screen's width: the drawing is enlarged to stay readable.
ENLARGED = 1.35


@dataclass(frozen=True, eq=False)
class PictureSheet:
    """One photograph of an examination, with what is drawn over it.

    Parameters
    ----------
    lamp : {"white", "blue"}
    photograph : PhotographEntry
    copies : PhotoCopies
    cut_out : CutOut
        The stone alone.
    overlay : Overlay
        In pixels of the original.
    um_per_px : float or None
        Of the original.
    """

    lamp: LampName
    photograph: PhotographEntry
    copies: PhotoCopies
    cut_out: CutOut
    overlay: Overlay
    um_per_px: float | None


@dataclass(frozen=True, eq=False)
class OccasionSheet:
    """The examination that counts for one occasion, with its pictures."""

    examination: ExaminationEntry
    pictures: tuple[PictureSheet, ...]


@dataclass(frozen=True, eq=False)
class ObjectPicture:
    """The object as a whole, with the places of its stones.

    Parameters
    ----------
    photograph : ObjectPhotograph
    jpeg : bytes
    width, height : int
        Of the JPEG, in pixels.
    """

    photograph: ObjectPhotograph
    jpeg: bytes
    width: int
    height: int


@dataclass(frozen=True, eq=False)
class StoneSheet:
    """All the hand-out tells about one stone."""

    stone: StoneEntry
    occasions: tuple[OccasionSheet, ...]
    #: The first occasion beside the last; None where there is only one.
    comparison: ComparisonSheet | None
    readings: tuple[ReadAs, ...]
    remarks: tuple[RemarkEntry, ...]
    consistency: Consistency
    #: What is said of its object, and of how it sits there.
    object_facts: tuple[FactEntry, ...]
    #: Its object as a whole; None where no photograph of it is shown.
    object_picture: ObjectPicture | None
    facts: tuple[FactEntry, ...]
    work: tuple[WorkEntry, ...]
    #: The version of the record signed last, and whether it was changed since; None while nobody signed.
    version: Version | None
    changed_since: bool


def sheet_of(book: Book, stone: StoneEntry, texts: Texts) -> StoneSheet:
    """Gather what a book holds about a stone.

    Parameters
    ----------
    book : Book
    stone : StoneEntry
    texts : Texts

    Returns
    -------
    StoneSheet
        With the latest examination of each occasion, the earliest occasion first.

    Raises
    ------
    AnnotateError
        If a photograph of an examination cannot be opened.
    """
    photographs = book.photographs(stone)
    entries = book.latest_examinations(stone)
    found = consistency(book, stone)
    owner = next(o for o in book.objects() if o.id == stone.object_id)
    # What was signed and taken back again is not shown.
    versions = book.versions(stone) if book.signature(stone) is not None else ()
    return StoneSheet(
        stone=stone,
        occasions=tuple(
            OccasionSheet(e, tuple(_picture(e, lamp, p, texts) for lamp, p in examined(e, photographs)))
            for e in entries
        ),
        comparison=_comparison(book, stone, [entry.occasion for entry in entries]),
        readings=found.read,
        remarks=tuple(book.remarks(stone)),
        consistency=found,
        object_facts=book.facts(owner),
        object_picture=_object_picture(book.object_photograph(owner)),
        facts=book.facts(stone),
        work=book.work(stone),
        version=versions[-1] if versions else None,
        changed_since=all(p.signature is None for p in book.progress([stone.id])),
    )


def _comparison(book: Book, stone: StoneEntry, occasions: Sequence[str]) -> ComparisonSheet | None:
    """The two days a person compared and kept last; else the first and the last."""
    kept = [(c.before, c.after) for c in book.comparisons(stone) if {c.before, c.after} <= set(occasions)]
    if kept:
        return comparison_sheet(book, stone, *kept[-1])
    return comparison_sheet(book, stone, occasions[0], occasions[-1]) if len(occasions) > 1 else None


def told_in(sheet: StoneSheet, texts: Texts) -> StoneSheet:
    """Return the same in another language: what is drawn on the photographs is lettered anew."""
    return replace(
        sheet,
        occasions=tuple(
            replace(
                occasion,
                pictures=tuple(_told(occasion.examination, picture, texts) for picture in occasion.pictures),
            )
            for occasion in sheet.occasions
        ),
    )


def _told(entry: ExaminationEntry, picture: PictureSheet, texts: Texts) -> PictureSheet:
    size = (picture.overlay.width, picture.overlay.height)
    return replace(picture, overlay=overlay_of(entry, picture.lamp, size, texts, enlarged=ENLARGED))


def _picture(
    entry: ExaminationEntry, lamp: LampName, photograph: PhotographEntry, texts: Texts
) -> PictureSheet:
    try:
        pixels = eight_bit(open_photograph(photograph.path).pixels)
    except PhotographError as error:
        raise AnnotateError(f"The hand-out cannot be made: {error}") from error
    size = (pixels.shape[1], pixels.shape[0])
    overlay = overlay_of(entry, lamp, size, texts, enlarged=ENLARGED)
    um = um_per_px(entry, lamp)
    return PictureSheet(lamp, photograph, copies_of(pixels), cut_out(pixels, overlay, um), overlay, um)


def _object_picture(photograph: ObjectPhotograph | None) -> ObjectPicture | None:
    if photograph is None:
        return None
    try:
        return ObjectPicture(photograph, *_object_jpeg(photograph.path, photograph.sha256))
    except PhotographError as error:
        raise AnnotateError(f"The hand-out cannot be made: {error}") from error


@lru_cache(maxsize=4)  # all stones of an object show it
def _object_jpeg(path: Path, _sha256: str) -> tuple[bytes, int, int]:
    return small_copy(eight_bit(open_photograph(path).pixels), LONGEST_SIDE, 85)
