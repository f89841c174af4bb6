"""What a window says of an optical setup: its scale, what speaks against it, and which photographs were taken with it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from setstone.annotate.bench.bench import Bench
from setstone.measure.quantity import Quantity
from setstone.record.clock import now
from setstone.record.entries import CalibrationEntry, PhotographEntry, SetupEntry
from setstone.record.setups import change, over_the_field


def parts_words(setup: SetupEntry) -> str:
    """Say what a setup is made of."""
    named = (
        ("objective", setup.objective),
        ("zoom", setup.zoom),
        ("camera", setup.camera),
        ("adapter", setup.adapter),
        ("aperture", "" if setup.numerical_aperture is None else f"{setup.numerical_aperture:g}"),
    )
    return ", ".join(f"{what} {text}" for what, text in named if text)


def calibration_words(known: Sequence[CalibrationEntry]) -> str:
    """Say the scale of a setup as calibrated last, and how it spreads over the field."""
    if not known:
        return "Not calibrated yet: photograph a stage micrometer with it."
    latest = known[-1]
    result, scale = latest.result, latest.result.scale("")
    words = (
        f"{Quantity(scale.um_per_px, scale.u_um_per_px, 'µm/px')} (k\u00a0=\u00a02), calibrated "
        f"{latest.made.astimezone():%Y-%m-%d} by {latest.by} from {result.lines} lines in {result.photographs} "
        f"{'photograph' if result.photographs == 1 else 'photographs'}."
    )
    if result.pixel_aspect is not None:
        words += f" Width over height of a pixel: {result.pixel_aspect}."
    return " ".join(filter(None, (words, over_the_field(result))))


@dataclass(frozen=True, eq=False)
class LinesSeen:
    """One photograph of a calibration with its lines drawn, and what is said of it."""

    picture: NDArray[np.uint8]
    words: str


def lines_seen(entry: CalibrationEntry, progress: Callable[[str], None]) -> tuple[LinesSeen, ...]:
    """Draw the lines counted in each photograph of a calibration.

    Raises
    ------
    PhotographError
        When one was lost or altered.
    """
    from setstone.annotate.micrometer_picture import micrometer_picture
    from setstone.capture.open import open_photograph
    from setstone.measure.micrometer import find_micrometer

    seen = []
    for photograph in entry.photographs:
        progress(photograph.name)
        pixels = open_photograph(photograph.path).pixels
        lines = find_micrometer(pixels)
        if lines is not None:
            words = (
                f"{photograph.name}: {len(lines.numbers)} lines counted, each marked; the two outermost at each end are left "
                "out. If only each fifth is marked, focus better and calibrate again."
            )
            seen.append(LinesSeen(micrometer_picture(pixels, lines), words))
    return tuple(seen)


def calibration_doubts(
    setup: SetupEntry, known: Sequence[CalibrationEntry], at: datetime | None = None
) -> list[str]:
    """Say what speaks against the latest calibration of a setup: its age, a jump, and its own remarks.

    Parameters
    ----------
    setup : SetupEntry
    known : sequence of CalibrationEntry
        Oldest first.
    at : datetime, optional
        Now, unless another moment is asked for.
    """
    if not known:
        return []
    latest, doubts = known[-1], []
    days = ((at or now()) - latest.made) // timedelta(days=1)
    if days > setup.valid_days:
        doubts.append(
            f"The calibration is {days} days old, the limit is {setup.valid_days}; calibrate again."
        )
    if len(known) > 1:
        moved, within = change(known[-2], latest)
        if not within:
            doubts.append(
                f"The scale changed by {moved:+.2%} since the calibration before, more than their uncertainties; "
                "look for the cause."
            )
    return doubts + list(latest.result.remarks)


def taken_with(bench: Bench, setup: SetupEntry) -> tuple[list[PhotographEntry], list[PhotographEntry]]:
    """Photographs of the chosen stone and occasion: those taken with a setup, and the others."""
    there = [p for p in bench.photographs if p.occasion == bench.occasion]
    return [p for p in there if p.setup_id == setup.id], [p for p in there if p.setup_id != setup.id]


def photograph_doubts(bench: Bench, entries: Sequence[PhotographEntry]) -> list[str]:
    """Say what in the photographs of the chosen stone speaks against the calibration they are measured with."""
    doubts = [flag.text for entry in entries for flag in bench.opened.calibrated_scale(entry)[1]]
    if entries and bench.review is not None:
        doubts += [f.text for f in bench.review.entry.result.flags if f.code == "scales-disagree"]
    return list(dict.fromkeys(doubts))


def tell_setup(bench: Bench, entries: Sequence[PhotographEntry], setup: SetupEntry | None) -> None:
    """Say of photographs with which setup they were taken, or that none is known; each can be taken back."""
    for entry in entries:
        bench.correct_photograph(entry, setup=setup or "none")
