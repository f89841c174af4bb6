"""The examination of one stone: a short chain of steps, each usable alone.

read the scale → find the outline → align blue on white → lines → spots → colour
"""

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from setstone.measure.align import align, warp
from setstone.measure.candidates import Candidate, LampName
from setstone.measure.colour import StoneColour, stone_colour
from setstone.measure.describe_lines import describe_lines, maps_of_lines, straight_edges_of
from setstone.measure.errors import MeasurementError
from setstone.measure.examination import Examination, Flag
from setstone.measure.frame import Frame
from setstone.measure.girdle import find_girdle, visible_stone
from setstone.measure.judge_lines import judge_lines, look
from setstone.measure.judge_spots import judge_spots, look_for_spots
from setstone.measure.light import Pixels
from setstone.measure.line_sizes import SIZES
from setstone.measure.outline import SHORTENING, Diameters, Outline, diameters, tilt_if_round
from setstone.measure.quantity import Quantity, combine
from setstone.measure.scale import Scale
from setstone.measure.scalebar import ScaleBar, find_scale_bar, scale_from_bar
from setstone.measure.scene import Scene

#: Shorter side of a photograph, in pixels, below which nothing is measured: a girdle would be a handful of pixels.
SMALLEST = 64

#: Largest expanded uncertainty (k = 2) of the mean diameter, as a share of it, with which diameters are still stated.
LEAST_CERTAIN = 0.1

#: Two scale bars of one stone may differ by this much before they contradict each other: bars are
#: drawn in whole pixels, so half a pixel at each of two bars of some 150 px.
SCALES_AGREE = 0.01


def examine(
    white: Pixels | None,
    blue: Pixels | None,
    *,
    scale: Scale | None = None,
    bar_length_um: float | None = None,
    file_scale: Scale | None = None,
    progress: Callable[[str], None] | None = None,
    threads: int = 2,
    learned: bool = True,
) -> Examination:
    """Examine the photographs of one stone on one occasion.

    Parameters
    ----------
    white, blue : (H, W, 3) uint8 or uint16 array or None
        sRGB-encoded photographs under white and blue light; at least one.
    scale : Scale, optional
        Scale of the reference photograph, used before any other.
    bar_length_um : float, optional
        Length printed at the scale bar, in micrometres, for a label that cannot be read.
    file_scale : Scale, optional
        Scale stated in the file, used when there is no readable scale bar.
    progress : callable, optional
        Told the name of each step as it begins; whatever it raises ends the examination.
    threads : int
        Steps that do not need each other are done side by side; the result is the same with any number, from 1.
    learned : bool
        Score candidates as trained on computed stones, else by plain rules alone, which order them less well.

    Returns
    -------
    Examination
        What cannot be measured is None there, with a flag that says why.

    Raises
    ------
    MeasurementError
        When there is no photograph, one of them is no such array or too small, or no stone is in it.
    """
    tell = progress or (lambda _step: None)
    reference: LampName = "blue" if white is None else "white"
    first = blue if white is None else white
    if first is None:
        raise MeasurementError("There is no photograph to examine; add one under white or blue light first.")
    photographs: dict[str, Pixels] = {
        name: p for name, p in (("white", white), ("blue", blue)) if p is not None
    }
    for name, pixels in photographs.items():
        _check(name, pixels)
    flags: list[Flag] = []

    with ThreadPoolExecutor(threads) as pool:
        tell("reading the scale")
        reading = {name: pool.submit(find_scale_bar, p) for name, p in photographs.items()}
        outlining = pool.submit(find_girdle, first)
        bars = {name: bar.result() for name, bar in reading.items()}
        widths = {name: p.shape[1] for name, p in photographs.items()}
        used, scale_flags = _choose_scale(bars, widths, reference, scale, bar_length_um, file_scale)
        flags += scale_flags

        tell("finding the outline")
        # All work is done in the pool: no more threads than were asked for.
        aligning = pool.submit(_aligned, white, blue, bars)
        outline = outlining.result()
        if outline is None and white is not None and blue is not None:
            blue_to_white = aligning.result()[0]
            if blue_to_white is not None:
                outline = pool.submit(_girdle_moved, blue, blue_to_white, white.shape).result()
        if outline is None:
            raise MeasurementError(
                "No stone can be made out in the photograph; centre one stone, in focus, with its whole girdle in view."
            )
        frame = Frame.around(outline, first.shape)
        alone = pool.submit(_scene, first, reference, outline, frame, used).result()
        # What the first photograph shows by itself waits for no other.
        spots_found = pool.submit(look_for_spots, alone)
        first_edges = pool.submit(straight_edges_of, alone)

        tell("aligning the photographs")
        blue_to_white, align_flags = aligning.result()
        flags += align_flags + _outline_flags(outline, first.shape)
        scene = alone
        if white is not None and blue is not None and blue_to_white is not None:
            scene = replace(alone, blue=pool.submit(_cut, blue, blue_to_white, frame, white.shape).result())

        tell("looking for lines")
        edges = [first_edges]
        if scene is not alone:
            edges.insert(0, pool.submit(straight_edges_of, replace(scene, white=None)))
        mapping = pool.submit(maps_of_lines, scene)
        found_edges = [segments for of_lamp in edges for segments in of_lamp.result()]
        # The longest first, so that two are busy until the end.
        looks = [
            pool.submit(look, scene, found_edges, size) for size in sorted(SIZES, reverse=True) if learned
        ]
        describing = pool.submit(describe_lines, scene, found_edges)
        spots = pool.submit(judge_spots, scene, found=spots_found.result(), learned=learned)
        colouring = (
            None
            if scene.white is None
            else pool.submit(stone_colour, scene.white, scene.stone, blue=scene.blue)
        )
        judging = pool.submit(
            judge_lines,
            scene,
            described=describing.result(),
            looks=[looking.result() for looking in looks],
            maps=mapping.result(),
            learned=learned,
        )
        candidates = list(judging.result())
        tell("looking for spots")
        candidates += spots.result()
        candidates.sort(key=lambda c: -c.score)

        colour: StoneColour | None = None
        if colouring is not None:
            tell("measuring the colour")
            colour = colouring.result()

    widths_mm = None if used is None else diameters(outline, used)
    if widths_mm is not None and widths_mm.mean.expanded > LEAST_CERTAIN * widths_mm.mean.value:
        flags.append(_unsure(widths_mm))
        widths_mm = None
    return Examination(
        reference=reference,
        size=(first.shape[1], first.shape[0]),
        scale=used,
        outline=outline,
        diameters=widths_mm,
        blue_to_white=blue_to_white,
        candidates=tuple(_with_scale(frame.back(c), used) for c in candidates),
        colour=colour,
        flags=tuple(flags),
    )


