"""What napari reads and writes for setstone, as plain layer tuples: data, settings, kind. All lengths in micrometres.

Nothing here needs napari or Qt; `annotate/napari.yaml` names these functions as readers, writer and sample data.
"""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from setstone.annotate.bench.geometry import ellipse_corners
from setstone.annotate.errors import AnnotateError
from setstone.annotate.overlay import shown
from setstone.annotate.pictures import examined, write_picture
from setstone.annotate.png import eight_bit
from setstone.annotate.style import CANDIDATE, FINDING, OUTLINE
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Photograph
from setstone.measure.errors import MeasurementError
from setstone.record.book import Book
from setstone.record.entries import CandidateEntry, ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.photographs import stored_pixels
from setstone.record.place import DATABASE
from setstone.sample_images import sample_stones

#: Data, settings and kind of one layer, as napari takes them.
LayerTuple = tuple[Any, dict[str, Any], str]
Reader = Callable[[str | list[str]], list[LayerTuple]]

#: Stones of the sample data lie so far apart, in micrometres.
_APART_UM = 300.0


def photograph_reader(path: str | list[str]) -> Reader | None:
    """Give napari the reader of photographs.

    Parameters
    ----------
    path : str or list of str

    Returns
    -------
    callable or None
    """
    return None if any(Path(p).is_dir() for p in _all(path)) else read_photographs


def read_photographs(path: str | list[str]) -> list[LayerTuple]:
    """Read photographs as image layers.

    Their scale is read from the scale bar, or else taken from the file; without either they are in pixels.

    Raises
    ------
    PhotographError
        When a file is no photograph.
    """
    return [_image(open_photograph(Path(p))) for p in _all(path)]


def book_reader(path: str | list[str]) -> Reader | None:
    """Give napari the reader of books, for a folder that holds one."""
    folders = _all(path)
    return read_book if len(folders) == 1 and (Path(folders[0]) / DATABASE).is_file() else None


def read_book(path: str | list[str]) -> list[LayerTuple]:
    """Read the first examined stone of a book: both photographs, the girdle, findings and candidates.

    The whole book, one stone after the other, is shown by the panels.

    Raises
    ------
    BookError
        When the book cannot be opened, or holds no photograph.
    """
    folder = Path(_all(path)[0])
    with Book.open(folder, read_only=True) as book:
        for stone in book.stones():
            entries = book.latest_examinations(stone)
            if entries:
                return list(_examined_layers(book, stone, entries[-1]))
        for stone in book.stones():
            photographs = book.photographs(stone)
            if photographs:
                return [_image(open_photograph(p.path), f"{stone.position}, {p.name}") for p in photographs]
    raise BookError(f"The book '{folder}' holds no photograph yet; add some in the panels of setstone.")


def write_annotated(path: str, layers: list[LayerTuple]) -> list[str]:
    """Write the annotated picture of the photograph that is shown, with its legend, as PNG or SVG.

    It is drawn from the book the layers come from, so that it holds what was decided, in the form of all
    annotated pictures of setstone.

    Parameters
    ----------
    path : str
        Ending in ``.png`` or ``.svg``.
    layers : list of layer tuples
        At least one of them shown by setstone.

    Returns
    -------
    list of str
        The file written.

    Raises
    ------
    AnnotateError
        When no layer comes from a book, its stone is not examined, or the file cannot be written.
    """
    wanted = [
        settings["metadata"]["setstone"]
        for _, settings, kind in layers
        if kind == "image" and settings.get("visible", True) and _is_ours(settings)
    ]
    if not wanted:
        raise AnnotateError(
            "None of these layers is a photograph of a book; open the stone in the panels of setstone first."
        )
    # The one on top is what is seen.
    where = wanted[-1]
    with Book.open(Path(where["book"]), read_only=True) as book:
        stone = book.stone(where["stone"])
        entry = book.latest_examination(stone, where["occasion"])
        if entry is None:
            raise AnnotateError(f"{stone.full_name} is not examined on that occasion; examine it first.")
        for lamp, photograph in examined(entry, book.photographs(stone)):
            if lamp == where["lamp"]:
                return [str(p) for p in write_picture(entry, stone, photograph, lamp, [Path(path)])]
    raise AnnotateError(
        f"The examination of {stone.full_name} did not use this photograph; examine it again."
    )


