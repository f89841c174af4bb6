"""Optical setups and their calibrations; which scale a photograph gets from them."""

import math
import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import RowMapping, insert, select

from setstone.measure.calibration import Calibration, Certificate
from setstone.measure.examination import Flag
from setstone.measure.scale import Scale
from setstone.record import schema
from setstone.record.clock import in_utc, now
from setstone.record.convert import from_json, to_json
from setstone.record.entries import CalibrationEntry, MicrometerPhotograph, PhotographEntry, SetupEntry
from setstone.record.errors import BookError
from setstone.record.filing import file_away, suffix
from setstone.record.journal import note
from setstone.record.store import Store, new_id
from setstone.record.text import clean, key, operator, shown

if TYPE_CHECKING:
    from setstone.capture.photograph import Photograph
    from setstone.measure.micrometer import MicrometerLines

#: A calibration is checked once a year (common practice, no source).
VALID_DAYS = 365
#: A strip with the scale bar may be added below a picture, of at most this share of its height.
_STRIP = 0.2

_setups = schema.setups.c
_setup_query = select(
    _setups.id,
    _setups.name,
    _setups.objective,
    _setups.zoom,
    _setups.camera,
    _setups.adapter,
    _setups.numerical_aperture,
    _setups.valid_days,
).order_by(_setups.id)


def add_setup(
    book: Store,
    name: str,
    *,
    objective: str = "",
    zoom: str = "",
    camera: str = "",
    adapter: str = "",
    numerical_aperture: float | None = None,
    valid_days: int = VALID_DAYS,
    by: str = "",
) -> SetupEntry:
    """Add an optical setup.

    Parameters
    ----------
    name : str
        Known by it, without regard to case.
    objective, zoom, camera, adapter : str, optional
        As a person describes them; whatever changes the scale makes another setup.
    numerical_aperture : float, optional
        Of the objective, a plain number.
    valid_days : int, optional
        Days after which a calibration is too old.
    by : str, optional
        Who adds it.

    Returns
    -------
    SetupEntry

    Raises
    ------
    BookError
        When there is one of that name, or a value is not possible.
    """
    by = operator(by, required=False)
    if numerical_aperture is not None and not 0 < numerical_aperture <= 1.6:
        raise BookError(
            f"A numerical aperture of {numerical_aperture:g} is not possible; it is engraved on the objective, "
            "for example 0.08."
        )
    if not 1 <= valid_days <= 36500:
        raise BookError(f"A calibration cannot be valid for {valid_days} days; give from 1 to 36500.")
    values = {
        "name": clean(name, "The name of the setup"),
        "objective": clean(objective, "The objective", required=False),
        "zoom": clean(zoom, "The zoom", required=False),
        "camera": clean(camera, "The camera", required=False),
        "adapter": clean(adapter, "The adapter", required=False),
        "numerical_aperture": numerical_aperture,
        "valid_days": valid_days,
    }
    at = now()
    with book.atomic() as connection:
        if any(key(s.name) == key(name) for s in setups(book)):
            raise BookError(f"There is a setup '{name}' already; choose another name.")
        made = connection.execute(insert(schema.setups).values(**values, name_key=key(name), added=at))
        note(connection, at, by, "add setup", str(values["name"]), after=values)
        return find_setup(book, new_id(made))


def setups(book: Store) -> tuple[SetupEntry, ...]:
    """Read all optical setups, in the order they were added."""
    with book.snapshot() as connection:
        return tuple(SetupEntry(**row) for row in connection.execute(_setup_query).mappings())


def find_setup(book: Store, which: str | int) -> SetupEntry:
    """Find a setup by its name, without regard to case, or by its id.

    Raises
    ------
    BookError
        When there is none of that name.
    """
    everything = setups(book)
    for entry in everything:
        if entry.id == which if isinstance(which, int) else key(entry.name) == key(which):
            return entry
    there = ", ".join(f"'{s.name}'" for s in everything) or "none yet"
    raise BookError(f"There is no setup '{which}' in the book; there are: {there}.")


def certificate_of(text: str) -> Certificate:
    """Understand what a person says of a micrometer's certificate.

    Limits of error as a share or over a length; with ``k=2`` behind it, an expanded uncertainty.

    Raises
    ------
    BookError
        When it cannot be understood.

    Examples
    --------
    >>> certificate_of("1 µm in 1 mm")
    Certificate(limit=0.001, expanded=False)
    >>> certificate_of("0.05 % k=2")
    Certificate(limit=0.0005, expanded=True)
    """
    from setstone.measure.label import parse_length

    said, expanded = re.subn(r"[,;(]?\s*k\s*=\s*2\s*\)?$", "", text.strip(), flags=re.IGNORECASE)
    limit = None
    if share := re.fullmatch(r"±?\s*(\d+(?:[.,]\d+)?)\s*%", said.strip()):
        limit = float(share[1].replace(",", ".")) / 100
    elif over := re.fullmatch(r"±?\s*(.+?)\s+(?:in|per|over|on)\s+(.+)", said.strip()):
        error, length = parse_length(over[1]), parse_length(over[2])
        limit = error / length if error and length else None
    if limit is None or not 0 < limit < 0.1:
        raise BookError(
            f"'{text}' says nothing of a certificate; write its limits of error as '1 µm in 1 mm' or '0.1 %', "
            "with 'k=2' behind an expanded uncertainty."
        )
    return Certificate(limit, bool(expanded))


