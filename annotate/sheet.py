"""What the hand-out tells about one stone, gathered from a book and ready to be laid out."""

from dataclasses import dataclass
from datetime import datetime

import cv2
import numpy as np

from setstone.annotate.errors import AnnotateError
from setstone.annotate.overlay import overlay_of, um_per_px
from setstone.annotate.pictures import examined
from setstone.annotate.png import eight_bit
from setstone.annotate.shapes import Overlay
from setstone.annotate.texts import Texts
from setstone.capture.errors import PhotographError
from setstone.capture.open import open_photograph
from setstone.measure.candidates import LampName
from setstone.measure.light import Pixels
from setstone.record.book import Book
from setstone.record.consistency import Consistency, ReadAs, consistency
from setstone.record.entries import (
    ExaminationEntry,
    FactEntry,
    PhotographEntry,
    RemarkEntry,
    StoneEntry,
    WorkEntry,
)
from setstone.record.versions import Version

#: Longest side of a picture in the hand-out, in pixels: enough for a full screen, small enough to send.
LONGEST_SIDE = 1600
JPEG_QUALITY = 88
#: The hand-out shows pictures at about half a screen's width: the drawing is enlarged to stay readable.
ENLARGED = 1.35


@dataclass(frozen=True, eq=False)
class PictureSheet:
    """One photograph of an examination, with what is drawn over it.

    Parameters
    ----------
    lamp : {"white", "blue"}
    photograph : PhotographEntry
    jpeg : bytes
        A copy of the photograph, not larger than `LONGEST_SIDE`, without any mark.
    width, height : int
        Of that copy, in pixels.
    overlay : Overlay
        In pixels of the original.
    um_per_px : float or None
        Of the original.
    """

    lamp: LampName
    photograph: PhotographEntry
    jpeg: bytes
    width: int
    height: int
    overlay: Overlay
    um_per_px: float | None


@dataclass(frozen=True, eq=False)
class OccasionSheet:
    """The examination that counts for one occasion, with its pictures."""

    examination: ExaminationEntry
    pictures: tuple[PictureSheet, ...]


@dataclass(frozen=True, eq=False)
class StoneSheet:
    """All the hand-out tells about one stone."""

    stone: StoneEntry
    occasions: tuple[OccasionSheet, ...]
    readings: tuple[ReadAs, ...]
    remarks: tuple[RemarkEntry, ...]
    consistency: Consistency
    #: What is said of its object, and of how it sits there.
    object_facts: tuple[FactEntry, ...]
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
    entries = sorted(book.latest_examinations(stone), key=lambda e: _begun(e, photographs))
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
        readings=found.read,
        remarks=tuple(book.remarks(stone)),
        consistency=found,
        object_facts=book.facts(owner),
        facts=book.facts(stone),
        work=book.work(stone),
        version=versions[-1] if versions else None,
        changed_since=all(p.signature is None for p in book.progress([stone.id])),
    )


def jpeg_copy(pixels: Pixels) -> tuple[bytes, int, int]:
    """Encode a photograph for the hand-out, made smaller where it is large; and tell width and height."""
    shrink = min(1.0, LONGEST_SIDE / max(pixels.shape[:2]))
    width, height = round(pixels.shape[1] * shrink), round(pixels.shape[0] * shrink)
    small = eight_bit(pixels)
    if shrink < 1:
        small = np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
    # full colour resolution: thin saturated lines on dark ground suffer first
    settings = [
        cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
    ]  # fmt: skip
    _, encoded = cv2.imencode(".jpg", cv2.cvtColor(small, cv2.COLOR_RGB2BGR), settings)
    return encoded.tobytes(), width, height


def _picture(
    entry: ExaminationEntry, lamp: LampName, photograph: PhotographEntry, texts: Texts
) -> PictureSheet:
    try:
        pixels = open_photograph(photograph.path).pixels
    except PhotographError as error:
        raise AnnotateError(f"The hand-out cannot be made: {error}") from error
    size = (pixels.shape[1], pixels.shape[0])
    overlay = overlay_of(entry, lamp, size, texts, enlarged=ENLARGED)
    return PictureSheet(lamp, photograph, *jpeg_copy(pixels), overlay, um_per_px(entry, lamp))


def _begun(entry: ExaminationEntry, photographs: tuple[PhotographEntry, ...]) -> datetime:
    """When the photographs of an examination were taken, or else added."""
    return min((p.taken or p.added for _, p in examined(entry, photographs)), default=entry.made)
