"""Photographs of the chosen stone: dropped or picked, their light, their occasion, their scale."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from qtpy.QtCore import QSize, Qt, Signal
from qtpy.QtGui import QDragEnterEvent, QDropEvent, QIcon
from qtpy.QtWidgets import (
    QComboBox,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QInputDialog,
    QLabel,
    QLineEdit,
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
from setstone.annotate.bench.scaling import BarEnds, bar_ends, scale_typed, scale_words, width_words
from setstone.annotate.bench.settings import keep_settings, read_settings
from setstone.annotate.panels.dropping import dropped_files
from setstone.annotate.panels.looks import caution, choose_folder, line_height, scrolls, words
from setstone.annotate.panels.scale_tool import ScaleTool
from setstone.annotate.panels.settings import ask_for_pictures
from setstone.annotate.panels.thumbnails import Thumbnails
from setstone.annotate.panels.watching import Watching
from setstone.annotate.panels.working import EXPECTED, Job, Tell, attempt
from setstone.capture.lamp import BLUE_LIGHT
from setstone.capture.photograph import Lamp
from setstone.measure.scale import Scale
from setstone.record.book import Book
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.photographs import stored_pixels
from setstone.record.vocabulary import OCCASIONS

if TYPE_CHECKING:
    from setstone.annotate.panels.canvas import Canvas

_LAMPS = {Lamp.WHITE: "white", Lamp.BLUE: "blue", Lamp.OTHER: "other"}
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
        self._thumbnails.ready.connect(self._show_thumbnail)
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
            thumbnail = self._thumbnails.of(entry.sha256, partial(_itself, entry))
            if thumbnail is not None:
                row.picture.setIcon(QIcon(thumbnail))
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
        for row in self.rows:
            row.show_scale()

    def _show_thumbnail(self, name: object) -> None:
        for row in self.rows:
            if row.entry.sha256 == name:
                thumbnail = self._thumbnails.of(name, lambda: None)
                if thumbnail is not None:
                    row.picture.setIcon(QIcon(thumbnail))

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
        for row, flag in enumerate(entry.flags, start=2):
            grid.addWidget(caution(flag.text), row, 0, 1, 2)
        grid.setColumnStretch(1, 1)
        self.show_scale()

    def show_scale(self) -> None:
        """Show the scale as it is known now."""

        def show() -> None:
            scale = self._bench.scale_of(self.entry)
            self.scale.setText(width_words(scale, self.entry))
            self.scale.setToolTip(scale_words(scale, self.entry))

        attempt(self._bench, show)

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


def _facts(entry: PhotographEntry) -> str:
    taken = "" if entry.taken is None else f", taken {entry.taken.astimezone():%Y-%m-%d %H:%M}"
    by = f", by {entry.operator}" if entry.operator else ""
    at = "" if entry.magnification is None else f", {entry.magnification:g}×"
    return (
        f"{entry.name}{taken}{by}{at}\n{entry.width * entry.height / 1e6:.1f} megapixels, {entry.bit_depth} bit, "
        f"{entry.format}; kept unaltered, SHA-256 {entry.sha256[:16]}…"
    )


def _itself(entry: PhotographEntry) -> PhotographEntry:
    return entry
