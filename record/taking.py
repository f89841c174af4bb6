"""Photographs into the book as they come: from a camera, and from a folder another program saves into."""

import re
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from setstone import __version__
from setstone.capture.photograph import Lamp, Pixels
from setstone.record.entries import PhotographEntry, SetupEntry, StoneEntry
from setstone.record.photographs import add_photograph, photographs
from setstone.record.setups import scale_of_setup
from setstone.record.store import Store
from setstone.record.text import key
from setstone.record.vocabulary import OCCASIONS

if TYPE_CHECKING:
    from setstone.capture.averaging import Average
    from setstone.capture.ome_writing import Circumstances, Source

SOFTWARE = f"setstone {__version__}"


def stone_in_name(name: str, stones: Sequence[StoneEntry]) -> StoneEntry | None:
    """Tell from a file's name which stone it shows: ``lid-3_blue.jpg``; None unless it is one alone.

    A position counts where no letter or digit is beside it: ``lid-1`` is not in ``lid-12``.
    """
    text = key(name)
    found = [s for s in stones if re.search(rf"(?<![^\W_]){re.escape(key(s.position))}(?![^\W_])", text)]
    # Of 'lid-3' and '3' the longer one is meant.
    longest = max((len(key(s.position)) for s in found), default=0)
    found = [s for s in found if len(key(s.position)) == longest]
    return found[0] if len(found) == 1 else None


def circumstances(
    book: Store,
    size: tuple[int, int],
    *,
    lamp: Lamp,
    setup: SetupEntry | None = None,
    camera: str = "",
    exposure_s: float | None = None,
    made_by: str = "",
    parameters: dict[str, str] | None = None,
    sources: "Sequence[Source]" = (),
) -> "Circumstances":
    """Gather what goes into the file of a photograph taken now.

    Parameters
    ----------
    size : (int, int)
        Width and height of the picture, px: a calibration holds for one size.
    lamp : Lamp
    setup : SetupEntry, optional
        Gives scale, objective and aperture.
    camera : str, optional
        Where the setup names none.
    exposure_s : float, optional
        Of one frame, s.
    made_by, parameters, sources
        How it was derived, as in `setstone.capture.ome_writing.Circumstances`.
    """
    from setstone.capture.ome_writing import Circumstances
    from setstone.record.clock import now

    taken = now()
    scale = None if setup is None else scale_of_setup(book, setup, size, taken)[0]
    return Circumstances(
        lamp=lamp,
        um_per_px=None if scale is None else scale.um_per_px,
        exposure_s=exposure_s,
        taken=taken,
        setup="" if setup is None else setup.name,
        objective="" if setup is None else setup.objective,
        numerical_aperture=None if setup is None else setup.numerical_aperture,
        camera=camera if setup is None or not setup.camera else setup.camera,
        made_by=made_by,
        parameters=parameters or {},
        sources=sources,
    )


def keep_pixels(
    book: Store,
    stone: StoneEntry,
    pixels: Pixels,
    facts: "Circumstances",
    *,
    occasion: str = OCCASIONS[0],
    setup: SetupEntry | None = None,
    by: str = "",
    magnification: float | None = None,
) -> PhotographEntry:
    """Write a picture as OME-TIFF and keep it as a photograph of a stone.

    Parameters
    ----------
    stone : StoneEntry
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded.
    facts : Circumstances
        What goes into the file.
    occasion, setup, by, magnification
        As for `setstone.record.photographs.add_photograph`.

    Returns
    -------
    PhotographEntry

    Raises
    ------
    PhotographError, BookError
        When it cannot be written or kept.
    """
    from setstone.capture.ome_writing import write_ome

    with tempfile.TemporaryDirectory(prefix="setstone-") as folder:
        name = re.sub(r"[^\w.-]+", "-", f"{stone.position}_{facts.lamp}_{_moment(facts)}") + ".ome.tif"
        path = write_ome(Path(folder) / name, pixels, facts, software=SOFTWARE)
        entry, _ = add_photograph(
            book,
            stone,
            path,
            lamp=facts.lamp,
            occasion=occasion,
            by=by,
            taken=facts.taken,
            magnification=magnification,
            setup=setup,
        )
    return entry


def keep_average(
    book: Store,
    stone: StoneEntry,
    taken: "Average",
    *,
    lamp: Lamp,
    occasion: str = OCCASIONS[0],
    setup: SetupEntry | None = None,
    camera: str = "",
    exposure_s: float | None = None,
    magnification: float | None = None,
    by: str = "",
) -> PhotographEntry:
    """Keep what a camera gave as a photograph of a stone; its file says how it was made.

    Parameters
    ----------
    stone : StoneEntry
    taken : Average
    lamp : Lamp
        The light that was on.
    camera : str, optional
        Its name as the driver tells; that of the setup goes before.
    exposure_s : float, optional
        Of one frame, s.
    occasion, setup, magnification, by
        As for `setstone.record.photographs.add_photograph`.
    """
    facts = circumstances(
        book, size_of(taken.pixels), lamp=lamp, setup=setup, camera=camera, exposure_s=exposure_s
    )
    return keep_pixels(
        book,
        stone,
        taken.pixels,
        averaged(facts, taken),
        occasion=occasion,
        setup=setup,
        by=by,
        magnification=magnification,
    )


def write_average(to: Path, taken: "Average", facts: "Circumstances") -> Path:
    """Write what a camera gave to a file, without a book.

    Parameters
    ----------
    to : Path
        Ending in ``.ome.tif``; or a folder, in which it is named after light and time.
    taken : Average
    facts : Circumstances
        What goes into the file; how it was averaged is added.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    PhotographError
        When there is one of that name, or it cannot be written.
    """
    from setstone.capture.ome_writing import write_ome

    if to.is_dir():
        to = to / f"{facts.lamp}_{_moment(facts)}.ome.tif"
    return write_ome(to, taken.pixels, averaged(facts, taken), software=SOFTWARE)


def averaged(facts: "Circumstances", taken: "Average") -> "Circumstances":
    """Add how an average was made to what goes into its file."""
    made_by, parameters = average_facts(taken)
    return replace(facts, made_by=made_by, parameters=parameters)


def size_of(pixels: Pixels) -> tuple[int, int]:
    """Width and height of a picture, px."""
    return pixels.shape[1], pixels.shape[0]


def _moment(facts: "Circumstances") -> str:
    """When it was taken, as part of a file's name, to the millisecond."""
    return "now" if facts.taken is None else f"{facts.taken.astimezone():%Y%m%dT%H%M%S%f}"[:-3]


def average_facts(taken: "Average") -> tuple[str, dict[str, str]]:
    """Words for the file of an average: how it was made, and its noise before and after."""
    if taken.frames == 1:
        return "", {}
    return f"average of {taken.frames} frames", {
        "noise of one frame": f"{taken.noise_before:.2f} of 255",
        "noise of the average": f"{taken.noise_after:.2f} of 255",
    }


def sources_of(book: Store, stone: StoneEntry, names: Sequence[str]) -> tuple[PhotographEntry, ...]:
    """Find the photographs of a stone that another is to be made from."""
    from setstone.record.photographs import named

    known = photographs(book, stone)
    return tuple(named(known, name) for name in names)
