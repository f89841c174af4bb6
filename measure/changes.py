"""What changed in a stone from one day to another: lines and spots of both, laid on one another.

A candidate of one day that lies along one of the other and runs its way, however weak, is in both: what was hardly seen before may be
plain after cleaning, and is no new damage; only what a person rejected does not count. So is a line that no list has, but that the other day's picture shows when it is
asked at that place (`setstone.measure.sights`). What has no counterpart counts as changed only where the other day's
photograph could have shown it; under a lamp there is none of, in glare, out of focus, beneath dirt or a claw, or beyond the girdle as seen nothing can be told.
A line that is in both may have grown: an end of it that has no counterpart is asked like a new line.

Most lines that only the later day shows are no new fissures: `setstone.measure.new_lines` tells how likely each is one. A new fissure is
seen again in other facets, which reflect it: of several likely ones the likeliest is raised as possible damage, one or two more where they are very likely
too, and the others are told as perhaps the same seen again; nothing in the pictures is asked whether they are. Lines too weak to be
told of are judged as well; one that touches a line that is told of counts as a piece of it.
"""

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.spatial import KDTree

from setstone.measure.candidates import LIKELY, Candidate, LampName
from setstone.measure.new_lines import chances
from setstone.measure.sights import Lines, Mask, Points, Sights, answers_along, seen_again

#: How near to one another the same thing lies on both days, as a share of the girdle's diameter, and at least px: a stone set
#: anew leans by some tenths of a degree, and what lies deep moves against the girdle.
_NEAR, _NEAR_PX = 0.012, 4.0
#: How much a heading counts beside nearness: what crosses at 45 degrees is not the same however near; points over which it is averaged.
_TURN, _HEADING = 0.7, 9
#: Share of a path that must lie along others, or be seen in the other picture, to be the same; and that must be comparable
#: to have changed.
_ALONG, _SEEN_AGAIN, _COMPARABLE = 0.35, 0.5, 0.5
#: Least length of an end without counterpart that may have grown, as a share of the girdle's diameter, and points over which it is judged
#: whether a line has a counterpart at a place.
_GROWTH, _AROUND = 0.04, 9
#: Weakest candidate that counts as seen; the least chance of a new line that is raised as possible damage, and of further
#: ones; most that are raised.
_SEEN, DAMAGE, FURTHER, MOST = 0.02, 0.65, 0.9, 3
#: A line a person accepted is asked whether it has grown as one that is plain to see: that it is there says nothing of when it came.
_PLAIN = 0.9
#: Weakest line after that is looked at as possible damage.
DOUBTFUL = 0.02
#: Distance between points along a path, px.
_STEP_PX = 2.0


#: What must be said beside what has changed; the figures: docs/before_and_after.md.
LIMITS = (
    "That no damage is raised does not show that nothing broke: of fissures that are new or have grown in computed stones some one in three are not raised, "
    "and in one comparison in eight something else is, such as a fibre. How likely a line is to be a new fissure is estimated, as learnt on such stones."
)


class Where(StrEnum):
    """On which of two days a candidate is seen."""

    AFTER = "only after"
    LONGER = "longer after"
    BEFORE = "only before"
    UNKNOWN = "not comparable"
    BOTH = "in both"


@dataclass(frozen=True, eq=False)
class Change:
    """A candidate, and on which days it is seen.

    Parameters
    ----------
    where : Where
    of_after : bool
        Whether `index` counts the candidates after the work; else those before.
    index : int
        Which of them, from 0.
    share : float
        Share of its path that lies along candidates of the other day, or that the other day's picture shows.
    comparable : float
        Share of its path where the other day's photograph could have shown it.
    possible_damage : bool
        Whether a person calls it damage and it is seen only after, or it is among the likeliest of what is, lines and ends of lines, three at
        the most.
    perhaps_reflection : bool
        Whether it is another likely one: perhaps the damage, seen in another facet.
    chance : float
        Probability that what is seen only after, a line or the end of one, is a new fissure (`setstone.measure.new_lines`), 1 for what a person
        calls damage; 0 for all else. Of a line in both it is that of its end.
    grown : (N, 2) float64 array or None
        The end of a line of after that has no counterpart, px of its photograph; None where it has none.
    """

    where: Where
    of_after: bool
    index: int
    share: float
    comparable: float
    possible_damage: bool
    perhaps_reflection: bool = False
    chance: float = 0.0
    grown: Points | None = None


