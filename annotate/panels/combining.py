"""Making one better photograph of several, or evening out the light of one."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from qtpy.QtCore import Qt, Signal
from qtpy.QtWidgets import (
    QComboBox,
    QDialog,
    QDoubleSpinBox,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QSpinBox,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.combining import WAYS, Combination, alike
from setstone.annotate.panels.looks import line_height, words
from setstone.annotate.panels.settings import ask_for_pictures
from setstone.annotate.panels.working import Job, Tell
from setstone.record.entries import PhotographEntry

if TYPE_CHECKING:
    from setstone.annotate.bench.combining import Way


class CombiningDialog(QDialog):
    """Asks which photographs of the chosen stone to combine and how, and does it in a thread.

    Parameters
    ----------
    bench : Bench
    parent : QWidget, optional
    """

    def __init__(self, bench: Bench, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._bench = bench
        self._job: Job | None = None
        self.setWindowTitle("Combine photographs")
        self.way = QComboBox()
        self.way.setAccessibleName("What to make")
        self.way.setToolTip("What to make of the photographs ticked.")
        for way, (name, _why) in WAYS.items():
            self.way.addItem(name, way)
        self.way.currentIndexChanged.connect(lambda _i: self._choose_way())
        self.why = words()
        self.setMinimumWidth(26 * line_height(self))
        self.which = QListWidget()
        self.which.setAccessibleName("Photographs to combine")
        self.which.setToolTip("Tick those taken alike; a series in the order of the focus.")
        self.which.setMinimumHeight(6 * line_height(self))
        self.which.itemChanged.connect(lambda _item: self._allow())
        self.step = QDoubleSpinBox()
        self.step.setRange(0, 10_000)
        self.step.setSuffix(" µm")
        self.step.setSpecialValueText("not known")
        self.step.setAccessibleName("Step of the focus")
        self.step.setToolTip(
            "How far the focus moved from one photograph to the next: an examination then says how deep candidates lie."
        )
        self.direction = QComboBox()
        self.direction.addItem("down", 1.0)
        self.direction.addItem("up", -1.0)
        self.direction.setToolTip("Which way the focus moved.")
        self.direction.setAccessibleName("Direction of the focus")
        self.table = QSpinBox()
        self.table.setSpecialValueText("not known")
        self.table.setToolTip(
            "Which of the photographs ticked shows the table sharp, from 1: depths are told from it."
        )
        self.depth_map = _FileButton(
            "where to write a grey picture of the depths: what is sharpest in the first frame black, in the last white",
            _ask_where,
        )
        self.blank = _FileButton(
            "a photograph of an empty, even field, taken with the same setup", ask_for_pictures
        )
        self.card = _FileButton(
            "a photograph of a grey card that fills the middle, under the same light", ask_for_pictures
        )
        self.make = QPushButton("Make it")
        self.make.setToolTip(
            "The new photograph stands beside its sources, which stay; Ctrl+Z takes it out again."
        )
        self.make.clicked.connect(self.start)
        self.leave = QPushButton("Leave it")
        self.leave.setToolTip("Make nothing, or stop what is being made (Esc).")
        self.leave.clicked.connect(self.reject)
        for button in (self.blank, self.card):
            button.changed.connect(self._allow)
        for signal in (bench.chosen, bench.book_changed):
            signal.connect(self._put_away)
        self._lay_out()

    def _lay_out(self) -> None:
        self.stack = QWidget()
        stack = QFormLayout(self.stack)
        stack.setContentsMargins(0, 0, 0, 0)
        step = QHBoxLayout()
        step.addWidget(self.step, 1)
        step.addWidget(self.direction)
        stack.addRow("Step", step)
        stack.addRow("Table sharp in", self.table)
        stack.addRow("Depth map", self.depth_map)
        self.light = QWidget()
        light = QFormLayout(self.light)
        light.setContentsMargins(0, 0, 0, 0)
        light.addRow("Blank field", self.blank)
        light.addRow("Grey card", self.card)
        buttons = QHBoxLayout()
        buttons.addWidget(self.make, 1)
        buttons.addWidget(self.leave)
        layout = QVBoxLayout(self)
        layout.addWidget(self.way)
        layout.addWidget(self.why)
        layout.addWidget(self.which, 1)
        layout.addWidget(self.stack)
        layout.addWidget(self.light)
        layout.addLayout(buttons)

    def begin(self) -> None:
        """Ask, about the photographs of the chosen stone; those of the occasion shown are ticked."""
        there = self._bench.photographs
        shown = [e for e in there if e.occasion == self._bench.occasion]
        ticked = max((alike(there, e) for e in shown), key=len, default=())
        if shown and len(ticked) < 2:
            self.way.setCurrentIndex(self.way.findData("light"))
        self.which.clear()
        for entry in (*ticked, *(e for e in there if e not in ticked)):
            item = QListWidgetItem(f"{entry.name}  ({entry.lamp}, {entry.occasion})", self.which)
            item.setFlags(
                Qt.ItemFlag.ItemIsUserCheckable | Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
            )
            item.setData(Qt.ItemDataRole.UserRole, entry)
            item.setCheckState(Qt.CheckState.Checked if entry in ticked else Qt.CheckState.Unchecked)
        for button in (self.depth_map, self.blank, self.card):
            button.forget()
        self._choose_way()
        self.show()
        self.raise_()
        self.way.setFocus()

    def reject(self) -> None:
        """Make nothing; stop what is being made."""
        if self._job is not None:
            self._job.cancel()
        super().reject()

    def _put_away(self) -> None:
        """Be gone; what is being made goes on."""
        self.hide()

    @property
    def chosen(self) -> Combination:
        """What stands there now."""
        way: Way = self.way.currentData()
        items = [self.which.item(row) for row in range(self.which.count())]
        ticked = tuple(
            i.data(Qt.ItemDataRole.UserRole) for i in items if i.checkState() is Qt.CheckState.Checked
        )
        if way == "light":
            return Combination(way, ticked, blank=self.blank.file, card=self.card.file)
        if way != "pyramid":
            return Combination(way, ticked)
        step = self.step.value() * self.direction.currentData()
        return Combination(
            way,
            ticked,
            step_um=step or None,
            table_frame=self.table.value() or None,
            depth_map=self.depth_map.file,
        )

    def start(self) -> None:
        """Make what was chosen, in a thread."""
        bench, stone, chosen = self._bench, self._bench.stone, self.chosen
        if stone is None or self._job is not None:
            return
        book = bench.opened

        def work(tell: Tell) -> PhotographEntry:
            return chosen.make(book, stone, by=bench.by, progress=tell)

        def done(entry: PhotographEntry) -> None:
            bench.photographs_added(stone, [entry])
            bench.said.emit(f"Made {entry.name}; the photographs it was made of stay beside it.")
            self.accept()

        self._job = job = Job("Making a photograph", work, bench=bench, steps=len(chosen.entries))
        job.told.connect(lambda name: self.make.setText(f"Working in {name} …"))
        job.done.connect(done)
        job.failed.connect(bench.said.emit)
        job.ended.connect(self._ended)
        self._allow()
        job.start()

    def _ended(self) -> None:
        self._job = None
        self.make.setText("Make it")
        self._allow()

    def _choose_way(self) -> None:
        way: Way = self.way.currentData()
        self.why.setText(WAYS[way][1])
        self.stack.setVisible(way == "pyramid")
        self.light.setVisible(way == "light")
        self._allow()

    def _allow(self) -> None:
        chosen = self.chosen
        number = len(chosen.entries)
        self.table.setMaximum(number)
        # Not asked for before it can be made: the sentence of a refusal would come too late.
        enough = number == 1 and (chosen.blank or chosen.card) if chosen.way == "light" else number > 1
        self.make.setEnabled(bool(enough) and self._job is None)


class _FileButton(QPushButton):
    """Chooses one file; shows its name.

    Parameters
    ----------
    what : str
        What it is, for the tip.
    ask : callable
        Asks for it; empty when a person thought better of it.
    """

    changed = Signal()

    def __init__(self, what: str, ask: Callable[[QWidget], Sequence[Path]]) -> None:
        super().__init__()
        self._ask = ask
        self.file: Path | None = None
        self.setToolTip(f"Choose {what}.")
        self.clicked.connect(self._choose)
        self.forget()

    def forget(self) -> None:
        """Begin without a file."""
        self._take(())

    def _choose(self) -> None:
        self._take(self._ask(self))

    def _take(self, files: Sequence[Path]) -> None:
        self.file = files[0] if files else None
        self.setText("Choose …" if self.file is None else self.file.name)
        self.changed.emit()


def _ask_where(parent: QWidget) -> Sequence[Path]:
    name, _ = QFileDialog.getSaveFileName(parent, "Depth map", "depth.png", "Pictures (*.png)")
    return [Path(name).with_suffix(".png")] if name else ()