def calibrate_setup(
    book: Store,
    setup: SetupEntry,
    files: Sequence[Path],
    *,
    division_um: float,
    certificate: str = "",
    made: datetime | None = None,
    by: str,
) -> CalibrationEntry:
    """Calibrate a setup from photographs of a stage micrometer, and keep them.

    Parameters
    ----------
    setup : SetupEntry
    files : sequence of Path
        One or more photographs; only read.
    division_um : float
        Distance from line to line as engraved, µm.
    certificate : str, optional
        As `certificate_of` reads it; without one, limits of 0.1 % are taken.
    made : datetime, optional
        When the micrometer was photographed; else what the files say, else now.
    by : str
        Who calibrates.

    Returns
    -------
    CalibrationEntry

    Raises
    ------
    PhotographError
        When a file cannot be opened.
    BookError
        When no micrometer is seen, sizes differ, or the date lies in the future.
    MeasurementError
        When the photographs contradict each other.
    """
    from setstone.capture.open import open_photograph
    from setstone.measure.calibration import calibrate
    from setstone.measure.micrometer import FEWEST_LINES, find_micrometer

    by = operator(by, required=True)
    if made is not None and in_utc(made) > now():
        raise BookError(
            f"The micrometer cannot have been photographed on {made:%Y-%m-%d}, in the future; check the date."
        )
    said = clean(certificate, "The certificate", longest=200, required=False)
    known = certificate_of(said) if said else None
    opened: list[tuple[Path, Photograph]] = []
    found: list[MicrometerLines] = []
    for file in map(Path, files):
        photograph = open_photograph(file)
        if any(photograph.sha256 == p.sha256 for _, p in opened):
            raise BookError(f"'{photograph.name}' was given twice; a photograph is no repeat of itself.")
        if opened and photograph.pixels.shape != opened[0][1].pixels.shape:
            raise BookError(
                f"'{photograph.name}' has another size in pixels than '{opened[0][1].name}'; calibrate each size "
                "of picture as a setup of its own."
            )
        lines = find_micrometer(photograph.pixels)
        if lines is None:
            raise BookError(
                f"No micrometer with at least {FEWEST_LINES + 4} even lines is seen in '{photograph.name}'; "
                "bring it into focus and into the middle, and light it evenly."
            )
        opened.append((file, photograph))
        found.append(lines)
    result = calibrate(found, division_um, known)
    taken = [p.taken for _, p in opened if p.taken is not None]
    at = now()
    moment = in_utc(made) if made is not None else min(at, max(map(in_utc, taken), default=at))
    kept = []
    for file, photograph in opened:
        name = photograph.sha256 + suffix(photograph.format, photograph.name)
        file_away(file, book.photographs_folder / name, photograph.sha256)
        height, width = photograph.pixels.shape[:2]
        kept.append(
            {
                "sha256": photograph.sha256,
                "name": shown(photograph.name),
                "file": name,
                "width": width,
                "height": height,
            }
        )
    with book.atomic() as connection:
        made_row = connection.execute(
            insert(schema.calibrations).values(
                setup_id=setup.id, made=moment, by=by, at=at, certificate=said, result=to_json(result)
            )
        )
        number = new_id(made_row)
        connection.execute(
            insert(schema.calibration_photographs), [{**k, "calibration_id": number} for k in kept]
        )
        after = {
            "um_per_px": result.um_per_px,
            "relative_u": result.relative_u,
            "photographs": [k["sha256"] for k in kept],
        }
        note(connection, at, by, "calibrate setup", setup.name, after=after)
        return next(c for c in calibrations(book, setup) if c.id == number)


def calibrations(book: Store, setup: SetupEntry) -> tuple[CalibrationEntry, ...]:
    """Read the calibrations of a setup, by when the micrometer was photographed."""
    c = schema.calibrations.c
    query = select(schema.calibrations).where(c.setup_id == setup.id).order_by(c.made, c.id)
    with book.snapshot() as connection:
        return tuple(
            CalibrationEntry(
                id=row["id"],
                setup=setup,
                made=row["made"],
                by=row["by"],
                at=row["at"],
                certificate=row["certificate"],
                result=from_json(row["result"], Calibration),
                photographs=_photographs(book, row),
            )
            for row in connection.execute(query).mappings()
        )