def changes(
    before: Sequence[Candidate],
    after: Sequence[Candidate],
    both: Sights,
    *,
    shown_before: Sequence[int],
    shown_after: Sequence[int],
    doubtful_after: Sequence[int] = (),
    damage_after: Sequence[int] = (),
    dismissed_before: Sequence[int] = (),
    dismissed_after: Sequence[int] = (),
) -> tuple[Change, ...]:
    """Say of the candidates of two days where each is seen.

    Parameters
    ----------
    before, after : sequence of Candidate
        All of each day, weak ones too; paths in the pixels of the reference photograph of the day.
    both : Sights
        What the photographs of both days can show.
    shown_before, shown_after : sequence of int
        Those to be told of, by their places in `before` and `after`.
    doubtful_after : sequence of int, optional
        Weaker lines after (`DOUBTFUL`), of which only possible damage is told: what is hardly a line on one photograph may be
        plainly new beside the other.
    damage_after : sequence of int, optional
        Those of `shown_after` that a person calls damage: raised where they are seen only after.
    dismissed_before, dismissed_after : sequence of int, optional
        Those a person rejected: nothing of the other day is seen again in them, and doubtful lines after that end at them, or lie along them,
        are pieces of the same.

    Returns
    -------
    tuple of Change
        Possible damage first, what may be its reflections, then what is seen only after, is longer after, is seen only before, what cannot be
        compared, and what is in both.
    """
    near = _near(both)
    lists = (before, after)
    paths = [[dense(c, motion) for c in day] for day, motion in zip(lists, both.to_frame, strict=True)]
    headed = [
        [_headed(p, c.kind, near) for c, p in zip(day, of_day, strict=True)]
        for day, of_day in zip(lists, paths, strict=True)
    ]
    dismissed = (set(dismissed_before), set(dismissed_after))
    told = set(shown_after)
    found = []
    for day, index in [(1, i) for i in (*shown_after, *doubtful_after)] + [(0, i) for i in shown_before]:
        candidate, path, other = lists[day][index], paths[day][index], 1 - day
        if not day:
            listed = [headed[1][i] for i in told if after[i].kind == candidate.kind]
            if listed and _with(headed[0][index], np.concatenate(listed)).mean() >= _ALONG:
                continue  # in both: told of with those after
        known = _with(headed[day][index], _seen(candidate, lists[other], headed[other], dismissed[other]))
        share = float(known.mean())
        if share < _ALONG and candidate.kind == "line" and candidate.lamp in both.lines[day]:
            own, others = (both.lines[k][candidate.lamp] for k in (day, other))
            # What a person found after (score 1) may be damage: no filter argues it away. Of what one found before, a filter tells only
            # where it sees the line on that day.
            if candidate.score < 1 or (not day and len(path) > 1 and answers_along(path, own)):
                share = max(share, _again(path, own, others, near))
        # Under a lamp the other day was not photographed under, nothing can be told.
        could = _could(path, both.comparable[other].get(candidate.lamp))
        where = _where(share, could, of_after=bool(day))
        grown = None
        if day and where is Where.BOTH and candidate.kind == "line" and candidate.lamp in both.lines[0]:
            end = _end_without(path, known, both, candidate.lamp)
            grown = (
                None if end is None else mapped(end, np.asarray(np.linalg.inv(both.to_frame[1]), np.float64))
            )
        found.append(Change(where, bool(day), index, share, could, possible_damage=False, grown=grown))
    doubtful, damage = set(doubtful_after), set(damage_after)
    # Of these a person has said that they are no damage, and so of their pieces.
    settled = {*dismissed_after, *(i for i in told - damage if after[i].score == 1)}
    pieces = {i for i in doubtful if any(_continues(paths[1][i], paths[1][k], near) for k in settled)}
    found = [c for c in found if not (c.of_after and c.index in pieces)]
    found = [
        c
        for c in _raised(found, after, paths[1], both, doubtful=doubtful, damage=damage)
        if c.possible_damage or not (c.of_after and c.index in doubtful)
    ]
    order = list(Where)
    return tuple(
        sorted(
            found,
            key=lambda c: (not c.possible_damage, not c.perhaps_reflection, order.index(c.where), c.index),
        )
    )


