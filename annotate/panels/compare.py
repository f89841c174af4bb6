"""The restorer's panel: a stone before and after the work, what changed in it, and whether it is the same."""

from qtpy.QtCore import QSignalBlocker, Qt, QUrl
from qtpy.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDockWidget,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSplitter,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.compare_page import compare_html
from setstone.annotate.bench.comparing import STEPS, VIEWS, Compared, compare
from setstone.annotate.panels.looks import show_page, title, words
from setstone.annotate.panels.two_pictures import TwoPictures
from setstone.annotate.panels.when_seen import WhenSeen
from setstone.annotate.panels.working import Job, Tell, attempt
from setstone.capture.lamp import BLUE_LIGHT
from setstone.capture.photograph import Lamp
from setstone.record.errors import BookError

_ONE_DAY = "Photograph and examine the stone on two occasions, before the work and after it; then they are compared here."


class ComparePanel(QWidget):
    """Compares two occasions of the chosen stone.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._job: Job | None = None
        self._compared: Compared | None = None
        self._of: tuple[object, ...] = ()
        self.title = title()
        self.before = self._choice("Before", "The occasion before the work.")
        self.after = self._choice("After", "The occasion after the work.")
        self.run = QPushButton("Compare")
        self.run.setToolTip(
            "Lay the photographs of both occasions on one another, however the stone was turned, and look for what "
            "changed. Nothing is written into the book."
        )
        self.run.clicked.connect(lambda: attempt(bench, self._run))
        self.cancel = QPushButton("Cancel")
        self.cancel.setToolTip("Stop after the step that runs.")
        self.cancel.clicked.connect(self._cancel)
        self.cancel.hide()
        self.step = words(small=True)
        self.step.hide()
        self.pictures = TwoPictures()
        self.pictures.clicked.connect(self._fly)
        self.view = self._choice("View of both days", "How both days are shown.")
        self.view.addItems(VIEWS)
        self.view.activated.connect(lambda at: setattr(self.pictures, "view", VIEWS[at]))
        self.lamp = self._choice("Light", f"Photographs under this light.\n\n{BLUE_LIGHT}")
        self.lamp.activated.connect(lambda _at: self._put())
        self.marks = QCheckBox("Marks")
        self.marks.setToolTip("What is seen only after (+), only before (−), or cannot be compared (?).")
        self.marks.setChecked(True)
        self.marks.toggled.connect(lambda seen: setattr(self.pictures, "marks_seen", seen))
        whole = QPushButton("Whole")
        whole.setToolTip("Show the whole stone (key Home in the picture).")
        whole.clicked.connect(self.pictures.whole)
        self.large = QPushButton("Large")
        self.large.setToolTip("Show this panel over the whole screen, or put it back.")
        self.large.clicked.connect(self._enlarge)
        self.page = QTextBrowser()
        self.page.setAccessibleName("What changed")
        self.page.setOpenLinks(False)
        self.page.anchorClicked.connect(self._follow)
        self.split = QSplitter(Qt.Orientation.Vertical)
        self._lay_out(whole)
        self._seen = WhenSeen(
            self,
            bench,
            (bench.book_changed, bench.stones_changed, bench.chosen, bench.photographs_changed),
            self._show,
        )

    def _lay_out(self, whole: QPushButton) -> None:
        occasions = QHBoxLayout()
        occasions.addWidget(self.before, 1)
        occasions.addWidget(QLabel("→"))
        occasions.addWidget(self.after, 1)
        occasions.addWidget(self.run)
        occasions.addWidget(self.cancel)
        views = QHBoxLayout()
        views.addWidget(self.view, 1)
        views.addWidget(self.lamp, 1)
        views.addWidget(self.marks)
        head = QHBoxLayout()
        head.addWidget(self.title, 1)
        head.addWidget(whole)
        head.addWidget(self.large)
        self.split.addWidget(self.pictures)
        self.split.addWidget(self.page)
        self.split.setStretchFactor(0, 3)
        self.split.setStretchFactor(1, 2)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(6, 6, 6, 6)
        layout.addLayout(head)
        layout.addLayout(occasions)
        layout.addWidget(self.step)
        layout.addLayout(views)
        layout.addWidget(self.split, 1)

    def _choice(self, name: str, tip: str) -> QComboBox:
        choice = QComboBox()
        choice.setAccessibleName(name)
        choice.setToolTip(tip)
        choice.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        choice.setMinimumContentsLength(6)
        return choice

    # What stands in the book

    def _show(self) -> None:
        stone, book = self._bench.stone, self._bench.book
        known = () if stone is None or book is None else book.latest_examinations(stone)
        # What was decided meanwhile is shown at the next comparison; another examination makes this one stale.
        of = (None if book is None else book.folder, stone and stone.id, *(e.id for e in known))
        if of == self._of:
            return
        self._of = of
        self._cancel()
        self.title.setText(
            "Choose a stone first." if stone is None else f"{stone.position} {stone.claimed_as}"
        )
        occasions = [e.occasion for e in known]
        for choice, at in ((self.before, 0), (self.after, len(occasions) - 1)):
            with QSignalBlocker(choice):
                choice.clear()
                choice.addItems(occasions)
                choice.setCurrentIndex(at)
        self._take(None)
        two = len(occasions) > 1
        self.run.setEnabled(two)
        if stone is not None:
            self.page.setPlainText("" if two else _ONE_DAY)

    # Comparing

    def _run(self) -> None:
        book, stone = self._bench.opened, self._bench.required_stone
        before, after = self.before.currentText(), self.after.currentText()
        if before == after:
            raise BookError("Choose two different occasions.")

        def work(tell: Tell) -> Compared:
            return compare(book, stone, before, after, tell)

        of = self._of
        self._job = Job("Comparing", work, bench=self._bench, steps=len(STEPS))
        self._job.told.connect(self.step.setText)
        self._job.done.connect(lambda compared: self._take(compared) if of == self._of else None)
        self._job.failed.connect(self._bench.said.emit)
        self._job.ended.connect(self._ended)
        self._running(True)
        self._job.start()

    def _cancel(self) -> None:
        if self._job is not None:
            self._job.cancel()
            self.step.setText("Stopping after this step.")

    def _ended(self) -> None:
        self._job = None
        self._running(False)

    def _running(self, running: bool) -> None:
        self.run.setVisible(not running)
        self.cancel.setVisible(running)
        self.step.setVisible(running)
        self.step.setText("")

    # Showing

    def _take(self, compared: Compared | None) -> None:
        self._compared = compared
        lamps = () if compared is None or compared.shown is None else tuple(compared.shown.pictures)
        with QSignalBlocker(self.lamp):
            self.lamp.clear()
            for lamp in lamps:
                self.lamp.addItem(str(lamp), lamp)
        for control in (self.view, self.lamp, self.marks):
            control.setEnabled(bool(lamps))
        show_page(self.page, "" if compared is None else compare_html(compared))
        self._put()

    def _put(self) -> None:
        compared = self._compared
        if compared is None or compared.shown is None:
            self.pictures.put(None)
            return
        self.pictures.put(
            compared.shown.pictures[Lamp(self.lamp.currentData())],
            compared.shown.marks,
            names=(compared.before, compared.after),
            um_per_px=compared.shown.um_per_px,
        )

    def _follow(self, link: QUrl) -> None:
        what, _, at = link.toString().partition(":")
        if what == "fly":
            self._fly(int(at))

    def _fly(self, at: int) -> None:
        self.pictures.fly_to(at)

    def _enlarge(self) -> None:
        dock = self.parent()
        if not isinstance(dock, QDockWidget):
            return
        if dock.isFloating():
            self.split.setOrientation(Qt.Orientation.Vertical)
            dock.setFloating(False)
            dock.raise_()
        else:
            self.split.setOrientation(Qt.Orientation.Horizontal)
            dock.setFloating(True)
            dock.setGeometry(dock.screen().availableGeometry())