def calibrated_scale(book: Store, photograph: PhotographEntry) -> tuple[Scale | None, tuple[Flag, ...]]:
    """Scale of a photograph from the calibration of its setup that is nearest before it.

    Parameters
    ----------
    photograph : PhotographEntry

    Returns
    -------
    scale : Scale or None
        None without a setup, without a calibration, or for a photograph of another size in pixels.
    flags : tuple of Flag
        What speaks against it.
    """
    if photograph.setup_id is None:
        return None, ()
    setup = find_setup(book, photograph.setup_id)
    size = photograph.width, photograph.height
    return scale_of_setup(book, setup, size, photograph.taken or photograph.added)


def scale_of_setup(
    book: Store, setup: SetupEntry, size: tuple[int, int], taken: datetime
) -> tuple[Scale | None, tuple[Flag, ...]]:
    """Scale a photograph gets from a setup: of the calibration that is nearest before it.

    Parameters
    ----------
    setup : SetupEntry
    size : (int, int)
        Width and height of the photograph, px.
    taken : datetime
        Aware.

    Returns
    -------
    scale : Scale or None
        None without a calibration, or for a photograph of another size in pixels.
    flags : tuple of Flag
        What speaks against it.
    """
    known = calibrations(book, setup)
    if not known:
        text = f"The setup '{setup.name}' is not calibrated; photograph a stage micrometer with it."
        return None, (Flag("not-calibrated", text),)
    before = [c for c in known if c.made <= taken]
    used = before[-1] if before else known[0]
    of = used.photographs[0]
    width, height = size
    if width != of.width or not of.height <= height <= (1 + _STRIP) * of.height:
        text = (
            f"The photograph is {width} × {height} pixels, the calibration of '{setup.name}' is "
            f"for {of.width} × {of.height}; photograph in that size, or calibrate this one as a setup of its own."
        )
        return None, (Flag("calibration-of-another-size", text),)
    flags = []
    days = abs(taken - used.made) / timedelta(days=1)
    if days > setup.valid_days:
        text = (
            f"The calibration of '{setup.name}' is {math.floor(days)} days {'old' if taken > used.made else 'younger'}, "
            f"the limit is {setup.valid_days}; calibrate again."
        )
        flags.append(Flag("calibration-old", text))
    flags += _shape_flags(setup, used.result)
    detail = f"{setup.name}, {used.made.astimezone():%Y-%m-%d}"
    return used.result.scale(detail), tuple(flags)


def change(before: CalibrationEntry, after: CalibrationEntry) -> tuple[float, bool]:
    """How far a calibration moved the scale, relative, and whether that lies within the uncertainties of both.

    Both rest on the same micrometer, as a rule, so this errs on the side of calling them alike.
    """
    a, b = before.result.scale(""), after.result.scale("")
    moved = b.um_per_px / a.um_per_px - 1
    return moved, abs(moved) <= 2 * math.hypot(a.relative_u, b.relative_u)


def over_the_field(result: Calibration) -> str:
    """Say in one sentence how the scale changes over the picture; empty where too few lines were seen."""
    if not result.field:
        return ""
    low, high = (pick(result.field, key=lambda part: part.change) for pick in (min, max))
    u = max(part.u for part in result.field)
    return (
        f"Over the field, in {len(result.field)} places, the scale changes by {low.change:+.3%} to {high.change:+.3%} "
        f"(± {2 * u:.3%}, k = 2); the lines go over {result.covered:.0%} of the picture."
    )


def _shape_flags(setup: SetupEntry, result: Calibration) -> list[Flag]:
    flags = []
    aspect = result.pixel_aspect
    if aspect is not None and result.is_square is False:
        text = (
            f"The pixels of '{setup.name}' are {abs(aspect.value - 1):.2%} {'wider' if aspect.value > 1 else 'higher'} "
            "than square, so a length depends on its direction; check the size of picture the camera gives."
        )
        flags.append(Flag("pixels-not-square", text))
    if not result.is_even:
        text = (
            f"The scale of '{setup.name}' changes by {result.bend:.2%} from the middle of its micrometer to the ends; "
            "keep the stone in the middle of the picture, and check that the micrometer lies level."
        )
        flags.append(Flag("distorted", text))
    return flags


def _photographs(book: Store, row: RowMapping) -> tuple[MicrometerPhotograph, ...]:
    c = schema.calibration_photographs.c
    query = select(schema.calibration_photographs).where(c.calibration_id == row["id"]).order_by(c.id)
    with book.snapshot() as connection:
        return tuple(
            MicrometerPhotograph(
                p["sha256"], p["name"], book.photographs_folder / p["file"], p["width"], p["height"]
            )
            for p in connection.execute(query).mappings()
        )