def likeliest(chances: Sequence[float]) -> list[int]:
    """Which new lines may be raised as possible damage.

    Parameters
    ----------
    chances : sequence of float
        Of each that it is a new fissure, 0 to 1.

    Returns
    -------
    list of int
        Their places, the likeliest first, however likely it is, and further ones that are very likely too.
    """
    order = sorted(range(len(chances)), key=lambda i: -chances[i])[:MOST]
    return order[:1] + [i for i in order[1:] if chances[i] >= FURTHER]


def doubtful_lines(candidates: Sequence[Candidate]) -> list[int]:
    """Places of the lines too weak to be told of by themselves that are looked at as possible damage."""
    return [index for index, c in enumerate(candidates) if c.kind == "line" and DOUBTFUL <= c.score < LIKELY]


def likely_lines(
    candidates: Sequence[Sequence[Candidate]], shown: Sequence[Sequence[int]]
) -> tuple[list[Points], list[Points]]:
    """Paths of the lines told of on each of two days, which `setstone.measure.sights.sights` leaves out."""
    first, second = (
        [day[i].path for i in indices if day[i].kind == "line"]
        for day, indices in zip(candidates, shown, strict=True)
    )
    return first, second


def _again(path: Points, own: Lines, other: Lines, near: float) -> float:
    """Share of a line that the other picture shows; none where it shows too little of it to be the same."""
    share = seen_again(path, own, other, near) if len(path) > 1 else 0.0
    return share if share >= _SEEN_AGAIN else 0.0


def _end_without(path: Points, known: Mask, both: Sights, lamp: LampName) -> Points | None:
    """The longest end of a line after that neither the lines nor the picture of before show, where they could; None without one."""
    own, other = both.lines[1][lamp], both.lines[0][lamp]
    near = _near(both)
    alone = uniform_filter1d((~known).astype(np.float64), _AROUND, mode="nearest") > 0.5
    if alone.all():
        return None
    first, last = int(np.argmin(alone)), len(path) - int(np.argmin(alone[::-1]))
    for end in sorted((path[:first], path[last:]), key=len, reverse=True):
        if len(end) * _STEP_PX < max(_GROWTH * both.diameter_px, _AROUND * _STEP_PX):
            break
        if not _again(end, own, other, near) and _could(end, both.comparable[0].get(lamp)) >= _COMPARABLE:
            return end
    return None


def _where(share: float, could: float, *, of_after: bool) -> Where:
    if share >= _ALONG:
        return Where.BOTH
    if could < _COMPARABLE:
        return Where.UNKNOWN
    return Where.AFTER if of_after else Where.BEFORE


def _raised(
    found: Sequence[Change],
    after: Sequence[Candidate],
    paths: Sequence[Points],
    both: Sights,
    *,
    doubtful: Set[int],
    damage: Set[int],
) -> list[Change]:
    """Raise what a person calls damage and the likeliest of the others; what may be its reflections only where very likely too."""
    new = [c.index for c in found if c.where is Where.AFTER and c.of_after]
    ends = {c.index: mapped(c.grown, both.to_frame[1]) for c in found if c.grown is not None}
    # Of any other finding (score 1) a person has said that it is no damage.
    lines = [i for i in (*new, *ends) if after[i].kind == "line" and (after[i].score < 1 or i in damage)]
    parts = {i: ends.get(i, paths[i]) for i in lines}
    asked = [replace(after[i], score=_PLAIN) if after[i].score == 1 else after[i] for i in lines]
    judged = chances(asked, list(parts.values()), both).tolist()
    chance = _told_by(dict(zip(lines, judged, strict=True)), doubtful, parts, both)
    chance |= {i: 1.0 for i in new if i in damage}
    likely = [list(chance)[k] for k in likeliest(list(chance.values()))]
    raised = {i for i in likely if chance[i] >= DAMAGE} | {i for i in new if i in damage}
    told = []
    for c in found:
        if c.of_after and c.index in chance:
            damaged = c.index in raised
            seems_new = chance[c.index] >= DAMAGE
            c = replace(
                c,
                where=Where.LONGER if c.grown is not None and seems_new else c.where,
                chance=chance[c.index],
                possible_damage=damaged,
                perhaps_reflection=seems_new and not damaged,
            )
        told.append(c)
    return told


