"""The review: one candidate after the other, best first, with one key for each decision."""

from collections.abc import Callable

from qtpy.QtCore import QSignalBlocker, Qt
from qtpy.QtWidgets import (
    QComboBox,
    QFormLayout,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QScrollArea,
    QSlider,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.review import KINDS, REASONS, Review
from setstone.annotate.panels.tools import Tools
from setstone.annotate.panels.working import attempt
from setstone.annotate.texts import english
from setstone.annotate.wording import kind_words, score_words, size_words
from setstone.record.entries import CandidateEntry, Seen
from setstone.record.errors import BookError
from setstone.record.vocabulary import FindingKind, Verdict

#: What a reason speaks for, speaks against, or asks.
_SIGNS = {True: "+", False: "−", None: "?"}


class ReviewPanel(QScrollArea):
    """Shows the candidate looked at and takes the decision on it.

    Parameters
    ----------
    bench : Bench
    tools : Tools
    """

    def __init__(self, bench: Bench, tools: Tools) -> None:
        super().__init__()
        self._bench = bench
        self._connected: Review | None = None
        self.count = QLabel()
        self.count.setWordWrap(True)
        self.elsewhere = QPushButton()
        self.elsewhere.setToolTip(
            "Each occasion is judged by itself; the list of stones counts all of them. Go on to the next one with "
            "candidates nobody has judged."
        )
        self.elsewhere.clicked.connect(lambda: attempt(bench, bench.choose_unjudged_occasion))
        self.done = QProgressBar()
        self.done.setToolTip("How many of the candidates shown are judged.")
        self.what = QLabel()
        self.what.setWordWrap(True)
        self.kind = QComboBox()
        self.kind.setToolTip(
            "What it is called when it is accepted (key K goes on to the next likely one). It stays for the next."
        )
        self.kind.activated.connect(self._choose_kind)
        self.reason = QComboBox()
        self.reason.setEditable(True)
        self.reason.addItems(REASONS)
        self.reason.setToolTip("Why it is rejected; choose or type. It stays in the record.")
        self.reason.currentTextChanged.connect(self._choose_reason)
        self.threshold = QSlider(Qt.Orientation.Horizontal)
        self.threshold.setRange(0, 95)
        self.threshold.setAccessibleName("Least score shown")
        self.threshold.setToolTip(
            "To the left more candidates are shown, weaker ones too (key ,); to the right fewer (key .). "
            "What was judged stays."
        )
        self.threshold.valueChanged.connect(self._choose_threshold)
        self.shown = QLabel()
        self.shown.setWordWrap(True)
        self._judging = self._buttons(
            ("Accept  G", lambda r: r.accept(), "It is there: a finding from now on (key G)."),
            (
                "Reject  Q",
                lambda r: r.reject(),
                "It is no flaw; it stays in the record with the reason (key Q).",
            ),
            ("Before  U", lambda r: r.previous(), "Look at the candidate before (key U)."),
            ("Next  N", lambda r: r.next(), "Look at the next candidate (key N)."),
            (
                "Open again",
                lambda r: r.reopen(),
                "Take the decision back: to be judged again (key Backspace).",
            ),
            ("Next open", lambda r: r.next_open(), "Go on to the next one nobody has judged."),
        )
        self._tools = self._buttons(
            ("Draw line  W", lambda _: tools.draw_line(), "Draw a line the program missed: click point after point, double click at the end (key W)."),
            ("Draw spot  0", lambda _: tools.draw_spot(), "Draw a spot the program missed: drag from corner to corner of it (key 0)."),
            ("Drag points  D", lambda _: tools.edit_mark(), "Drag the points of a line, or the edge of a spot (key D). Escape puts the tool down."),
            ("Outline  E", lambda _: tools.edit_outline(), "Drag the outline of the stone (key E). Escape puts the tool down."),
            ("Join  J", lambda _: tools.join_at_click(), "Join this line with another one: click that one (or point at it and press J)."),
            ("Split  8", lambda _: tools.split_at_click(), "Split this line in two: click the place (or point at it and press 8)."),
        )  # fmt: skip
        choices = QFormLayout()
        choices.addRow("Kind", self.kind)
        choices.addRow("Reason", self.reason)
        slider = QHBoxLayout()
        slider.addWidget(QLabel("more"))
        slider.addWidget(self.threshold)
        slider.addWidget(QLabel("fewer"))
        content = QWidget()
        layout = QVBoxLayout(content)
        layout.addWidget(self.count)
        layout.addWidget(self.done)
        layout.addLayout(
            self._judging
        )  # above all that grows: a second click must not land on another button
        layout.addLayout(choices)
        layout.addWidget(self.what)
        layout.addLayout(self._tools)
        layout.addLayout(slider)
        layout.addWidget(self.shown)
        layout.addWidget(self.elsewhere)
        layout.addStretch()
        self.setWidget(content)
        self.setWidgetResizable(True)
        bench.review_changed.connect(self._connect)
        bench.chosen.connect(self._connect)
        bench.stones_changed.connect(self._show_elsewhere)
        self._connect()

    def _buttons(self, *wanted: tuple[str, Callable[[Review], object], str]) -> QGridLayout:
        grid = QGridLayout()
        for place, (text, act, tip) in enumerate(wanted):
            button = QPushButton(text)
            button.setToolTip(tip)
            # The picture keeps the keyboard.
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            button.clicked.connect(lambda _checked=False, act=act: self._on_review(act))
            grid.addWidget(button, place // 2, place % 2)
        return grid

    def _on_review(self, act: Callable[[Review], object]) -> None:
        def on_it() -> None:
            if self._bench.review is None:
                raise BookError("There is nothing to review yet; examine the stone first.")
            act(self._bench.review)

        attempt(self._bench, on_it)

    def _connect(self) -> None:
        review = self._bench.review
        if review is not self._connected:
            if review is not None:
                review.changed.connect(self._show)
                review.moved.connect(self._show)
            self._connected = review
        self._show()

    def _choose_kind(self, _index: int) -> None:
        kind = FindingKind(self.kind.currentData())
        self._on_review(lambda review: review.change_kind(kind))

    def _choose_reason(self, reason: str) -> None:
        if self._bench.review is not None:
            self._bench.review.reason = reason

    def _choose_threshold(self, percent: int) -> None:
        if self._bench.review is not None:
            self._bench.review.threshold = percent / 100

    def _show_elsewhere(self) -> None:
        """Say how many wait on other occasions, so that the count agrees with that in the list of stones."""
        left = self._bench.left_elsewhere
        others = [o for o in self._bench.occasions if o != self._bench.occasion] if left else []
        where = others[0] if len(others) == 1 else "other occasions"
        self.elsewhere.setText(f"{left} more on this stone: {where}")
        self.elsewhere.setVisible(bool(left))

    def _show(self) -> None:
        self._show_elsewhere()
        review = self._bench.review
        self.widget().setEnabled(review is not None)
        if review is None:
            stone = self._bench.stone
            self.count.setText("No candidates")
            self.what.setText(
                "Choose a stone first."
                if stone is None
                else f"{stone.position} is not examined yet: press F5."
            )
            self.done.setFormat("%p%")
            self._fill(0, 1)
            self.shown.setText("")
            return
        queue = review.queue
        current = review.current
        self.count.setText(
            f"<b>{review.left} left to judge</b>, number {review.place} of {len(queue)} shown"
            if queue
            else "<b>No candidates</b> at this threshold"
        )
        self.done.setFormat(f"{review.entry.occasion}: %p%")
        self._fill(len(queue) - review.left, max(1, len(queue)))
        self.what.setText("" if current is None else words(current, review.differing.get(current.number)))
        weaker = len(review.entry.candidates) - len(queue)
        self.shown.setText(f"Shown from a score of {round(100 * review.threshold)} %; {weaker} more are kept")
        with QSignalBlocker(self.threshold):
            self.threshold.setValue(round(100 * review.threshold))
        with QSignalBlocker(self.reason):
            self.reason.setCurrentText(review.reason)
        self._show_kinds(review)

    def _fill(self, done: int, of: int) -> None:
        # Qt paints a bar at once when its value changes, and the picture with it; later with all else is enough.
        self.done.setUpdatesEnabled(False)
        self.done.setMaximum(of)
        self.done.setValue(done)
        self.done.setUpdatesEnabled(True)

    def _show_kinds(self, review: Review) -> None:
        self.kind.setEnabled(review.current is not None)
        if review.current is None:
            return
        likely = KINDS[review.current.candidate.kind]
        kinds = (*likely, *(k for k in FindingKind if k not in likely))
        with QSignalBlocker(self.kind):
            if [self.kind.itemData(i) for i in range(self.kind.count())] != [str(k) for k in kinds]:
                self.kind.clear()
                for kind in kinds:
                    self.kind.addItem(str(kind), str(kind))
            self.kind.setCurrentIndex(self.kind.findData(str(review.kind)))


def words(entry: CandidateEntry, seen: Seen | None = None) -> str:
    """Describe a candidate as rich text: what it is, its sizes, where it is seen of two days, what its score rests on."""
    texts = english()
    candidate, decision = entry.candidate, entry.decision
    state = "candidate, not judged yet"
    if entry.is_finding:
        state = "accepted"
    elif decision is not None and decision.verdict is Verdict.REJECTED:
        state = f"rejected: {decision.reason}"
    lines = [f"<b>{entry.number}: {kind_words(entry, texts)}</b> ({state})"]
    if seen is not None:
        lines.append(
            f"<b>{seen.says}</b>; {seen.evidence}{' (in dashes)' if seen.end and entry.first_drawn is None else ''}"
        )
    lines += size_words(candidate, texts)
    if entry.origin == "program":
        lines.append(score_words(candidate, texts))
        lines += [f"{_SIGNS[r.speaks_for]} {r.text}" for r in candidate.reasons]
    else:
        lines.append("drawn by hand")
    return "<br>".join(lines)
