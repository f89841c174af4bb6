"""The bar above the picture: what to do next, undo, and how both lights are shown."""

from collections.abc import Callable

from qtpy.QtCore import Qt
from qtpy.QtGui import QAction
from qtpy.QtWidgets import QCheckBox, QComboBox, QLabel, QSizePolicy, QSlider, QToolBar
from superqt import QElidingLabel

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.guide import next_step
from setstone.annotate.panels.canvas import VIEWS, Canvas
from setstone.annotate.panels.tools import Tools
from setstone.annotate.panels.working import attempt
from setstone.capture.lamp import BLUE_LIGHT


class Bar(QToolBar):
    """What is needed whatever panel is open.

    Parameters
    ----------
    bench : Bench
    canvas : Canvas
    tools : Tools
    """

    def __init__(self, bench: Bench, canvas: Canvas, tools: Tools) -> None:
        super().__init__("Bench")
        self.setObjectName("setstone bar")
        self.setMovable(False)
        self._bench = bench
        self._undo = self._action("Undo", lambda: bench.undo(), "")
        self._redo = self._action("Redo", lambda: bench.redo(), "")
        self.addSeparator()
        self.addWidget(QLabel("View "))
        self._view = QComboBox()
        self._view.setAccessibleName("View of both lights")
        self._view.setToolTip(
            "How the photographs in white and blue light are shown (key H goes on to the next). They move and "
            f"grow together.\n\n{BLUE_LIGHT}"
        )
        self._view.addItems(VIEWS)
        self._view.setCurrentText(canvas.view)
        self._view.textActivated.connect(lambda view: setattr(canvas, "view", view))
        self.addWidget(self._view)
        self._blend = QSlider(Qt.Orientation.Horizontal)
        self._blend.setAccessibleName("Share of blue light")
        self._blend.setToolTip("Blended view: left shows white light only, right blue light only.")
        self._blend.setRange(0, 100)
        self._blend.setValue(round(100 * canvas.blend))
        self._blend.setMaximumWidth(110)
        self._blend.valueChanged.connect(lambda percent: setattr(canvas, "blend", percent / 100))
        self._blend_shown = self.addWidget(self._blend)
        self.addSeparator()
        self._action("Whole", canvas.whole, "Show the whole photograph (key O).")
        marks = QCheckBox("Marks")
        marks.setToolTip("Show or hide all marks, to see the photograph as it is (key M).")
        marks.setChecked(canvas.marks_seen)
        marks.toggled.connect(lambda seen: setattr(canvas, "marks_seen", seen))
        canvas.marks_changed.connect(marks.setChecked)
        self.addWidget(marks)
        self._action(
            "Measure", tools.measure, "Drag from one point to another to measure their distance (key 9)."
        )
        self._next = QElidingLabel()
        self._next.setAccessibleName("What to do next")
        self._next.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        self._next.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.addWidget(self._next)
        canvas.view_changed.connect(self._show_view)
        bench.steps.changed.connect(self._show_steps)
        for signal in (bench.book_changed, bench.stones_changed, bench.chosen, bench.review_changed):
            signal.connect(self._show_next)
        self._show_view(canvas.view)
        self._show_steps()
        self._show_next()

    def _action(self, text: str, act: Callable[[], object], tip: str) -> QAction:
        action = self.addAction(text)
        action.setToolTip(tip)
        action.triggered.connect(lambda: attempt(self._bench, act))
        return action

    def _show_view(self, view: str) -> None:
        self._view.setCurrentText(view)
        self._blend_shown.setVisible(view == "blended")

    def _show_steps(self) -> None:
        steps = self._bench.steps
        for action, title, key in (
            (self._undo, steps.to_undo, "Ctrl+Z"),
            (self._redo, steps.to_redo, "Ctrl+Shift+Z"),
        ):
            word = action.text()
            action.setEnabled(bool(title))
            action.setToolTip(f"{word}: {title} ({key})." if title else f"Nothing to {word.lower()} ({key}).")

    def _show_next(self) -> None:
        text = next_step(self._bench)
        self._next.setText(f"Next: {text}  ")
        self._next.setToolTip(text)
