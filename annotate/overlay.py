"""The drawing over one photograph: girdle, findings, open candidates and their numbers."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from setstone.annotate import style
from setstone.annotate.casing import around
from setstone.annotate.lettering import text_width
from setstone.annotate.placing import tag_places
from setstone.annotate.shapes import Group, Overlay, Path, Points, Role, Shape, Text, pill
from setstone.annotate.style import Line
from setstone.annotate.texts import Texts
from setstone.annotate.wording import kind_words
from setstone.measure.candidates import LIKELY, LampName
from setstone.measure.outline import Outline
from setstone.record.entries import CandidateEntry, ExaminationEntry


def shown(entry: ExaminationEntry, least_score: float = LIKELY) -> tuple[CandidateEntry, ...]:
    """All findings, and the open candidates with at least this score, by number."""
    chosen = (
        c
        for c in entry.candidates
        if c.is_finding or (c.decision is None and c.candidate.score >= least_score)
    )
    return tuple(sorted(chosen, key=lambda c: c.number))


def to_photograph(entry: ExaminationEntry, lamp: LampName) -> NDArray[np.float64] | None:
    """Matrix (3, 3) from the pixels of the examination to those of one of its photographs.

    None where the two photographs could not be aligned.
    """
    if lamp == entry.result.reference:
        return np.eye(3)
    aligned = entry.result.blue_to_white
    return None if aligned is None else np.asarray(np.linalg.inv(aligned), np.float64)


def um_per_px(entry: ExaminationEntry, lamp: LampName) -> float | None:
    """Micrometres per pixel of one of its photographs; None without a scale or an alignment."""
    matrix = to_photograph(entry, lamp)
    if entry.result.scale is None or matrix is None:
        return None
    enlarged = math.sqrt(abs(float(np.linalg.det(matrix[:2, :2])))) / abs(float(matrix[2, 2]))
    return entry.result.scale.um_per_px / enlarged


def overlay_of(
    entry: ExaminationEntry,
    lamp: LampName,
    size: tuple[int, int],
    texts: Texts,
    *,
    least_score: float = LIKELY,
    enlarged: float = 1.0,
) -> Overlay:
    """Describe what is drawn over the photograph taken in this light, without a legend.

    Findings are drawn on both photographs, an open candidate only on the one it was seen in. A photograph that could not be
    aligned shows nothing.

    Parameters
    ----------
    entry : ExaminationEntry
    lamp : {"white", "blue"}
    size : (int, int)
        Width and height of that photograph, in pixels.
    texts : Texts
    least_score : float
        Open candidates below are left out.
    enlarged : float
        Lines and tags are drawn so many times as large, for a picture that is shown small.

    Returns
    -------
    Overlay
        In pixels of that photograph.
    """
    matrix = to_photograph(entry, lamp)
    unit = enlarged * max(size) / 1000
    groups: list[Group] = []
    if matrix is not None:
        both = entry.white is not None and entry.blue is not None
        outline = entry.result.outline
        if outline is not None:
            groups.append(_girdle(outline, matrix, unit, texts))
        marked = [
            c
            for c in shown(entry, least_score)
            if c.candidate.lamp == lamp or not both or (c.is_finding and entry.result.aligned)
        ]
        girdle = None if outline is None else mapped(outline.points, matrix)
        groups.extend(_marks(marked, matrix, girdle, size, unit, texts))
    findings = sum(g.role == "finding" for g in groups)
    candidates = sum(g.role == "candidate" for g in groups)
    return Overlay(
        width=size[0],
        height=size[1],
        strip=0,
        title=texts("drawing.title", light=texts(f"light.{lamp}")),
        description=texts("drawing.description", findings=findings, candidates=candidates)
        if matrix is not None
        else texts("drawing.not_aligned"),
        groups=tuple(groups),
    )


def stroke(points: Points, line: Line, unit: float, *, closed: bool) -> tuple[Path, Path]:
    """Halo and line along some points; `unit` is a thousandth of the longer side, in pixels.

    Both have round ends, so that the wider halo surrounds each dash.
    """
    dashes = tuple(d * unit for d in line.dashes)
    return (
        Path(points, closed, stroke=line.halo, width=line.halo_width * unit, dashes=dashes),
        Path(points, closed, stroke=line.colour, width=line.width * unit, dashes=dashes),
    )


def tagged(
    labels: Sequence[str],
    marks: Sequence[Points],
    lines: Sequence[Line],
    *,
    positions: Points,
    outline: Points | None,
    size: tuple[int, int],
    unit: float,
) -> list[tuple[tuple[Path, ...], tuple[Shape, ...]]]:
    """Leaders and numbered labels of marks, the labels apart from each other and away from the stone.

    Parameters
    ----------
    labels : sequence of str
    marks : sequence of (M, 2) float64 arrays
        What each label belongs to, in pixels; its leader ends at the nearest of these points.
    lines : sequence of Line
        Colours of each label.
    positions : (N, 2) float64 array
        Middle of each mark, in pixels.
    outline : (K, 2) float64 array or None
        The girdle, outside which they stand; None lets them stand along the rim of the picture.
    size : (int, int)
        Width and height of the picture, in pixels.
    unit : float
        A thousandth of the picture's longer side, in pixels.

    Returns
    -------
    list of (leader, tag)
    """
    widest = max((tag_width(label, unit) for label in labels), default=0.0)
    places = tag_places(
        positions,
        outline=outline,
        size=size,
        margin=style.TAG_MARGIN * unit,
        spacing=widest + style.TAG_GAP * unit,
    )
    drawn: list[tuple[tuple[Path, ...], tuple[Shape, ...]]] = []
    for label, mark, line, place in zip(labels, marks, lines, places, strict=True):
        nearest = mark[np.argmin(np.hypot(*(mark - place).T))]
        leader = stroke(np.array([nearest, place]), style.LEADER, unit, closed=False)
        drawn.append((leader, tag(label, float(place[0]), float(place[1]), unit, line)))
    return drawn


def tag(label: str, x: float, y: float, unit: float, line: Line) -> tuple[Shape, ...]:
    """Numbered label about (x, y), in the colours of its line."""
    height, width = style.TAG_HEIGHT * unit, tag_width(label, unit)
    size = style.TAG_TEXT * unit
    rim = pill(x, y, width, height)
    return (
        Path(pill(x, y, width + 2 * unit, height + 2 * unit), closed=True, fill=line.halo),
        Path(rim, closed=True, fill=line.colour),
        Text(label, x, y + 0.36 * size, size, line.halo, bold=True, anchor="middle"),
    )


def tag_width(label: str, unit: float) -> float:
    """Width of a numbered label, in pixels."""
    wide = text_width(label, style.TAG_TEXT * unit, bold=True) + 14 * unit
    return max(style.TAG_HEIGHT * unit, wide)


def _girdle(outline: Outline, matrix: NDArray[np.float64], unit: float, texts: Texts) -> Group:
    points = mapped(outline.points, matrix)
    shapes: list[Shape] = []
    for run, seen, whole in _runs(points, outline.seen):
        line = style.OUTLINE if seen else style.EXTRAPOLATED
        shapes.extend(stroke(run, line, unit, closed=whole))
    return Group("outline", texts("drawing.girdle"), tuple(shapes), layer="girdle")


def _runs(points: Points, seen: NDArray[np.bool_]) -> list[tuple[Points, bool, bool]]:
    """Stretches of the outline seen or not: points, seen, whether it is the whole closed outline.

    Neighbouring stretches share their end so that no gap shows.
    """
    changes = np.flatnonzero(seen != np.roll(seen, 1))
    if not len(changes):
        return [(points, bool(seen[0]), True)]
    count = len(points)
    runs = []
    for first, following in zip(changes, np.roll(changes, -1), strict=True):
        length = (following - first) % count or count
        runs.append((points[(first + np.arange(length + 1)) % count], bool(seen[first]), False))
    return runs


def _marks(
    marked: Sequence[CandidateEntry],
    matrix: NDArray[np.float64],
    girdle: Points | None,
    size: tuple[int, int],
    unit: float,
    texts: Texts,
) -> list[Group]:
    positions = mapped(np.array([c.candidate.position for c in marked]).reshape(-1, 2), matrix)
    lines = [style.FINDING if c.is_finding else style.CANDIDATE for c in marked]
    rings = [
        around(mapped(c.candidate.path, matrix), style.CLEARANCE * unit, closed=c.candidate.kind == "spot")
        for c in marked
    ]
    labels = [str(c.number) for c in marked]
    drawn = tagged(labels, rings, lines, positions=positions, outline=girdle, size=size, unit=unit)
    groups = []
    for c, line, ring, (leader, label) in zip(marked, lines, rings, drawn, strict=True):
        role: Role = "finding" if c.is_finding else "candidate"
        groups.append(
            Group(
                role,
                mark_title(c, texts),
                (*leader, *stroke(ring, line, unit, closed=True)),
                tag=label,
                number=c.number,
                layer="lines" if c.candidate.kind == "line" else "spots",
            )
        )
    return groups


def mark_title(entry: CandidateEntry, texts: Texts) -> str:
    """Say in words what a mark shows: ``"3: fissure (finding)"``."""
    name = "drawing.finding" if entry.is_finding else "drawing.candidate"
    return texts(name, number=entry.number, kind=kind_words(entry, texts))


def mapped(points: NDArray[np.float64], matrix: NDArray[np.float64]) -> Points:
    """Points (N, 2) through a projective map (3, 3)."""
    homogeneous = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(homogeneous[:, :2] / homogeneous[:, 2:], np.float64)