def snuff_box() -> list[LayerTuple]:
    """Sample data: the stones of the demo snuff box side by side, white light above blue light."""
    layers = []
    left = 0.0
    for sample in sample_stones():
        low = 0.0
        for lamp in ("white", "blue"):
            photograph = open_photograph(sample.folder / f"before_{lamp}.jpg")
            pixels, settings, kind = _image(photograph, f"{sample.position}, {lamp} light")
            layers.append((pixels, {**settings, "translate": (low, left)}, kind))
            height, width = (side * settings["scale"][0] for side in pixels.shape[:2])
            low += height + _APART_UM
        left += width + _APART_UM
    return layers


def _image(photograph: Photograph, name: str = "") -> LayerTuple:
    return (
        eight_bit(photograph.pixels),
        {"name": name or Path(photograph.name).stem, "rgb": True, **_in_um(_scale(photograph))},
        "image",
    )


def _scale(photograph: Photograph) -> float | None:
    # Reading scale bars loads the recogniser of print: only where a photograph is opened.
    from setstone.measure.scalebar import find_scale_bar, scale_from_bar

    bar = find_scale_bar(photograph.pixels)
    try:
        return photograph.um_per_px if bar is None else scale_from_bar(bar).um_per_px
    except MeasurementError:
        return photograph.um_per_px  # its label cannot be read for certain


def _in_um(um_per_px: float | None) -> dict[str, Any]:
    return {
        "scale": (um_per_px or 1.0,) * 2,
        "units": ("µm" if um_per_px else "pixel",) * 2,
    }


def _examined_layers(book: Book, stone: StoneEntry, entry: ExaminationEntry) -> Iterator[LayerTuple]:
    result = entry.result
    place = _in_um(None if result.scale is None else result.scale.um_per_px)
    where = {"book": str(book.folder), "stone": stone.full_name, "occasion": entry.occasion, "there": True}
    title = f"{stone.position}, {entry.occasion}"
    for lamp, photograph in examined(entry, book.photographs(stone)):
        aligned = {}
        if lamp != result.reference and result.blue_to_white is not None:
            aligned = {"affine": _world(result.blue_to_white, place["scale"][0])}
        yield (
            eight_bit(stored_pixels(photograph)),
            {
                "name": f"{title}, {lamp} light",
                "rgb": True,
                "visible": lamp == result.reference,
                "metadata": {"setstone": {**where, "lamp": lamp}},
                **place,
                **aligned,
            },
            "image",
        )
    thick = max(1.0, 2 * max(result.size) / 1000)
    drawn = {"face_color": "transparent", "edge_width": thick, "metadata": {"setstone": where}, **place}
    if result.outline is not None:
        yield (
            [result.outline.points[:, ::-1]],
            {"name": f"{title}, girdle", "shape_type": "polygon", "edge_color": OUTLINE.colour, **drawn},
            "shapes",
        )
    listed = shown(entry)
    if listed:
        yield (
            [_shape(c)[0] for c in listed],
            {
                "name": f"{title}, findings and candidates",
                "shape_type": [_shape(c)[1] for c in listed],
                "edge_color": [(FINDING if c.is_finding else CANDIDATE).colour for c in listed],
                "features": {
                    "number": [c.number for c in listed],
                    "kind": [str(c.decision.kind) if c.is_finding and c.decision else "" for c in listed],
                    "score": [c.candidate.score for c in listed],
                },
                "text": {"string": "{number}", "color": CANDIDATE.colour, "anchor": "upper_left"},
                **drawn,
            },
            "shapes",
        )


def _shape(entry: CandidateEntry) -> tuple[NDArray[np.float64], str]:
    path = entry.candidate.path
    return (
        (ellipse_corners(path)[:, ::-1], "ellipse")
        if entry.candidate.kind == "spot"
        else (path[:, ::-1], "path")
    )


def _world(blue_to_white: NDArray[np.float64], um_per_px: float) -> NDArray[np.float64]:
    """Bring a transform of pixels (x, y, 1) to one of micrometres (row, column, 1)."""
    x_y = blue_to_white / blue_to_white[2, 2]
    world = np.eye(3)
    world[:2, :2] = x_y[1::-1, 1::-1]
    world[:2, 2] = x_y[1::-1, 2] * um_per_px
    return world


def _is_ours(settings: dict[str, Any]) -> bool:
    where = settings.get("metadata", {}).get("setstone")
    return (
        isinstance(where, dict)
        and bool(where.get("there", True))
        and {"book", "stone", "lamp"} <= where.keys()
    )


def _all(path: str | Sequence[str]) -> list[str]:
    return [path] if isinstance(path, str) else list(path)