def _check(name: str, pixels: Pixels) -> None:
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.dtype not in (np.uint8, np.uint16):
        raise MeasurementError(
            f"The photograph under {name} light must be three channels of 8 or 16 bits, shape (H, W, 3), "
            f"not {pixels.dtype} of shape {pixels.shape}; open it with setstone.capture.open."
        )
    if min(pixels.shape[:2]) < SMALLEST:
        raise MeasurementError(
            f"The photograph under {name} light is too small to show a stone; use the original, not a thumbnail."
        )


def _choose_scale(
    bars: dict[str, ScaleBar | None],
    widths: dict[str, int],
    reference: LampName,
    given: Scale | None,
    bar_length_um: float | None,
    file_scale: Scale | None,
) -> tuple[Scale | None, list[Flag]]:
    flags: list[Flag] = []
    read: dict[str, Scale] = {}
    unread = False
    for name, bar in bars.items():
        if bar is None:
            continue
        if bar.length_um is None and bar_length_um is None:
            unread = True
            continue
        # The other photograph may have more or fewer pixels over the same field.
        finer = widths[name] / widths[reference]
        found = scale_from_bar(bar, bar_length_um)
        if given is None and bar_length_um is not None and bar.length_um is not None:
            printed = scale_from_bar(bar)
            flags += [_disagreement(found, printed)] if _differ(found, printed) else []
        read[name] = replace(found, um_per_px=found.um_per_px * finer, u_um_per_px=found.u_um_per_px * finer)
    chosen = given or read.get(reference) or next(iter(read.values()), None) or file_scale
    others = [s for s in (*read.values(), file_scale) if s is not None and s is not chosen]
    if chosen is None:
        what = "the label of the scale bar cannot be read for certain" if unread else "there is no scale bar"
        flags.append(
            Flag(
                "no-scale",
                f"No lengths in millimetres: {what}; give the length of the bar or the micrometres per pixel.",
            )
        )
    contradicted = [
        _disagreement(chosen, other) for other in others if chosen is not None and _differ(chosen, other)
    ]
    return chosen, list(dict.fromkeys(flags + contradicted))  # both photographs say the same, as a rule


def _differ(one: Scale, other: Scale) -> bool:
    return abs(other.um_per_px / one.um_per_px - 1) > SCALES_AGREE


