"""The scale of a photograph, by the ends of its bar on the canvas and the length typed here."""

from typing import TYPE_CHECKING

from qtpy.QtCore import Signal
from qtpy.QtWidgets import QFrame, QHBoxLayout, QLabel, QLineEdit, QPushButton, QVBoxLayout

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.scaling import BarEnds, scale_typed, scale_words
from setstone.annotate.panels.looks import words
from setstone.annotate.panels.scale_tool import ScaleTool
from setstone.annotate.panels.working import EXPECTED, attempt
from setstone.measure.scale import Scale
from setstone.record.entries import PhotographEntry
from setstone.record.errors import BookError

if TYPE_CHECKING:
    from setstone.annotate.panels.canvas import Canvas


class ScalePanel(QFrame):
    """Takes the length of the scale bar while its ends are dragged on the canvas.

    Parameters
    ----------
    bench : Bench
    canvas : Canvas or None
    """

    #: It appeared, or is gone.
    shown = Signal(bool)

    def __init__(self, bench: Bench, canvas: "Canvas | None") -> None:
        super().__init__()
        self._bench = bench
        self._canvas = canvas
        self._tool = None if canvas is None else ScaleTool(canvas.viewer)
        self._bar: BarEnds | None = None
        self._entry: PhotographEntry | None = None
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self.what = words()
        self.length = QLineEdit()
        self.length.setPlaceholderText("1 mm or 500 µm")
        self.length.setToolTip("The length printed at the scale bar, with its unit.")
        self.length.setAccessibleName("Length of the scale bar")
        self.length.textChanged.connect(self._tell)
        self.length.returnPressed.connect(self.use)
        self.says = words(small=True)
        self.take = QPushButton("Use this scale")
        self.take.setToolTip("Keep it for this photograph (Enter). Ctrl+Z takes it back.")
        self.take.clicked.connect(self.use)
        leave = QPushButton("Leave it")
        leave.setToolTip("Leave the scale as it was.")
        leave.clicked.connect(self.put_away)
        row = QHBoxLayout()
        row.addWidget(QLabel("Length"))
        row.addWidget(self.length, 1)
        buttons = QHBoxLayout()
        buttons.addWidget(self.take, 1)
        buttons.addWidget(leave)
        layout = QVBoxLayout(self)
        layout.addWidget(self.what)
        layout.addLayout(row)
        layout.addWidget(self.says)
        layout.addLayout(buttons)
        if self._tool is not None:
            self._tool.moved.connect(self._tell)
        self.hide()

    def look_for(self, entry: PhotographEntry) -> None:
        """Say that the bar of a photograph is looked for."""
        self._entry = entry
        self.what.setText(f"{entry.name}: looking for the scale bar …")
        self.length.clear()
        self.says.clear()
        self.take.setEnabled(False)
        self._appear(True)

    def begin(self, entry: PhotographEntry, bar: BarEnds) -> None:
        """Let the ends of a photograph's bar be dragged, unless it was left meanwhile."""
        if self._entry != entry:
            return
        self._bar = bar
        where = (
            "lies on the scale bar found"
            if bar.found is not None
            else "is offered, for no scale bar was found"
        )
        self.what.setText(
            f"{entry.name}: the line {where}. Drag its ends to those of the bar, and give its length."
        )
        if self._tool is not None and self._canvas is not None:
            layer = next((x for x in self._canvas.viewer.layers if x.name == f"{entry.lamp} light"), None)
            if layer is not None:
                self._tool.show(bar, layer)
        self.length.setText(bar.label)
        self.length.setFocus()
        self._tell()

    def use(self) -> None:
        """Keep the scale as it stands."""
        entry = self._entry
        if entry is None or self._bar is None:
            return

        def keep() -> None:
            self._bench.correct_photograph(entry, scale=self._scale())

        examined = self._bench.review is not None
        if attempt(self._bench, keep):
            self.put_away()
            if examined:
                self._bench.said.emit(
                    "The scale was corrected; examine the stone again, so that its sizes follow it."
                )

    def put_away(self) -> None:
        """Leave the scale as it was."""
        if self._tool is not None and self._canvas is not None and self._bar is not None:
            self._tool.put_away()
            self._canvas.look()
            self._canvas.whole()
        self._bar = self._entry = None
        self._appear(False)

    def _appear(self, shown: bool) -> None:
        self.setVisible(shown)
        self.shown.emit(shown)

    def _scale(self) -> Scale:
        if self._bar is None:
            raise BookError("There is no line over the scale bar; begin again.")
        ends = self._bar.ends if self._tool is None else self._tool.ends
        return scale_typed(self._bar, ends, self.length.text())

    def _tell(self) -> None:
        if self._bar is None or self._entry is None:
            return
        try:
            self.says.setText(scale_words(self._scale(), self._entry))
            self.take.setEnabled(True)
        except EXPECTED as error:
            self.says.setText(str(error))
            self.take.setEnabled(False)
