"""The restorer's panel: a stone before and after the work, what changed in it, and whether it is the same."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from qtpy.QtCore import QSignalBlocker, Qt, QUrl
from qtpy.QtGui import QDragEnterEvent, QDropEvent
from qtpy.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDockWidget,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSplitter,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.compare_page import compare_html, found_html
from setstone.annotate.bench.comparing import STEPS, VIEWS, Compared, compare
from setstone.annotate.panels.dropping import dropped_files
from setstone.annotate.panels.looks import show_page, title, words
from setstone.annotate.panels.two_pictures import TwoPictures
from setstone.annotate.panels.when_seen import WhenSeen
from setstone.annotate.panels.working import Job, Tell, attempt
from setstone.capture.lamp import BLUE_LIGHT
from setstone.capture.photograph import Lamp
from setstone.record.book import Book
from setstone.record.errors import BookError
from setstone.record.identity import Found, draw_fingerprints, find_stone_of, fingerprint_of_files

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
            "changed."
        )
        self.run.clicked.connect(lambda: attempt(bench, self._run))
        self.cancel = QPushButton("Cancel")
        self.cancel.setToolTip("Stop after the step that runs.")
        self.cancel.clicked.connect(self._cancel)
        self.cancel.hide()
        self.keep = QPushButton("Keep")
        self.keep.setToolTip(
            "Keep what was found in the book, with your name and the time: what changed, what speaks for one stone, what became "
            "of the glue. The panel Review shows what differs first then, possible damage above all."
        )
        self.keep.clicked.connect(lambda: attempt(bench, self._keep))
        self.whose = QPushButton("Whose stone?")
        self.whose.setToolTip(
            "Search the book for the stone in photographs: choose one under white light, one under blue, or both, or drop them "
            "on this panel. They are not added to the book."
        )
        self.whose.clicked.connect(lambda: attempt(bench, self._ask_whose))
        self.step = words(small=True)
        self.step.hide()
        self.pictures = TwoPictures()
        self.pictures.clicked.connect(self._fly)
        self.view = self._choice("View of both days", "How both days are shown (keys 1 to 4 in the picture).")
        self.view.addItems(VIEWS)
        self.view.activated.connect(lambda at: setattr(self.pictures, "view", VIEWS[at]))
        self.pictures.view_changed.connect(lambda view: self.view.setCurrentIndex(VIEWS.index(view)))
        self.lamp = self._choice("Light", f"Photographs under this light.\n\n{BLUE_LIGHT}")
        self.lamp.activated.connect(lambda _at: self._put())
        self.marks = QCheckBox("Marks")
        self.marks.setToolTip(
            "What is seen only after (+), longer after (*), only before (−), or cannot be compared (?)."
        )
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
        self.setAcceptDrops(True)
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
        last = QHBoxLayout()
        last.addWidget(self.keep, 1)
        last.addWidget(self.whose, 1)
        layout.addLayout(last)

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
        job = self._begin("Comparing", work, steps=len(STEPS))
        job.done.connect(lambda compared: self._take(compared) if of == self._of else None)

    def _begin(self, title: str, work: Callable[[Tell], object], *, steps: int) -> Job:
        self._job = job = Job(title, work, bench=self._bench, steps=steps)
        job.told.connect(self.step.setText)
        job.failed.connect(self._bench.said.emit)
        job.ended.connect(self._ended)
        self._running(True)
        return job.start()

    def _keep(self) -> None:
        compared = self._compared
        if compared is not None and compared.shown is not None:
            kept = self._bench.keep_comparison(compared.found)
            self._compared = replace(compared, kept=kept)
            self._tell()

    def _cancel(self) -> None:
        if self._job is not None:
            self._job.cancel()
            self.step.setText("Stopping after this step.")

    def _ended(self) -> None:
        self._job = None
        self._running(False)

    def _running(self, running: bool) -> None:
        for control in (self.run, self.keep):
            control.setVisible(not running)
        self.whose.setEnabled(not running)
        self.cancel.setVisible(running)
        self.step.setVisible(running)
        self.step.setText("")

    # Whose stone it is

    def _ask_whose(self) -> None:
        book = self._bench.opened
        names, _ = QFileDialog.getOpenFileNames(self, "Photographs of one stone", str(Path.home()))
        if names:
            self.search(book, [Path(name) for name in names])

    def search(self, book: Book, files: Sequence[Path]) -> None:
        """Search a book for the stone in photographs, and list those it may be."""

        def work(tell: Tell) -> Found:
            tell("looking at the photographs")
            shown = fingerprint_of_files(files)
            draw_fingerprints(book, lambda position: tell(f"looking at {position}"))
            return find_stone_of(book, shown)

        self._begin("Searching the book", work, steps=0).done.connect(
            lambda found: self._tell(found_html(found))
        )

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802 Qt's name
        """Take files."""
        event.setAccepted(bool(dropped_files(event.mimeData())))

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802 Qt's name
        """Search the book for the stone in photographs that are dropped here."""
        files = dropped_files(event.mimeData())
        if self._job is None:
            attempt(self._bench, lambda: self.search(self._bench.opened, files))

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
        self._tell()
        self._put()

    def _tell(self, first: str = "") -> None:
        """Say in words what was found, after something else where there is any."""
        compared = self._compared
        kept = compared is not None and compared.kept is not None
        self.keep.setText("Kept" if kept else "Keep")
        self.keep.setEnabled(compared is not None and compared.shown is not None and not kept)
        show_page(self.page, first + ("" if compared is None else compare_html(compared)))

    def _put(self) -> None:
        compared = self._compared
        if compared is None or compared.shown is None:
            self.pictures.put(None)
            return
        self.pictures.put(
            compared.shown.pictures[Lamp(self.lamp.currentData())],
            compared.shown.marks,
            names=(compared.found.before, compared.found.after),
            um_per_px=compared.shown.um_per_px,
        )

    def _follow(self, link: QUrl) -> None:
        what, _, at = link.toString().partition(":")
        if what == "fly":
            self._fly(int(at))
        elif what == "stone":
            attempt(self._bench, lambda: self._go_to(int(at)))

    def _fly(self, at: int) -> None:
        self.pictures.fly_to(at)

    def _go_to(self, stone_id: int) -> None:
        for one in self._bench.progress:
            if one.stone_id == stone_id:
                self._bench.choose(one.stone)

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
