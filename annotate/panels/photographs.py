"""Photographs of the chosen stone: dropped or picked, their light, their occasion, their scale."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from qtpy.QtGui import QDragEnterEvent, QDropEvent, QIcon
from qtpy.QtWidgets import (
    QHBoxLayout,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.adding import Arrival, add_files
from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.pixels import Pixels
from setstone.annotate.bench.scaling import bar_ends
from setstone.annotate.bench.settings import keep_settings, read_settings
from setstone.annotate.panels.combining import CombiningDialog
from setstone.annotate.panels.dropping import dropped_files
from setstone.annotate.panels.looks import caution, choose_folder, line_height, scrolls, words
from setstone.annotate.panels.meanwhile import Meanwhile
from setstone.annotate.panels.photograph_row import PhotographRow
from setstone.annotate.panels.scale_panel import ScalePanel
from setstone.annotate.panels.settings import ask_for_pictures
from setstone.annotate.panels.thumbnails import Thumbnails
from setstone.annotate.panels.watching import Watching
from setstone.annotate.panels.working import Job, Tell, attempt
from setstone.capture.judging import Fitness
from setstone.capture.lamp import BLUE_LIGHT
from setstone.capture.photograph import Lamp
from setstone.record.book import Book
from setstone.record.checking import check_photograph
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.photographs import stored_pixels

if TYPE_CHECKING:
    from setstone.annotate.panels.canvas import Canvas

_DROP = "Drop or choose files …"


class PhotographsPanel(QWidget):
    """Adds photographs to the chosen stone and corrects what is said of them.

    Parameters
    ----------
    bench : Bench
    pixels : Pixels
    canvas : Canvas, optional
        Where a photograph is shown, and its scale bar dragged.
    settings_file : Path, optional
        Another file than that of the platform.
    """

    def __init__(
        self,
        bench: Bench,
        pixels: Pixels,
        canvas: "Canvas | None" = None,
        *,
        settings_file: Path | None = None,
    ) -> None:
        super().__init__()
        self._bench = bench
        self._settings_file = settings_file
        self._waiting: list[tuple[StoneEntry, Path]] = []
        self._canvas = canvas
        self._thumbnails = Thumbnails(bench, pixels)
        self._thumbnails.ready.connect(lambda _name: self._each(self._show_thumbnail))
        self._judged = Meanwhile(bench)
        self._judged.ready.connect(lambda _name: self._each(self._show_fitness))
        self._job: Job | None = None
        self.rows: list[PhotographRow] = []
        self.setAcceptDrops(True)
        self.setMinimumSize(21 * line_height(self), 13 * line_height(self))
        self.drop = QPushButton(_DROP)
        self.drop.setToolTip(
            "JPEG, PNG, TIFF, HEIC or camera raw, several at once. The files stay as they are; copies go into the book."
        )
        self.drop.setMinimumHeight(2 * line_height(self))
        self.drop.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.drop.clicked.connect(self._choose)
        self.watch = QToolButton()
        self.watch.setText("Watch")
        self.watch.setCheckable(True)
        self.watch.setToolTip(
            "Watch the folder into which the camera's program saves its pictures: each new one goes to the stone "
            "chosen at that moment. Once more to stop. The folder is kept in the settings."
        )
        self.watch.clicked.connect(self._watch)
        self.combine = QToolButton()
        self.combine.setText("Combine")
        self.combine.setToolTip(
            "Make one better photograph: of repeats, of a series through the focus, of several exposures; or even out "
            "the light of one. The sources stay."
        )
        self.watching = Watching()
        self.watching.came.connect(lambda path: self.add([path]))
        self.watching.ended.connect(self._watched)
        self.problems = caution()
        self.hint = words()
        self.blue = caution(BLUE_LIGHT)
        self.cancel = QPushButton("Cancel")
        self.cancel.setToolTip("Stop after the file that is being read; those before it stay.")
        self.cancel.clicked.connect(self._cancel)
        self.scale = ScalePanel(bench, canvas)
        self.combining = CombiningDialog(bench, self)
        self.combine.clicked.connect(self.combining.begin)
        self.scale.shown.connect(lambda _shown: self._show_list())
        self._list = QVBoxLayout()
        content = QWidget()
        inside = QVBoxLayout(content)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.addWidget(self.problems)
        inside.addWidget(self.hint)
        inside.addLayout(self._list)
        inside.addStretch()
        self.list = scroll = QScrollArea()
        scroll.setWidget(content)
        scrolls(scroll)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(4, 4, 4, 4)
        top = QHBoxLayout()
        top.addWidget(self.drop, 1)
        top.addWidget(self.watch)
        top.addWidget(self.combine)
        top.addWidget(self.cancel)
        layout.addLayout(top)
        layout.addWidget(self.scale)
        layout.addWidget(self.blue)
        layout.addWidget(scroll, 1)
        bench.chosen.connect(self._another_stone)
        bench.book_changed.connect(self._another_stone)
        bench.photographs_changed.connect(self._show)
        bench.review_changed.connect(self._show_scales)
        self._another_stone()

    # Adding

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802 Qt's name
        """Take files, but only for a stone."""
        if event.mimeData().hasUrls() and self._bench.stone is not None:
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802 Qt's name
        """Add the files dropped."""
        event.acceptProposedAction()
        self.add(dropped_files(event.mimeData()))

    def add(self, files: Sequence[Path]) -> None:
        """Add files to the chosen stone, in a thread; those that come meanwhile are added after them."""
        stone = self._bench.stone
        if stone is None:
            names = ", ".join(file.name for file in files)
            self._bench.said.emit(
                f"Choose the stone first that these photographs show, then add them again: {names}."
            )
            return
        self._problems(())
        self._waiting += [(stone, file) for file in files]
        self._add_next()

    def _add_next(self) -> None:
        """Add what waits for the stone that comes first."""
        if self._job is not None or not self._waiting:
            return
        bench, book, stone = self._bench, self._bench.opened, self._waiting[0][0]
        files = [file for of, file in self._waiting if of.id == stone.id]
        self._waiting = [(of, file) for of, file in self._waiting if of.id != stone.id]

        def work(tell: Tell) -> Arrival:
            return add_files(book, stone, files, by=bench.by, progress=tell)

        job = Job("Adding photographs", work, bench=bench, steps=len(files))
        job.told.connect(lambda name: self.drop.setText(f"Adding {name} …"))
        job.done.connect(partial(self._added, stone))
        job.failed.connect(bench.said.emit)
        job.ended.connect(partial(self._ended, book, stone))
        self._job = job
        self._allow()
        job.start()

    def _watch(self) -> None:
        if self.watching.running:
            self.watching.stop()
            return
        settings = read_settings(self._settings_file)
        folder = Path(settings.camera_folder) if settings.camera_folder else None
        if folder is None or not folder.is_dir():
            folder = choose_folder(
                self, "Folder into which the camera's program saves", folder or Path.home()
            )
            if folder is None:
                self.watch.setChecked(False)
                return
            keep_settings(replace(settings, camera_folder=str(folder)), self._settings_file)
        self.watch.setText("Watching")
        self.watching.start(folder)

    def _watched(self, why: str) -> None:
        self.watch.setChecked(False)
        self.watch.setText("Watch")
        if why:
            self._bench.said.emit(why)

    def _choose(self) -> None:
        self.add(ask_for_pictures(self))

    def _cancel(self) -> None:
        self._waiting.clear()
        if self._job is not None:
            self._job.cancel()

    def _added(self, stone: StoneEntry, arrival: Arrival) -> None:
        self._bench.photographs_added(stone, arrival.added)
        known = [f"'{p.name}' is among the photographs already." for p in arrival.known]
        self._problems((*arrival.problems, *known))

    def _ended(self, book: Book, stone: StoneEntry) -> None:
        self._job = None
        self.drop.setText(_DROP)
        if book is self._bench.book:
            self._bench.photographs_added(stone, ())  # after a cancel some may be there
        self._show()
        self._add_next()

    def _problems(self, texts: Sequence[str]) -> None:
        self.problems.setText("\n".join(texts))
        self.problems.setVisible(bool(texts))
        if texts:
            self.list.verticalScrollBar().setValue(0)

    # What is shown

    def _another_stone(self) -> None:
        if self._bench.book is None:
            self._cancel()
            self.watching.stop()
        self._problems(())
        self.scale.put_away()
        self._show()

    def _allow(self) -> None:
        self.drop.setEnabled(self._bench.stone is not None and self._job is None)
        self.watch.setEnabled(self._bench.book is not None)
        self.combine.setEnabled(bool(self._bench.photographs))
        self.cancel.setVisible(self._job is not None)

    def _show(self) -> None:
        there = self._bench.photographs
        while (item := self._list.takeAt(0)) is not None:
            item.widget().hide()  # it may live on for a while
            item.widget().deleteLater()
        self.rows = []
        occasion = ""
        for entry in sorted(there, key=lambda p: self._bench.occasions.index(p.occasion)):
            if entry.occasion != occasion:
                occasion = entry.occasion
                self._list.addWidget(self._heading(occasion))
            row = PhotographRow(self._bench, entry)
            row.shown.connect(partial(self._show_on_canvas, entry))
            row.scale_wanted.connect(partial(self.correct_scale, entry))
            self._show_thumbnail(row)
            self._show_fitness(row)
            self.rows.append(row)
            self._list.addWidget(row)
        stone = self._bench.stone
        self.hint.setVisible(not there)
        if stone is None:
            self.hint.setText(
                "Photographs of the chosen stone show here."
                if self._bench.book is None
                else "What to do next: choose a stone in the list, or add one."
            )
        else:
            self.hint.setText(
                f"What to do next: drop the photographs of {stone.position} here, one in white light and one in blue "
                "light, with the scale bar burned in. Their light is recognised; correct it where it is wrong."
            )
        self._show_list()
        self._allow()

    def _show_list(self) -> None:
        """Show the photographs, unless the scale of one of them takes the place."""
        free = not self.scale.isVisibleTo(self)
        self.list.setVisible(free)
        self.blue.setVisible(free and any(row.entry.lamp is Lamp.BLUE for row in self.rows))

    def _heading(self, occasion: str) -> QWidget:
        shown = occasion == self._bench.occasion
        button = QPushButton(f"{occasion}  (shown)" if shown else occasion)
        button.setFlat(True)
        button.setCheckable(True)
        button.setChecked(shown)
        button.setToolTip(f"Show what was photographed and examined on the occasion '{occasion}'.")
        button.clicked.connect(lambda: self._bench.choose(self._bench.stone, occasion))
        return button

    def _show_scales(self) -> None:
        self._each(PhotographRow.show_scale)
        self._each(self._show_fitness)

    def _show_thumbnail(self, row: PhotographRow) -> None:
        entry = row.entry  # not the row: a thread must never be the last to hold a widget
        thumbnail = self._thumbnails.picture(entry.sha256, lambda: entry)
        if thumbnail is not None:
            row.picture.setIcon(QIcon(thumbnail))

    def _show_fitness(self, row: PhotographRow) -> None:
        book, entry, review = self._bench.opened, row.entry, self._bench.review

        def show() -> None:
            # What it is judged by; the stone's place in it is known once it was examined.
            here = review is not None and review.entry.occasion == entry.occasion
            name = (
                entry,
                self._bench.scale_of(entry),
                review.entry.id if review is not None and here else None,
            )
            found = self._judged.of(name, partial(check_photograph, book, entry))
            row.show_fitness(found if isinstance(found, Fitness) else None)

        attempt(self._bench, show)

    def _each(self, show: Callable[[PhotographRow], None]) -> None:
        for row in self.rows:
            show(row)

    # The canvas

    def _show_on_canvas(self, entry: PhotographEntry) -> None:
        self._bench.choose(self._bench.stone, entry.occasion)
        if self._canvas is not None and entry.lamp is not Lamp.OTHER:
            self._canvas.view = str(entry.lamp)

    def correct_scale(self, entry: PhotographEntry) -> None:
        """Lay a line over the scale bar of a photograph, its ends to be dragged."""
        self._show_on_canvas(entry)
        self.scale.look_for(entry)
        job = Job("Finding the scale bar", lambda _tell: bar_ends(stored_pixels(entry)), bench=self._bench)
        job.done.connect(lambda bar: self.scale.begin(entry, bar))
        job.failed.connect(self._bench.said.emit)
        job.failed.connect(lambda _text: self.scale.put_away())
        job.start()
