"""Annotated pictures of a stone: a PNG to look at, and the same drawing as SVG."""

from collections.abc import Sequence
from pathlib import Path

from setstone import __version__
from setstone.annotate.errors import AnnotateError
from setstone.annotate.files import replace_file, safe_stem
from setstone.annotate.legend import with_legend
from setstone.annotate.overlay import overlay_of
from setstone.annotate.png import drawn_on, encode_png
from setstone.annotate.svg import svg_document
from setstone.annotate.texts import english
from setstone.capture.open import open_photograph
from setstone.measure.candidates import LampName
from setstone.record.entries import ExaminationEntry, PhotographEntry, StoneEntry

GENERATOR = f"setstone {__version__}"
#: What annotated pictures are written as.
SUFFIXES = (".png", ".svg")


def write_pictures(
    entry: ExaminationEntry,
    stone: StoneEntry,
    photographs: Sequence[PhotographEntry],
    folder: Path,
) -> tuple[Path, ...]:
    """Write the annotated pictures of one examination: PNG and SVG for each of its photographs.

    Files are named by position, occasion and lamp: ``lid-3-as-received-blue.png``. A picture of ours
    that stands there already is replaced in one step; any other file is left alone.

    Parameters
    ----------
    entry : ExaminationEntry
    stone : StoneEntry
    photographs : sequence of PhotographEntry
        Among them those of the examination; others are passed over.
    folder : Path
        Made where it does not exist.

    Returns
    -------
    tuple of Path
        What was written, white before blue, PNG before SVG.

    Raises
    ------
    AnnotateError
        If a file cannot be written, or one that is not ours stands in its place.
    PhotographError
        If a photograph cannot be opened.
    """
    written: list[Path] = []
    for lamp, photograph in examined(entry, photographs):
        stem = safe_stem(stone.position, entry.occasion, lamp)
        paths = [folder / f"{stem}{suffix}" for suffix in SUFFIXES]
        written += write_picture(entry, stone, photograph, lamp, paths)
    return tuple(written)


def write_picture(
    entry: ExaminationEntry,
    stone: StoneEntry,
    photograph: PhotographEntry,
    lamp: LampName,
    paths: Sequence[Path],
) -> tuple[Path, ...]:
    """Write the annotated picture of one photograph of an examination.

    Parameters
    ----------
    entry : ExaminationEntry
    stone : StoneEntry
    photograph : PhotographEntry
    lamp : {"white", "blue"}
        The light it was examined in.
    paths : sequence of Path
        Files to write; each ends in ``.png`` or ``.svg``.

    Returns
    -------
    tuple of Path
        The same paths.

    Raises
    ------
    AnnotateError, PhotographError
        As `write_pictures`, and when a file is to be of another kind.
    """
    for path in paths:
        if path.suffix.lower() not in SUFFIXES:
            raise AnnotateError(f"'{path.name}' is neither a PNG nor an SVG; end its name in .png or .svg.")
    texts = english()
    pixels = open_photograph(photograph.path).pixels
    overlay = overlay_of(entry, lamp, (pixels.shape[1], pixels.shape[0]), texts)
    drawing = with_legend(overlay, entry, stone, photograph, lamp, texts)
    for path in paths:
        if path.suffix.lower() == ".svg":
            content = svg_document(drawing, GENERATOR).encode()
        else:
            content = encode_png(drawn_on(pixels, drawing), GENERATOR, drawing.description)
        replace_file(path, content)
    return tuple(paths)


def examined(
    entry: ExaminationEntry, photographs: Sequence[PhotographEntry]
) -> tuple[tuple[LampName, PhotographEntry], ...]:
    """Return the photographs an examination was made from, white before blue."""
    by_hash = {p.sha256: p for p in photographs}
    lamps: tuple[tuple[LampName, str | None], ...] = (("white", entry.white), ("blue", entry.blue))
    return tuple((lamp, by_hash[sha]) for lamp, sha in lamps if sha in by_hash)
