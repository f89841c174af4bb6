"""The examination: run it, and see what was measured, also while the outline is dragged."""

from qtpy.QtCore import Qt
from qtpy.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QFormLayout,
    QGridLayout,
    QLabel,
    QLineEdit,
    QProgressBar,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.guide import next_step
from setstone.annotate.bench.review import Review
from setstone.annotate.panels.examining import Examining
from setstone.annotate.panels.looks import words
from setstone.annotate.panels.tools import Tools
from setstone.annotate.panels.working import attempt
from setstone.annotate.texts import english
from setstone.annotate.wording import kind_words
from setstone.measure.colour import StoneColour
from setstone.record.entries import CandidateEntry

_NONE = "–"


class ExaminationPanel(QWidget):
    """Runs examinations and shows the figures.

    Parameters
    ----------
    bench : Bench
    tools : Tools
    examining : Examining
    """

    def __init__(self, bench: Bench, tools: Tools, examining: Examining) -> None:
        super().__init__()
        self._bench = bench
        self._examining = examining
        self._connected: Review | None = None
        self.title = QLabel()
        self.occasion = QComboBox()
        self.occasion.setToolTip("Which of the occasions the stone was photographed on is shown.")
        self.occasion.textActivated.connect(lambda occasion: bench.choose(bench.stone, occasion))
        self.this = QPushButton("Examine  F5")
        self.this.setToolTip("Measure this stone and look for candidates in its photographs (key F5).")
        self.this.clicked.connect(lambda: attempt(bench, examining.this_stone))
        self.all = QPushButton()
        self.all.setToolTip(
            "Examine every stone whose photographs were not examined yet, one after the other."
        )
        self.all.clicked.connect(lambda: attempt(bench, examining.all_unexamined))
        self.bar_length = QLineEdit()
        self.bar_length.setPlaceholderText("read from the picture")
        self.bar_length.setToolTip(
            "Length printed at the scale bar, for example 1 mm or 500 µm. Only needed where it cannot be read."
        )
        self.bar_length.textChanged.connect(lambda text: setattr(examining, "bar_length", text))
        self.working = QProgressBar()
        self.working.setRange(0, 0)
        self.step = QLabel()
        self.step.setWordWrap(True)
        self.cancel = QPushButton("Cancel")
        self.cancel.setToolTip("Stop after the step that runs; stones that are finished stay in the book.")
        self.cancel.clicked.connect(examining.cancel)
        self.outline = QPushButton("Move the outline  E")
        self.outline.setToolTip(
            "Drag the outline, its corners or its turning handle (key E); the diameters follow. Escape puts it down."
        )
        self.outline.clicked.connect(lambda: attempt(bench, tools.edit_outline))
        self.mean, self.least, self.greatest, self.scale, self.colour, self.distance = (
            QLabel(_NONE) for _ in range(6)
        )
        self.flags = QLabel()
        self.flags.setWordWrap(True)
        self.sizes = QTableWidget(0, 3)
        self.sizes.setHorizontalHeaderLabels(["No.", "What", "Size (k = 2)"])
        self.sizes.setToolTip("What is shown in the picture; choose a line to go there.")
        self.sizes.verticalHeader().hide()
        self.sizes.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.sizes.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.sizes.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.sizes.horizontalHeader().setStretchLastSection(True)
        self.sizes.setAccessibleName("Sizes")
        self.sizes.itemClicked.connect(self._go_to)
        self.to_do = words()
        self.measured = QWidget()
        self._line = QFormLayout()
        self._lay_out()
        tools.dragging.connect(self._show_dragged)
        examining.changed.connect(self._show_work)
        examining.told.connect(self.step.setText)
        for signal in (bench.chosen, bench.stones_changed, bench.photographs_changed):
            signal.connect(self._show_stone)
        bench.review_changed.connect(self._connect)
        bench.chosen.connect(self._connect)
        self._show_stone()
        self._show_work()
        self._connect()

    def _lay_out(self) -> None:
        run = QGridLayout()
        run.addWidget(self.this, 0, 0)
        run.addWidget(self.all, 0, 1)
        run.addWidget(self.working, 1, 0)
        run.addWidget(self.cancel, 1, 1)
        ask = QFormLayout()
        ask.addRow("Occasion", self.occasion)
        ask.addRow("Scale bar", self.bar_length)
        figures = QFormLayout()
        for name, label, tip in (
            ("Diameter", self.mean, "Mean width of the girdle over all directions, with k = 2 (about 95 %)."),
            ("Least", self.least, "Least width of the girdle."),
            ("Greatest", self.greatest, "Greatest width of the girdle."),
            ("Scale", self.scale, "Where the size of a pixel comes from."),
            (
                "Colour",
                self.colour,
                "ISCC-NBS name of the face-up stone as photographed; how uneven: CIEDE2000; haze: 0 clear to 1.",
            ),
            ("Measured", self.distance, "Length of the measuring line (key 9)."),
        ):
            label.setToolTip(tip)
            label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
            (self._line if label is self.distance else figures).addRow(name, label)
        self._line.setRowVisible(self.distance, False)
        layout = QVBoxLayout(self)
        layout.addWidget(self.title)
        layout.addLayout(ask)
        layout.addLayout(run)
        layout.addWidget(self.step)
        measured = QVBoxLayout(self.measured)
        measured.setContentsMargins(0, 0, 0, 0)
        measured.addLayout(figures)
        measured.addWidget(self.outline)
        measured.addWidget(self.flags)
        measured.addWidget(self.sizes, 1)
        layout.addWidget(self.to_do)
        layout.addLayout(self._line)
        layout.addWidget(self.measured, 1)
        layout.addStretch()

    def _show_stone(self) -> None:
        bench = self._bench
        stone = bench.stone
        self.title.setText(
            "No stone is chosen" if stone is None else f"<b>{stone.position}</b> {stone.claimed_as}"
        )
        self.occasion.clear()
        self.occasion.addItems(bench.occasions)
        self.occasion.setCurrentText(bench.occasion)
        self.to_do.setText(f"What to do next: {next_step(bench)}")
        waiting = len(bench.to_examine())
        self.all.setText(f"All unexamined ({waiting})")
        self._allow(waiting)

    def _allow(self, waiting: int) -> None:
        free = not self._examining.running
        self.this.setEnabled(free and bool(self._bench.occasion))
        self.all.setEnabled(free and waiting > 0)

    def _show_work(self) -> None:
        running = self._examining.running
        self.working.setVisible(running)
        self.cancel.setVisible(running)
        self.step.setVisible(running)
        if not running:
            self.step.setText("")
        self._allow(len(self._bench.to_examine()))

    def _connect(self) -> None:
        review = self._bench.review
        if review is not self._connected:
            if review is not None:
                review.changed.connect(self._show_figures)
                review.moved.connect(self._show_current)
            self._connected = review
        self._show_figures()

    def _show_figures(self) -> None:
        review = self._bench.review
        result = None if review is None else review.entry.result
        self.measured.setVisible(result is not None)
        self.to_do.setVisible(result is None)
        widths = None if result is None else result.diameters
        self.mean.setText(_NONE if widths is None else str(widths.mean))
        self.least.setText(_NONE if widths is None else str(widths.least))
        self.greatest.setText(_NONE if widths is None else str(widths.greatest))
        scale = None if result is None else result.scale
        self.scale.setText(
            _NONE if scale is None else f"{scale.source} {scale.detail}, ± {200 * scale.relative_u:.2g} %"
        )
        self.colour.setText(_NONE if result is None or result.colour is None else _colour(result.colour))
        self.outline.setEnabled(result is not None and result.outline is not None)
        self.flags.setText("" if result is None else "<br>".join(f"! {f.text}" for f in result.flags))
        self.flags.setVisible(bool(result is not None and result.flags))
        queue = () if review is None else review.queue
        self.sizes.setRowCount(len(queue))
        for row, entry in enumerate(queue):
            for column, text in enumerate((str(entry.number), _what(entry), _size(entry))):
                self.sizes.setItem(row, column, QTableWidgetItem(text))
        for column in (0, 1):  # the last one takes what is left
            self.sizes.resizeColumnToContents(column)
        self._show_current()

    def _show_current(self) -> None:
        review = self._bench.review
        if review is not None and review.place:
            self.sizes.selectRow(review.place - 1)

    def _show_dragged(self, what: str, figure: str) -> None:
        """Show a figure while something is dragged."""
        if what == "diameters":
            for label, text in zip((self.mean, self.least, self.greatest), figure.splitlines(), strict=True):
                label.setText(text)
        elif what == "distance":
            self._line.setRowVisible(self.distance, True)
            self.distance.setText(figure)
        else:
            for row in range(self.sizes.rowCount()):
                if f"number {self.sizes.item(row, 0).text()}" == what:
                    self.sizes.item(row, 2).setText(figure)

    def _go_to(self, item: QTableWidgetItem) -> None:
        if self._bench.review is not None:
            self._bench.review.go_to(int(self.sizes.item(item.row(), 0).text()))


def _colour(colour: StoneColour) -> str:
    """Name, how uneven, and haze; without the name where it has none."""
    uneven = () if colour.unevenness is None else (f"uneven by ΔE₀₀ {colour.unevenness:.2g}",)
    return ", ".join((*filter(None, (colour.hue,)), *uneven, f"haze {colour.haze:.2g}"))


def _what(entry: CandidateEntry) -> str:
    if entry.decision is None or entry.is_finding:
        return kind_words(entry, english())
    return f"{entry.candidate.kind}, rejected"


def _size(entry: CandidateEntry) -> str:
    size = entry.candidate.sizes.get("length" if entry.candidate.kind == "line" else "diameter")
    return _NONE if size is None else str(size)