def _told_by(
    chance: dict[int, float], doubtful: Set[int], paths: Mapping[int, Points], both: Sights
) -> dict[int, float]:
    """Chances where a line that is told of takes that of a doubtful one that touches it, a piece of the same, which is left out."""
    told = {i: value for i, value in chance.items() if i not in doubtful}
    found = dict(told)
    for weak in (i for i in chance if i in doubtful):
        touching = [i for i in told if _along(paths[weak], paths[i], _near(both))]
        if touching:
            likeliest_one = max(touching, key=told.__getitem__)
            found[likeliest_one] = max(found[likeliest_one], chance[weak])
        else:
            found[weak] = chance[weak]
    return found


def _near(both: Sights) -> float:
    """How near to one another the same thing lies, px of the frame."""
    return max(_NEAR_PX, _NEAR * both.diameter_px)


def _seen(
    like: Candidate, others: Sequence[Candidate], headed: Sequence[Points], dismissed: Set[int]
) -> Points:
    """Points of the other day's candidates of the same kind that count as seen, with their headings."""
    of_kind = [
        headed[i]
        for i, other in enumerate(others)
        if other.kind == like.kind and other.score >= _SEEN and i not in dismissed
    ]
    return np.concatenate(of_kind) if of_kind else np.empty((0, 4))


def _headed(path: Points, kind: str, near: float) -> Points:
    """Places in units of how near the same lies, and beside them the heading of a line on doubled angles: (N, 4)."""
    heading = np.zeros_like(path)
    if kind == "line" and len(path) > 1:
        along = uniform_filter1d(np.gradient(path, axis=0), _HEADING, axis=0, mode="nearest")
        twice = 2 * np.arctan2(along[:, 1], along[:, 0])
        heading = _TURN * np.column_stack([np.cos(twice), np.sin(twice)])
    return np.hstack([path / near, heading])


def _with(headed: Points, others: Points) -> Mask:
    """Which points of a path have others near that run its way; both of `_headed`."""
    if not len(others):
        return np.zeros(len(headed), np.bool_)
    return np.asarray(KDTree(others).query(headed)[0] < 1)


def _along(path: Points, others: Points, near: float) -> float:
    if not len(others):
        return 0.0
    apart = np.asarray(KDTree(others).query(path)[0])
    return float(np.mean(apart < near))


def _continues(path: Points, other: Points, near: float) -> bool:
    """Whether a line ends at another or lies along it, and does not only cross it."""
    return _along(path[[0, -1]], other, near) > 0 or _along(path, other, near) >= _ALONG


def _could(path: Points, mask: Mask | None) -> float:
    """Share of a path that lies where a photograph could have shown it; none without a photograph."""
    if mask is None:
        return 0.0
    x, y = np.round(path).astype(np.int64).T
    inside = (x >= 0) & (y >= 0) & (x < mask.shape[1]) & (y < mask.shape[0])
    return float((mask[y[inside], x[inside]]).sum() / len(path))


def mapped(path: Points, motion: NDArray[np.float64]) -> Points:
    """Points after a motion (x, y, 1) without perspective."""
    return np.asarray(path @ motion[:2, :2].T + motion[:2, 2])


def dense(candidate: Candidate, motion: NDArray[np.float64]) -> Points:
    """Points along a line, or the middle of a spot, after a motion."""
    path = mapped(candidate.path, motion)
    if candidate.kind == "spot":
        return np.asarray(path.mean(0)[None])
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = np.arange(0.0, run[-1] + 1e-9, _STEP_PX)
    return np.column_stack([np.interp(at, run, path[:, 0]), np.interp(at, run, path[:, 1])])
