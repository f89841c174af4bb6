"""One photograph in the list: what it shows, what is said of it, and whether it is fit to be measured."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from qtpy.QtCore import QSize, Qt, Signal
from qtpy.QtWidgets import QComboBox, QFrame, QGridLayout, QHBoxLayout, QInputDialog, QToolButton

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.fitness_words import doubts, made_words, verdict_words
from setstone.annotate.bench.scaling import scale_words, width_words
from setstone.annotate.panels.looks import caution, line_height, words
from setstone.annotate.panels.working import attempt
from setstone.capture.lamp import BLUE_LIGHT
from setstone.capture.photograph import Lamp
from setstone.record.entries import PhotographEntry
from setstone.record.vocabulary import OCCASIONS

if TYPE_CHECKING:
    from setstone.capture.judging import Fitness

#: Letters of a name that have room.
_NAME = 24
_LAMPS = {Lamp.WHITE: "white", Lamp.BLUE: "blue", Lamp.OTHER: "other"}


class PhotographRow(QFrame):
    """One photograph: what it shows, and what is said of it.

    Parameters
    ----------
    bench : Bench
    entry : PhotographEntry
    """

    #: It is to be shown on the canvas.
    shown = Signal()
    #: Its scale is to be corrected.
    scale_wanted = Signal()

    def __init__(self, bench: Bench, entry: PhotographEntry) -> None:
        super().__init__()
        self._bench = bench
        self.entry = entry
        self.picture = QToolButton()
        side = round(3.6 * line_height(self))
        self.picture.setIconSize(QSize(side, round(side * 0.8)))
        self.picture.setToolTip(f"Show this photograph on the canvas.\n\n{_facts(entry)}")
        self.picture.setAccessibleName(f"Show {entry.name}")
        self.picture.clicked.connect(self.shown.emit)
        self.lamp = QComboBox()
        self.lamp.setAccessibleName(f"Light of {entry.name}")
        recognised = "" if entry.lamp_stated else " It was recognised from the picture."
        self.lamp.setToolTip(f"The light it was taken in.{recognised}\n\n{BLUE_LIGHT}")
        for lamp, text in _LAMPS.items():
            self.lamp.addItem(text, lamp)
        self.lamp.setCurrentIndex(self.lamp.findData(entry.lamp))
        self.lamp.activated.connect(self._correct_lamp)
        self.occasion = QComboBox()
        self.occasion.setAccessibleName(f"Occasion of {entry.name}")
        self.occasion.setToolTip("When in the work it was taken; choose or type.")
        self.occasion.setEditable(True)
        self.occasion.addItems(list(dict.fromkeys((*OCCASIONS, *bench.occasions))))
        self.occasion.setCurrentText(entry.occasion)
        self.occasion.lineEdit().setCursorPosition(0)
        self.occasion.activated.connect(self._correct_occasion)
        for combo in (self.lamp, self.occasion):
            combo.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            combo.setFocusPolicy(Qt.FocusPolicy.StrongFocus)  # the wheel scrolls the list, it changes nothing
        self.scale = words(small=True)
        self.verdict = words(small=True)
        self.verdict.setToolTip(
            "Judged by focus, exposure, light, shake and sampling, inside the stone once it is examined."
        )
        made, in_full = made_words(entry)
        self.made = words(made, small=True)
        self.made.setToolTip(in_full)
        self.made.setVisible(bool(made))
        self.doubts = caution()
        self.correct = QToolButton()
        self.correct.setText("Scale")
        self.correct.setToolTip("Drag the ends of the scale bar on the picture and type its length.")
        self.correct.clicked.connect(self.scale_wanted.emit)
        self.move_to = QToolButton()
        self.move_to.setText("Move")
        self.move_to.setToolTip("It shows another stone: give it to that one.")
        self.move_to.clicked.connect(self._move)
        choices = QHBoxLayout()
        choices.addWidget(self.lamp, 2)
        choices.addWidget(self.occasion, 3)
        tools = QHBoxLayout()
        tools.addWidget(self.scale, 1)
        tools.addWidget(self.correct)
        tools.addWidget(self.move_to)
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 2, 0, 2)
        grid.setVerticalSpacing(2)
        grid.addWidget(self.picture, 0, 0, 2, 1, Qt.AlignmentFlag.AlignTop)
        grid.addLayout(choices, 0, 1)
        grid.addLayout(tools, 1, 1)
        grid.addWidget(self.verdict, 2, 1)
        grid.addWidget(self.made, 3, 1)
        grid.addWidget(self.doubts, 4, 0, 1, 2)
        grid.setColumnStretch(1, 1)
        self.show_scale()
        self.show_fitness(None)

    def show_scale(self) -> None:
        """Show the scale as it is known now."""

        def show() -> None:
            scale = self._bench.scale_of(self.entry)
            self.scale.setText(width_words(scale, self.entry))
            self.scale.setToolTip(scale_words(scale, self.entry))

        attempt(self._bench, show)

    def show_fitness(self, found: "Fitness | None") -> None:
        """Show whether it is fit to be measured, and what to change; None while that is not known."""
        self.verdict.setText(f"{verdict_words(found)}  ({_shortened(self.entry.name)})")
        against = doubts(self.entry, found)
        self.doubts.setText("\n".join(against))
        self.doubts.setVisible(bool(against))

    def _correct_lamp(self, _index: int) -> None:
        self._correct(lambda: self._bench.correct_photograph(self.entry, lamp=Lamp(self.lamp.currentData())))

    def _correct_occasion(self, _index: int) -> None:
        text = self.occasion.currentText()
        self._correct(lambda: self._bench.correct_photograph(self.entry, occasion=text))

    def _correct(self, act: Callable[[], None]) -> None:
        if not attempt(self._bench, act):
            self.lamp.setCurrentIndex(self.lamp.findData(self.entry.lamp))
            self.occasion.setCurrentText(self.entry.occasion)

    def _move(self) -> None:
        others = [p.stone for p in self._bench.progress if p.stone_id != self.entry.stone_id]
        names = [s.full_name for s in others]
        if not names:
            self._bench.said.emit("There is no other stone in the book; add it first.")
            return
        name, given = QInputDialog.getItem(self, "Move the photograph", "It shows:", names, 0, False)
        if given:
            to = others[names.index(name)]
            attempt(self._bench, lambda: self._bench.move_photograph(self.entry, to))


def _shortened(name: str) -> str:
    """A name that does not widen the panel: the middle of a long one is left out."""
    return name if len(name) <= _NAME else f"{name[: _NAME // 2]}…{name[-_NAME // 2 + 1 :]}"


def _facts(entry: PhotographEntry) -> str:
    taken = "" if entry.taken is None else f", taken {entry.taken.astimezone():%Y-%m-%d %H:%M}"
    by = f", by {entry.operator}" if entry.operator else ""
    at = "" if entry.magnification is None else f", {entry.magnification:g}×"
    return (
        f"{entry.name}{taken}{by}{at}\n{entry.width * entry.height / 1e6:.1f} megapixels, {entry.bit_depth} bit, "
        f"{entry.format}; kept unaltered, SHA-256 {entry.sha256[:16]}…"
    )
