"""What changed in a stone from one occasion to another."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from setstone.measure.candidates import LIKELY, Candidate, LampName, percent
from setstone.record.entries import CandidateEntry, ExaminationEntry, StoneEntry
from setstone.record.store import Store
from setstone.record.two_occasions import TwoOccasions, two_occasions
from setstone.record.vocabulary import FindingKind, Verdict

if TYPE_CHECKING:
    from setstone.measure.changes import Change

#: Findings that work on a stone can cause (common practice, no source).
_DAMAGE = {
    FindingKind.FISSURE,
    FindingKind.FEATHER,
    FindingKind.FILLED_FISSURE,
    FindingKind.CHIP,
    FindingKind.ABRASION,
    FindingKind.SCRATCH,
    FindingKind.OTHER,
}


@dataclass(frozen=True, eq=False)
class Changed:
    """A candidate or finding and on which of two occasions it is seen.

    Parameters
    ----------
    change : Change
    entry : CandidateEntry
        With the number it has on its occasion.
    occasion : str
    """

    change: "Change"
    entry: CandidateEntry
    occasion: str

    @property
    def says(self) -> str:
        """The evidence, in a sentence."""
        other = "before" if self.change.of_after else "after"
        if self.entry.candidate.kind == "spot":
            there = "a spot was proposed there" if self.change.share else "no spot was proposed there"
            could = "could" if self.change.comparable else "could not"
            return f"{there} {other}, where it {could} have been seen"
        said = [f"{self.change.share:.0%} of it lies along lines proposed or seen {other}"]
        if round(100 * self.change.comparable) < 100:
            said.append(f"{self.change.comparable:.0%} of it could have been seen there")
        if self.change.where == "longer after":
            said.append(f"one end of it is seen only after, {percent(self.change.chance)}% likely to be new")
        elif self.change.where == "only after" and 0 < self.change.chance < 1:
            said.append(f"{percent(self.change.chance)}% likely to be a new fissure")
        if self.change.perhaps_reflection:
            said.append("perhaps the damage, seen in another facet")
        return "; ".join(said)


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two occasions of a stone compared.

    Parameters
    ----------
    both : TwoOccasions
    changed : tuple of Changed
        Possible damage first.
    residual_um : float or None
        How well the photographs lie on one another, µm, root mean square; None without a scale.
    comparable : mapping of str to float
        By lamp of both days, share of the stone that both days' photographs could show: in view, not in glare, in focus and not covered.
    """

    both: TwoOccasions
    changed: tuple[Changed, ...]
    residual_um: float | None
    comparable: "Mapping[LampName, float]"


def compare_occasions(
    book: Store, stone: StoneEntry, before: str | None = None, after: str | None = None
) -> Comparison:
    """Compare what is seen in a stone on two occasions.

    Findings, and open candidates that are likely or possible damage, are told of; what a person rejected is no change.

    Parameters
    ----------
    stone : StoneEntry
    before, after : str, optional
        Occasions; of those examined, the first and the last photographed when not given.

    Raises
    ------
    BookError
        When there are not two examined occasions with photographs under the same light, or it cannot be told how the stone was
        turned.
    """
    return changes_between(two_occasions(book, stone, before, after))


def changes_between(both: TwoOccasions) -> Comparison:
    """Compare what is seen in a stone on two occasions that lie on one another."""
    from setstone.measure.changes import changes, doubtful_lines, likely_lines
    from setstone.measure.sights import sights

    entries, shown = (both.before, both.after), (_shown(both.before), _shown(both.after))
    lists = tuple(_candidates(entry) for entry in entries)
    seen = sights(
        *(look.pictures for look in both.looks),
        outlines=both.outlines,
        after_to_before=both.registration.matrix,
        lines=likely_lines(lists, shown),
    )
    found = changes(
        lists[0],
        lists[1],
        seen,
        shown_before=shown[0],
        shown_after=shown[1],
        doubtful_after=[i for i in doubtful_lines(lists[1]) if both.after.candidates[i].decision is None],
        damage_after=_damage(both.after),
        dismissed_before=_rejected(both.before),
        dismissed_after=_rejected(both.after),
    )
    scale = both.looks[0].um_per_px
    changed = []
    for change in found:
        entry = both.after if change.of_after else both.before
        changed.append(Changed(change, entry.candidates[change.index], entry.occasion))
    residual_um = None if scale is None else both.registration.residual_px * scale
    return Comparison(both, tuple(changed), residual_um, seen.comparable_shares())


def _candidates(entry: ExaminationEntry) -> list[Candidate]:
    """Candidates of an occasion; what a person took for a finding is certain, however it was scored."""
    return [replace(c.candidate, score=1.0) if c.is_finding else c.candidate for c in entry.candidates]


def _shown(entry: ExaminationEntry) -> list[int]:
    return [
        index
        for index, one in enumerate(entry.candidates)
        if one.is_finding or (one.decision is None and one.candidate.score >= LIKELY)
    ]


def _rejected(entry: ExaminationEntry) -> list[int]:
    return [
        index
        for index, one in enumerate(entry.candidates)
        if one.decision is not None and one.decision.verdict is Verdict.REJECTED
    ]


def _damage(entry: ExaminationEntry) -> list[int]:
    return [
        index
        for index, one in enumerate(entry.candidates)
        if one.is_finding and one.decision and one.decision.kind in _DAMAGE
    ]
