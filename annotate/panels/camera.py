"""The camera: what it sees while one adjusts it, and one key that takes the photograph of the chosen stone."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from qtpy.QtCore import Qt, QTimer, Signal
from qtpy.QtGui import QHideEvent, QShowEvent
from qtpy.QtWidgets import (
    QComboBox,
    QDockWidget,
    QDoubleSpinBox,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QMainWindow,
    QPushButton,
    QScrollArea,
    QSpinBox,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.settings import keep_settings, read_settings
from setstone.annotate.panels.live_picture import LivePicture
from setstone.annotate.panels.looks import caution, line_height, scrolls, words
from setstone.annotate.panels.working import Job, Tell, attempt
from setstone.capture.camera import Camera, CameraError, CameraFacts, cameras, source_of
from setstone.capture.lamp import BLUE_LIGHT
from setstone.capture.live import LiveView
from setstone.capture.photograph import Lamp
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.vocabulary import OCCASIONS

if TYPE_CHECKING:
    from setstone.capture.averaging import Average

#: Milliseconds between two looks at the camera: 30 pictures a second.
_LOOK_MS = 33
_START, _STOP = "Start", "Stop"
_MOST_FRAMES = 64


class CameraPanel(QWidget):
    """Shows what the camera sees over the place of the photograph, and takes photographs of the chosen stone.

    Parameters
    ----------
    bench : Bench
    open_camera : callable, optional
        Opens the camera of a name; for tests.
    settings_file : Path, optional
        Another file than that of the platform.
    """

    def __init__(
        self,
        bench: Bench,
        open_camera: Callable[[str], Camera] = Camera.open,
        *,
        settings_file: Path | None = None,
    ) -> None:
        super().__init__()
        self._bench = bench
        self._open = open_camera
        self._settings_file = settings_file
        self._view: LiveView | None = None
        self._dock: QWidget | None = None
        self._hidden_while_live = False
        self._shown = -1
        self._job: Job | None = None
        self.picture: LivePicture | None = None
        self.source = QComboBox()
        self.source.setEditable(True)
        self.source.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self.source.setToolTip("A camera of this computer, or its network address, or a video file.")
        self.source.setAccessibleName("Camera")
        self.source.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.source.lineEdit().returnPressed.connect(self.start)
        self.run = QPushButton(_START)
        self.run.setToolTip("See what the camera sees, or let go of it for other programs.")
        self.run.clicked.connect(self._start_or_stop)
        self.problem = caution()
        self.light = QComboBox()
        for lamp in (Lamp.WHITE, Lamp.BLUE, Lamp.OTHER):
            self.light.addItem(str(lamp), str(lamp))
        self.light.setToolTip(f"The light that is on.\n\n{BLUE_LIGHT}")
        self.light.currentIndexChanged.connect(lambda _i: self._allow())
        self.blue = caution(BLUE_LIGHT)
        self.occasion = QComboBox()
        self.occasion.setEditable(True)
        self.occasion.setToolTip("When in the work it is taken; choose or type.")
        self.setup = QComboBox()
        self.setup.setToolTip("The optical setup: its calibration gives the scale.")
        self.frames = QSpinBox()
        self.frames.setRange(1, _MOST_FRAMES)
        self.frames.setValue(8)
        self.frames.setToolTip(
            "Pictures that are averaged; the noise falls with the square root of their number."
        )
        self.controls = ControlsForm()
        self.controls.changed.connect(self._adjust)
        self.shoot = QPushButton("Take the photograph")
        self.shoot.clicked.connect(lambda: attempt(bench, self.take))
        self.to_file = QToolButton()
        self.to_file.setText("To a file …")
        self.to_file.setToolTip(
            "Write what the camera sees to a file instead, for example of a stage micrometer."
        )
        self.to_file.clicked.connect(lambda: attempt(bench, self._take_to_file))
        self.result = words()
        self.doubts = caution()
        self._lay_out()
        self._timer = QTimer(self)
        self._timer.setInterval(_LOOK_MS)
        self._timer.timeout.connect(self._look)
        bench.chosen.connect(self._fill)
        bench.book_changed.connect(self._fill)
        self._list_cameras(read_settings(settings_file).camera)
        self._fill()

    def _lay_out(self) -> None:
        top = QHBoxLayout()
        top.addWidget(self.source, 1)
        top.addWidget(self.run)
        form = QFormLayout()
        form.setContentsMargins(0, 0, 0, 0)
        form.addRow("Light", self.light)
        form.addRow("Occasion", self.occasion)
        form.addRow("Setup", self.setup)
        form.addRow("Average of", self.frames)
        self.frames.setSuffix(" pictures")
        inside = QVBoxLayout()
        inside.setContentsMargins(0, 0, 4, 0)
        inside.addWidget(self.result)
        inside.addWidget(self.doubts)
        inside.addLayout(form)
        inside.addWidget(self.controls)
        inside.addStretch()
        content = QWidget()
        content.setLayout(inside)
        scroll = QScrollArea()
        scroll.setWidget(content)
        scrolls(scroll)
        take = QHBoxLayout()
        take.addWidget(self.shoot, 1)
        take.addWidget(self.to_file)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(4, 4, 4, 4)
        layout.addLayout(top)
        layout.addWidget(self.problem)
        layout.addWidget(self.blue)
        layout.addWidget(scroll, 1)
        layout.addLayout(take)
        self.setMinimumSize(20 * line_height(self), 12 * line_height(self))

    # The live picture

    @property
    def is_live(self) -> bool:
        """Whether the camera is being looked through."""
        return self._view is not None

    def start(self) -> None:
        """Begin to look through the camera named."""
        self.stop()
        name = self.camera
        if not attempt(self._bench, lambda: source_of(name)):
            return
        settings = read_settings(self._settings_file)
        keep_settings(replace(settings, camera=name), self._settings_file)
        self._view = LiveView(partial(self._open, name))
        self._view.start()
        self.picture = LivePicture(self._place())
        self.picture.anew.connect(self._forget_focus)
        self.picture.say("Waiting for the camera …")
        self.run.setText(_STOP)
        self._timer.start()
        self._allow()

    def _forget_focus(self) -> None:
        # Not connected to the view itself: it dies in its own thread, and Qt would undo the connection there.
        if self._view is not None:
            self._view.forget_focus()

    def stop(self) -> None:
        """Let go of the camera; one that hangs is not waited for."""
        self._timer.stop()
        self._hidden_while_live = False
        if self._view is not None:
            self._view.stop(wait=False)
            self._view = None
        if self.picture is not None:
            self.picture.put_away()
            self.picture = None
        self._shown = -1
        self.run.setText(_START)
        self.problem.setText("")
        self.controls.show_controls({})
        self._allow()

    @property
    def camera(self) -> str:
        """The camera as chosen or typed: its number, address or file."""
        typed = self.source.currentText().strip()
        at = self.source.findText(typed)
        return typed if at < 0 else str(self.source.itemData(at))

    def hideEvent(self, event: QHideEvent) -> None:  # noqa: N802 Qt's name
        """Let go of the camera when nobody sees it."""
        if not event.spontaneous():
            self._seen(False)
        super().hideEvent(event)

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802 Qt's name
        """Go on where it was hidden."""
        super().showEvent(event)
        dock = self._above(QDockWidget)
        if dock is not None and dock is not self._dock:
            # A panel behind another one in the same place is not hidden for Qt; its dock tells.
            self._dock = dock
            dock.visibilityChanged.connect(self._seen)
        if not event.spontaneous():
            self._seen(True)

    def _seen(self, seen: bool) -> None:
        if not seen and self.is_live:
            self.stop()
            self._hidden_while_live = True
        elif seen and self._hidden_while_live:
            self.start()
        elif seen and not self.is_live:
            self._list_cameras(self.camera)

    def _above(self, kind: type[QWidget]) -> QWidget | None:
        above = self.parentWidget()
        while above is not None and not isinstance(above, kind):
            above = above.parentWidget()
        return above

    def _place(self) -> QWidget:
        """Where the photograph stands: the middle of the window."""
        main = self._above(QMainWindow)
        return self if main is None else main.centralWidget()

    def _list_cameras(self, chosen: str) -> None:
        self.source.clear()
        for number, name in cameras().items():
            self.source.addItem(f"{number}  {name}".strip(), str(number))
        at = self.source.findData(chosen)
        self.source.setCurrentIndex(at)
        if at < 0:
            self.source.setCurrentText(chosen)
        self.source.lineEdit().setCursorPosition(0)

    def _start_or_stop(self) -> None:
        if self._view is None:
            self.start()
        else:
            self.stop()

    def _look(self) -> None:
        if self._view is None or self.picture is None:
            return
        problem, look, facts = self._view.problem, self._view.latest, self._view.facts
        if look is None:
            self._shown = -1
            self.picture.say(
                f"{problem}\n\nAs soon as it is there, its picture shows here."
                if problem
                else "Waiting for the camera …"
            )
        elif look.number != self._shown:
            self._shown = look.number
            self.picture.show_look(look)
        self.problem.setText(problem or "\n".join(self._view.remarks))
        self.controls.show_controls({} if facts is None else facts.controls)
        self._allow()

    def _adjust(self, name: str, value: float) -> None:
        view = self._view
        if view is not None:
            attempt(self._bench, lambda: view.adjust(name, value))

    # The photograph

    def take(self) -> None:
        """Take the photograph of the chosen stone, in a thread."""
        view, stone = self._live(), self._bench.stone
        if stone is None:
            raise BookError("Choose the stone first that the camera sees.")
        if self._job is not None:
            return
        bench, book = self._bench, self._bench.opened
        frames, lamp = self.frames.value(), Lamp(self.light.currentData())
        occasion, name = self.occasion.currentText(), self.setup.currentData()

        def work(tell: Tell) -> "tuple[PhotographEntry, Average, list[str]]":
            from setstone.record.checking import check_photograph
            from setstone.record.taking import keep_average

            tell("reading the camera")
            taken = view.take(frames)
            tell("keeping the photograph")
            facts = view.facts or CameraFacts("", None, {})
            entry = keep_average(
                book,
                stone,
                taken,
                lamp=lamp,
                occasion=occasion,
                setup=None if name is None else book.setup(name),
                camera=facts.name,
                exposure_s=facts.exposure_s,
                by=bench.by,
            )
            tell("judging whether it is fit to be measured")
            doubts = [flag.text for flag in check_photograph(book, entry).flags]
            return entry, taken, doubts + [flag.text for flag in book.calibrated_scale(entry)[1]]

        self._begin(work, 3, partial(self._taken, stone))

    def _take_to_file(self) -> None:
        view = self._live()
        if self._job is not None:
            return
        where, _ = QFileDialog.getSaveFileName(
            self, "Write the photograph", str(Path.home() / "photograph.ome.tif"), "OME-TIFF (*.ome.tif)"
        )
        if where:
            self.take_to_file(view, Path(where))

    def take_to_file(self, view: LiveView, to: Path) -> None:
        """Write what the camera sees to a file, in a thread."""
        frames, lamp = self.frames.value(), Lamp(self.light.currentData())
        book, name = self._bench.book, self.setup.currentData()

        def work(tell: Tell) -> "tuple[Path, Average, list[str]]":
            from setstone.capture.ome_writing import Circumstances
            from setstone.record.clock import now
            from setstone.record.setups import scale_of_setup
            from setstone.record.taking import circumstances, size_of, write_average

            tell("reading the camera")
            taken = view.take(frames)
            tell("writing the file")
            told = view.facts or CameraFacts("", None, {})
            doubts: list[str] = []
            if book is None or name is None:
                facts = Circumstances(lamp=lamp, taken=now(), camera=told.name, exposure_s=told.exposure_s)
            else:
                setup, size = book.setup(name), size_of(taken.pixels)
                facts = circumstances(
                    book, size, lamp=lamp, setup=setup, camera=told.name, exposure_s=told.exposure_s
                )
                doubts = [flag.text for flag in scale_of_setup(book, setup, size, now())[1]]
            return write_average(to, taken, facts), taken, doubts

        self._begin(work, 2, self._written)

    def _live(self) -> LiveView:
        if self._view is None:
            raise CameraError("There is no picture to take; start the camera first.")
        return self._view

    def _begin(self, work: Callable[[Tell], object], steps: int, done: Callable[..., None]) -> None:
        self.result.setText("Taking the photograph: keep still …")
        self.doubts.setText("")
        self._job = job = Job("Taking the photograph", work, bench=self._bench, steps=steps)
        job.done.connect(done)
        job.failed.connect(self._bench.said.emit)
        job.failed.connect(lambda _text: self.result.setText(""))
        job.ended.connect(self._ended)
        self._allow()
        job.start()

    def _taken(self, stone: StoneEntry, outcome: "tuple[PhotographEntry, Average, list[str]]") -> None:
        entry, taken, doubts = outcome
        self._tell(f"Took {entry.lamp} light of {stone.position}, {entry.occasion}.", taken, doubts)
        self._bench.photographs_added(stone, [entry])

    def _written(self, outcome: "tuple[Path, Average, list[str]]") -> None:
        path, taken, doubts = outcome
        self._tell(f"Wrote {path.name}.", taken, doubts)

    def _tell(self, text: str, taken: "Average", doubts: list[str]) -> None:
        if taken.frames > 1:
            text += (
                f" Noise {taken.noise_before:.1f} of 255 in one picture, {taken.noise_after:.1f} in the mean of "
                f"{taken.frames}."
            )
        if taken.drifted:
            doubts = [
                f"The light changed by {taken.drift:+.0%} meanwhile: lock exposure and white balance, and take it again.",
                *doubts,
            ]
        self.result.setText(text)
        self.doubts.setText("\n".join(dict.fromkeys(doubts)))

    def _ended(self) -> None:
        self._job = None
        self._allow()

    def _fill(self) -> None:
        book = self._bench.book
        known = () if book is None else self._bench.occasions
        chosen = self._bench.occasion or self.occasion.currentText()
        self.occasion.clear()
        self.occasion.addItems(list(dict.fromkeys((*known, *OCCASIONS))))
        self.occasion.setCurrentText(chosen or OCCASIONS[0])
        before = self.setup.currentData()
        self.setup.clear()
        self.setup.addItem("not named", None)
        for setup in () if book is None else book.setups():
            self.setup.addItem(setup.name, setup.name)
        self.setup.setCurrentIndex(max(0, self.setup.findData(before)))
        self.result.setText("")
        self.doubts.setText("")
        self._allow()

    def _allow(self) -> None:
        live = self._view is not None and self._view.latest is not None
        stone, busy = self._bench.stone, self._job is not None
        self.shoot.setEnabled(live and stone is not None and not busy)
        self.to_file.setEnabled(live and not busy)
        why = "F8" if stone is not None else "choose the stone first"
        self.shoot.setText(f"Photograph {stone.position}" if stone is not None else "Take the photograph")
        self.shoot.setToolTip(f"Take the photograph of the chosen stone ({why}).")
        for label in (self.problem, self.result, self.doubts):
            label.setVisible(bool(label.text()))
        self.blue.setVisible(self.light.currentData() == Lamp.BLUE)


class ControlsForm(QWidget):
    """The controls the driver of a camera has."""

    #: A person set one: its name and value.
    changed = Signal(str, float)

    def __init__(self) -> None:
        super().__init__()
        self.fields: dict[str, QDoubleSpinBox] = {}
        self._form = QFormLayout(self)
        self._form.setContentsMargins(0, 0, 0, 0)
        self._form.addRow(words("The camera's own settings, in its own units:"))
        self.hide()

    def show_controls(self, values: Mapping[str, float]) -> None:
        """Show the values as they stand; none takes the fields away."""
        if not values and self.fields:
            for name in list(self.fields):
                self._form.removeRow(self.fields.pop(name))
        for name, value in values.items():
            field = self.fields.get(name)
            if field is None:
                field = self.fields[name] = self._field(name)
            if not field.hasFocus() and field.value() != value:
                field.blockSignals(True)
                field.setValue(value)
                field.blockSignals(False)
        self.setVisible(bool(self.fields))

    def _field(self, name: str) -> QDoubleSpinBox:
        field = QDoubleSpinBox()
        field.setRange(-1e6, 1e6)
        field.setDecimals(2)
        field.setKeyboardTracking(False)
        field.setFocusPolicy(Qt.FocusPolicy.StrongFocus)  # the wheel scrolls the panel, it changes nothing
        field.setToolTip(
            "Set by hand what the camera would change by itself: photographs to be averaged or compared want the same "
            "exposure and white balance."
        )
        field.setAccessibleName(name)
        field.valueChanged.connect(partial(self.changed.emit, name))
        self._form.addRow(name, field)
        return field