def _disagreement(used: Scale, other: Scale) -> Flag:
    difference = abs(other.um_per_px / used.um_per_px - 1)
    return Flag(
        "scales-disagree",
        f"The scale used ({_from(used)}) and another ({_from(other)}) differ by {difference:.1%}; "
        "check which of them belongs to this photograph.",
    )


def _from(scale: Scale) -> str:
    return f"{scale.source}: {scale.detail}" if scale.detail else scale.source


def _aligned(
    white: Pixels | None, blue: Pixels | None, bars: dict[str, ScaleBar | None]
) -> tuple[NDArray[np.float64] | None, list[Flag]]:
    if white is None or blue is None:
        missing = "white" if white is None else "blue"
        loses = (
            "colour and dark inclusions are judged less well" if white is None else "fissures show less well"
        )
        return None, [Flag(f"no-{missing}", f"There is no photograph under {missing} light: {loses}.")]
    found = align(blue, white, usable=_without_bar(white.shape, bars["white"]))
    if found.reliable:
        return found.matrix, []
    return None, [
        Flag(
            "not-aligned",
            f"The blue photograph could not be aligned on the white one ({found.reason}) and is left out, so fissures show less well. "
            "Photograph the stone under both lights without moving it.",
        )
    ]


def _without_bar(shape: tuple[int, ...], bar: ScaleBar | None) -> NDArray[np.bool_] | None:
    """Everything but the scale bar: it stays put when the stone moves."""
    if bar is None:
        return None
    x0, y0, x1, y1 = bar.extent_box
    mask = np.ones(shape[:2], np.bool_)
    mask[max(0, int(y0)) : int(y1) + 1, max(0, int(x0)) : int(x1) + 1] = False
    return mask


def _with_scale(candidate: Candidate, scale: Scale | None) -> Candidate:
    """Add to lengths what is common to the photograph and the judges do not know: the scale's own uncertainty, and the tilt's."""
    if scale is None:
        return candidate
    share = combine(scale.relative_u, SHORTENING)
    sizes = {
        name: Quantity(q.value, combine(q.u, q.value * share), q.unit) if q.unit else q
        for name, q in candidate.sizes.items()
    }
    return replace(candidate, sizes=sizes)


def _unsure(found: Diameters) -> Flag:
    return Flag(
        "girdle-unsure",
        "No diameter is given: which of the edges around the stone is the girdle cannot be told "
        f"(± {found.mean.expanded / found.mean.value:.0%}, k = 2); photograph it under white light, or draw the outline yourself.",
    )


def _outline_flags(outline: Outline, shape: tuple[int, ...]) -> list[Flag]:
    flags = []
    x, y = outline.points.T
    if x.min() < 0 or y.min() < 0 or x.max() > shape[1] - 1 or y.max() > shape[0] - 1:
        flags.append(
            Flag(
                "cut-off",
                "Part of the girdle lies outside the picture; photograph the whole stone if you can.",
            )
        )
    hidden = 1 - float(outline.seen.mean())
    if hidden > 0.25:
        flags.append(
            Flag(
                "girdle-hidden",
                f"{hidden:.0%} of the girdle cannot be seen; the diameter rests on the part that can be.",
            )
        )
    tilt = tilt_if_round(outline)
    if tilt is not None:
        flags.append(
            Flag(
                "perhaps-tilted",
                f"The girdle is {1 / math.cos(math.radians(tilt.value)) - 1:.0%} longer than wide: if the stone is round, it leans by "
                f"{tilt.value:.0f}° ± {2 * tilt.u:.0f}° (k = 2) and the least diameter is too small; look straight down on the girdle.",
            )
        )
    return flags


def _scene(pixels: Pixels, lamp: LampName, outline: Outline, frame: Frame, scale: Scale | None) -> Scene:
    """The stone in one photograph."""
    cut, framed = frame.cut(pixels), frame.into(outline)
    return Scene(
        white=cut if lamp == "white" else None,
        blue=cut if lamp == "blue" else None,
        outline=framed,
        stone=visible_stone(cut, framed),
        um_per_px=None if scale is None else scale.um_per_px * frame.px,
    )


def _girdle_moved(pixels: Pixels, matrix: NDArray[np.float64], shape: tuple[int, ...]) -> Outline | None:
    return find_girdle(warp(pixels, matrix, (shape[0], shape[1])))


def _cut(blue: Pixels, blue_to_white: NDArray[np.float64], frame: Frame, shape: tuple[int, ...]) -> Pixels:
    if blue.shape == shape and np.array_equal(blue_to_white, np.eye(3)):
        return frame.cut(blue)
    return frame.cut_moved(blue, blue_to_white)
