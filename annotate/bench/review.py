"""The review of one examination: candidates one by one, best first, each decision in the book at once."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from psygnal import Signal

from setstone.annotate.bench.geometry import join_paths, split_path
from setstone.annotate.bench.steps import Step, Steps
from setstone.measure.candidates import LIKELY, Candidate, LampName
from setstone.measure.outline import Outline
from setstone.record.book import Book
from setstone.record.entries import CandidateEntry, Decision, ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.marking import candidate_redrawn, drawn_by_hand
from setstone.record.vocabulary import FindingKind, Verdict

#: What a line or spot is called when a person accepts it without saying more.
FIRST_KINDS = {"line": FindingKind.FISSURE, "spot": FindingKind.DARK_INCLUSION}
#: What each may be called, the likeliest first; any other kind is allowed.
KINDS = {
    "line": (
        FindingKind.FISSURE,
        FindingKind.FEATHER,
        FindingKind.FILLED_FISSURE,
        FindingKind.FINGERPRINT,
        FindingKind.NEEDLE,
        FindingKind.SCRATCH,
        FindingKind.OTHER,
    ),
    "spot": (
        FindingKind.DARK_INCLUSION,
        FindingKind.CRYSTAL,
        FindingKind.PINPOINT,
        FindingKind.GAS_BUBBLE,
        FindingKind.CLOUD,
        FindingKind.CHIP,
        FindingKind.OTHER,
    ),
}
#: Reasons for a rejection offered first; any other text is allowed.
REASONS = (
    "no flaw",
    "facet edge",
    "reflection",
    "dust or fibre",
    "mark on the surface",
    "part of the setting",
)
#: Why a drawing that was taken back no longer counts.
TAKEN_BACK = "drawn by hand and taken back"
_SPLIT, _JOINED = "split in two by hand", "joined with another by hand"
#: What was rejected for one of these is not shown: others stand in its place, or nobody meant it.
_GONE = (TAKEN_BACK, _SPLIT, _JOINED)


class Review:
    """The candidates of one examination and what a person does with them.

    Parameters
    ----------
    book : Book
    stone : StoneEntry
    entry : ExaminationEntry
        The newest of its occasion.
    by : callable
        Who reviews, asked at each decision.
    steps : Steps
        Where each decision goes, to be undone.
    """

    #: What is known or shown of the candidates changed.
    changed = Signal()
    #: Another candidate is looked at.
    moved = Signal()
    #: The outline was drawn again.
    outline_changed = Signal()

    def __init__(
        self, book: Book, stone: StoneEntry, entry: ExaminationEntry, by: Callable[[], str], steps: Steps
    ) -> None:
        self.stone = stone
        self.entry = entry
        self.kinds: dict[str, FindingKind] = dict(FIRST_KINDS)
        self.reason = REASONS[0]
        self._book = book
        self._by = by
        self._steps = steps
        self._threshold = LIKELY
        self._number: int | None = None
        #: What was compared with another day and is seen on one only, by number.
        self.differing = book.differing(entry)
        waiting = [c for c in self.queue if c.decision is None]
        if waiting or self.queue:
            self._number = (waiting or self.queue)[0].number

    @property
    def threshold(self) -> float:
        """Score from which on undecided candidates are shown."""
        return self._threshold

    @threshold.setter
    def threshold(self, score: float) -> None:
        self._threshold = min(1.0, max(0.0, score))
        if self.current is None:
            self._number = self.queue[0].number if self.queue else None
            self.moved.emit()
        self.changed.emit()

    @property
    def queue(self) -> tuple[CandidateEntry, ...]:
        """What is shown: likely candidates, possible damage, and all that a person decided on or drew.

        Possible damage by the work comes first, then what else is seen on one of two compared days only; the best first.

        A drawing that was taken back is not shown, nor a line that was split or joined with another.
        """
        chosen = [c for c in self.entry.candidates if self._shown(c)]
        return tuple(sorted(chosen, key=lambda c: (self._rank(c.number), -c.candidate.score, c.number)))

    @property
    def left(self) -> int:
        """How many shown candidates nobody has decided on."""
        return sum(c.decision is None for c in self.queue)

    @property
    def likely_left(self) -> int:
        """How many likely candidates nobody has decided on, shown or not: what the list of stones counts."""
        return sum(c.decision is None and c.candidate.score >= LIKELY for c in self.entry.candidates)

    @property
    def current(self) -> CandidateEntry | None:
        """The candidate looked at."""
        return next((c for c in self.queue if c.number == self._number), None)

    @property
    def place(self) -> int:
        """Place of the current candidate in the queue, from 1; 0 without one."""
        numbers = [c.number for c in self.queue]
        return numbers.index(self._number) + 1 if self._number in numbers else 0

    def go_to(self, number: int) -> None:
        """Look at the candidate of this number, where it is shown."""
        if number != self._number and any(c.number == number for c in self.queue):
            self._number = number
            self.moved.emit()

    def next(self) -> None:
        """Look at the next candidate of the queue; stay at the last."""
        self._go_by(1)

    def previous(self) -> None:
        """Look at the one before; stay at the first."""
        self._go_by(-1)

    def next_open(self) -> None:
        """Look at the next candidate nobody has decided on, from the beginning again after the last."""
        queue = self.queue
        place = self.place
        for c in (*queue[place:], *queue[:place]):
            if c.decision is None:
                self.go_to(c.number)
                return

    def accept(self, kind: FindingKind | None = None) -> None:
        """Accept the current candidate as a finding and go on to the next open one."""
        current = self._required()
        kind = kind or self.kinds[current.candidate.kind]
        self._decide_step(f"accept {current.number}", [(current, Verdict.ACCEPTED, kind, "")])
        self.next_open()

    def reject(self, reason: str = "") -> None:
        """Reject the current candidate and go on to the next open one."""
        current = self._required()
        self._decide_step(
            f"reject {current.number}", [(current, Verdict.REJECTED, None, reason or self.reason)]
        )
        self.next_open()

    def reopen(self) -> None:
        """Take back the decision on the current candidate."""
        current = self._required()
        if current.decision is not None:
            self._decide_step(f"open {current.number} again", [(current, Verdict.OPEN, None, "")])

    def change_kind(self, kind: FindingKind) -> None:
        """Say what kind of finding the current one is; one that is accepted is accepted as that."""
        current = self._required()
        self.kinds[current.candidate.kind] = kind
        if current.is_finding and current.decision is not None and current.decision.kind is not kind:
            self._decide_step(f"call {current.number} {kind}", [(current, Verdict.ACCEPTED, kind, "")])
        else:
            self.changed.emit()

    @property
    def kind(self) -> FindingKind | None:
        """What the current one is called, or will be where it is accepted; None without one."""
        return None if self.current is None else self._kind_of(self.current)

    def next_kind(self) -> FindingKind:
        """Kind that follows the current one's among the likely ones."""
        current = self._required()
        kinds = KINDS[current.candidate.kind]
        kind = self._kind_of(current)
        return kinds[(kinds.index(kind) + 1) % len(kinds)] if kind in kinds else kinds[0]

    def draw_line(self, path: NDArray[np.float64], *, lamp: LampName | None = None) -> int:
        """Add a line the program missed.

        Parameters
        ----------
        path : (N, 2) float64 array
            Pixels x, y of the reference photograph.
        lamp : {"white", "blue"}, optional

        Returns
        -------
        int
            Its number.
        """
        drawn = drawn_by_hand(self.entry.result, self._mm(path), lamp=lamp)
        return self._add("draw a line", [(drawn, self.kinds["line"])], ())[0]

    def draw_spot(
        self, centre: tuple[float, float], diameter_px: float, *, lamp: LampName | None = None
    ) -> int:
        """Add a spot the program missed, by its centre and diameter in pixels; return its number."""
        scale = self.entry.result.scale
        um = diameter_px * (scale.um_per_px if scale is not None else 1.0)
        drawn = drawn_by_hand(self.entry.result, self._mm(np.array([centre])), diameter_um=um, lamp=lamp)
        return self._add("draw a spot", [(drawn, self.kinds["spot"])], ())[0]

    def redraw(self, number: int, path: NDArray[np.float64]) -> None:
        """Put another path, in pixels, in the place of a candidate's; its number stays."""
        before = self._of(number)
        drawn = candidate_redrawn(before.candidate, path, self.entry.result.scale)
        undone = None if before.first_drawn is None else before.candidate

        def draw(candidate: Candidate | None) -> Callable[[], None]:
            def write() -> None:
                self._book.redraw_candidate(self.entry, number, candidate, by=self._by())
                self.reload()

            return write

        self._steps.take(self._step(f"draw {number} again", draw(drawn), draw(undone)))

    def redraw_outline(self, outline: Outline) -> None:
        """Put another outline in place of the one measured."""
        undone = self.entry.result.outline if self.entry.outline_redrawn else None

        def draw(drawn: Outline | None) -> Callable[[], None]:
            def write() -> None:
                self._book.redraw_outline(self.entry, drawn, by=self._by())
                self.reload()
                self.outline_changed.emit()

            return write

        self._steps.take(self._step("draw the outline again", draw(outline), draw(undone)))

    def split(self, at: tuple[float, float]) -> tuple[int, int]:
        """Split the current line in two where it is nearest to a point, given in pixels.

        Returns
        -------
        tuple of int
            The numbers of the two halves.

        Raises
        ------
        BookError
            When the current candidate is no line, or the point is at one of its ends.
        """
        current = self._required()
        if current.candidate.kind != "line":
            raise BookError("Only a line can be split; choose one first.")
        before, after = split_path(current.candidate.path, at)
        halves = [self._piece(current, path) for path in (before, after)]
        kind = self._kind_of(current)
        first, second = self._add(f"split {current.number}", [(h, kind) for h in halves], [(current, _SPLIT)])
        return first, second

    def join(self, number: int) -> int:
        """Join the current line with another one, at their nearest ends; return the new number."""
        current, other = self._required(), self._of(number)
        if current.number == other.number or {current.candidate.kind, other.candidate.kind} != {"line"}:
            raise BookError("Two different lines can be joined; choose one, then the other.")
        joined = self._piece(current, join_paths(current.candidate.path, other.candidate.path))
        gone = [(c, _JOINED) for c in (current, other)]
        title = f"join {current.number} and {other.number}"
        return self._add(title, [(joined, self._kind_of(current))], gone)[0]

    def reload(self) -> None:
        """Read the examination from the book again."""
        self.entry = self._book.examination(self.stone, self.entry.occasion)
        self.changed.emit()

    def new_end(self, entry: CandidateEntry) -> NDArray[np.float64] | None:
        """The end by which a line is longer than on the day before, (N, 2) float64, px; None where there is none."""
        seen = self.differing.get(entry.number)
        # Drawn again since, the line ends where a person says.
        return None if seen is None or not seen.end or entry.first_drawn is not None else np.array(seen.end)

    def _rank(self, number: int) -> int:
        seen = self.differing.get(number)
        return 2 if seen is None else 0 if seen.possible_damage else 1

    def _shown(self, entry: CandidateEntry) -> bool:
        if entry.decision is None:
            return entry.candidate.score >= self._threshold or self._rank(entry.number) == 0
        return entry.decision.reason not in _GONE

    def _go_by(self, step: int) -> None:
        queue = self.queue
        if queue:
            self.go_to(queue[min(len(queue) - 1, max(0, self.place - 1 + step))].number)

    def _required(self) -> CandidateEntry:
        if self.current is None:
            raise BookError("No candidate is chosen; lower the threshold to see weaker ones, or draw one.")
        return self.current

    def _of(self, number: int) -> CandidateEntry:
        return next(c for c in self.entry.candidates if c.number == number)

    def _kind_of(self, entry: CandidateEntry) -> FindingKind:
        if entry.decision is not None and entry.decision.kind is not None:
            return entry.decision.kind
        return self.kinds[entry.candidate.kind]

    def _mm(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        scale = self.entry.result.scale
        return (points + 0.5) * (scale.um_per_px if scale is not None else 1.0) / 1000

    def _piece(self, of: CandidateEntry, path: NDArray[np.float64]) -> Candidate:
        """Part or extension of a line, drawn by a person."""
        drawn = drawn_by_hand(self.entry.result, self._mm(path), lamp=of.candidate.lamp)
        width = {name: q for name, q in of.candidate.sizes.items() if name != "length"}
        return replace(drawn, sizes={**drawn.sizes, **width}, contrast=of.candidate.contrast)

    def _decide_step(
        self, title: str, wanted: Sequence[tuple[CandidateEntry, Verdict, FindingKind | None, str]]
    ) -> None:
        before = [(c.number, c.decision) for c, *_ in wanted]

        def do() -> None:
            self._decide([(c.number, v, k, r) for c, v, k, r in wanted])

        def undo() -> None:
            self._decide([(number, *_again(decision)) for number, decision in before])
            self.go_to(before[0][0])

        self._steps.take(self._step(title, do, undo))

    def _add(
        self,
        title: str,
        drawn: Sequence[tuple[Candidate, FindingKind]],
        gone: Sequence[tuple[CandidateEntry, str]],
    ) -> list[int]:
        """Add drawings and reject what they take the place of, as one step."""
        numbers: list[int] = []

        def do() -> None:
            with self._book.atomic():
                if numbers:
                    self._write(
                        [(n, Verdict.ACCEPTED, k, "") for n, (_, k) in zip(numbers, drawn, strict=True)]
                    )
                else:
                    numbers.extend(
                        self._book.add_finding(self.entry, c, kind=k, by=self._by()).number for c, k in drawn
                    )
                self._write([(c.number, Verdict.REJECTED, None, reason) for c, reason in gone])
            self._number = numbers[0]
            self.reload()
            self.moved.emit()

        def undo() -> None:
            with self._book.atomic():
                self._write([(n, Verdict.REJECTED, None, TAKEN_BACK) for n in numbers])
                self._write([(c.number, *_again(c.decision)) for c, _ in gone])
            self.reload()
            self._number = gone[0][0].number if gone else next((c.number for c in self.queue), None)
            self.moved.emit()

        self._steps.take(self._step(title, do, undo))
        return numbers

    def _step(self, title: str, do: Callable[[], None], undo: Callable[[], None]) -> Step:
        return Step(title, do, undo, examines=self.stone.id)

    def _decide(self, wanted: Sequence[tuple[int, Verdict, FindingKind | None, str]]) -> None:
        made = self._write(wanted)
        candidates = tuple(
            replace(c, decision=_in_force(made[c.number])) if c.number in made else c
            for c in self.entry.candidates
        )
        self.entry = replace(self.entry, candidates=candidates)
        self.changed.emit()

    def _write(self, wanted: Iterable[tuple[int, Verdict, FindingKind | None, str]]) -> dict[int, Decision]:
        """Write decisions, unless somebody else decided meanwhile on what is not seen here yet."""
        made = {}
        overtaken: tuple[int, Decision] | None = None
        with self._book.atomic():
            for number, verdict, kind, reason in wanted:
                known = self._of_or_none(number)
                last = _in_force((self._book.decisions(self.entry, number) or (None,))[-1])
                if known is not None and last != known.decision and last is not None:
                    overtaken = number, last
                    break
                made[number] = self._book.decide(
                    self.entry, number, verdict, kind=kind, reason=reason, by=self._by()
                )
            if overtaken is not None and made:
                raise BookError("Part of this was decided in another window; look again and decide again.")
        if overtaken is not None:
            number, last = overtaken
            self.reload()
            word = last.kind or last.reason
            raise BookError(
                f"{last.by or 'Somebody'} has {last.verdict} number {number} ({word}) in another window meanwhile; "
                "look at it and decide again if you see it otherwise."
            )
        return made

    def _of_or_none(self, number: int) -> CandidateEntry | None:
        return next((c for c in self.entry.candidates if c.number == number), None)


def _again(decision: Decision | None) -> tuple[Verdict, FindingKind | None, str]:
    """What must be decided for a decision to be in force again."""
    return (
        (Verdict.OPEN, None, "") if decision is None else (decision.verdict, decision.kind, decision.reason)
    )


def _in_force(decision: Decision | None) -> Decision | None:
    return None if decision is None or decision.verdict is Verdict.OPEN else decision
