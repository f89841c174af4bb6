"""Optical setups: which one photographs were taken with, and their calibrations over time."""

from collections.abc import Sequence
from pathlib import Path

from qtpy.QtCore import QRectF
from qtpy.QtGui import QPainter, QPaintEvent
from qtpy.QtSvg import QSvgRenderer
from qtpy.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QDoubleSpinBox,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QSpinBox,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.calibrating import (
    LinesSeen,
    calibration_doubts,
    calibration_words,
    lines_seen,
    parts_words,
    photograph_doubts,
    taken_with,
    tell_setup,
)
from setstone.annotate.calibration_plot import calibration_plot
from setstone.annotate.panels.lines_seen import LinesDialog
from setstone.annotate.panels.looks import caution, line_height, scrolls, words
from setstone.annotate.panels.settings import ask_for_pictures
from setstone.annotate.panels.working import Job, Tell, attempt
from setstone.record.entries import CalibrationEntry, PhotographEntry, SetupEntry
from setstone.record.setups import VALID_DAYS


class SetupsPanel(QWidget):
    """Says with which setup photographs were taken, calibrates it, and shows its calibrations over time.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._job: Job | None = None
        self._calibrated_once = False
        self.setup = QComboBox()
        self.setup.setToolTip(
            "Whatever changes the scale makes another setup: objective, zoom, adapter, size."
        )
        self.setup.setAccessibleName("Setup")
        self.setup.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setup.currentIndexChanged.connect(lambda _i: self._show())
        self.new = QPushButton("New …")
        self.new.setToolTip("Name another optical setup.")
        self.new.clicked.connect(self._ask_new)
        self.says = words()
        self.doubts = caution()
        self.plot = CalibrationPlot()
        self.of_stone = words()
        self.use = QPushButton("They were taken with it")
        self.use.setToolTip(
            "Measure the photographs of the chosen stone and occasion with the calibration of this setup. "
            "Ctrl+Z takes it back, photograph by photograph."
        )
        self.use.clicked.connect(lambda: self._tell(True))
        self.leave = QPushButton("Not")
        self.leave.setToolTip("They were not taken with this setup.")
        self.leave.clicked.connect(lambda: self._tell(False))
        self.division = QLineEdit("0.01 mm")
        self.division.setToolTip("Distance from line to line of the micrometer as engraved, with its unit.")
        self.certificate = QLineEdit()
        self.certificate.setPlaceholderText("1 µm in 1 mm; empty: 0.1 %")
        self.certificate.setToolTip(
            "Limits of error of the micrometer, as '1 µm in 1 mm' or '0.05 %'; add 'k=2' for an expanded uncertainty."
        )
        self.calibrate = QPushButton("Calibrate …")
        self.calibrate.setToolTip(
            "Choose photographs of a stage micrometer taken with this setup: three, put back each time, one turned by "
            "about 90°. They are kept in the book."
        )
        self.calibrate.clicked.connect(lambda: self.calibrate_by(ask_for_pictures(self)))
        self.lines = QPushButton("See its lines …")
        self.lines.setToolTip(
            "The photographs of the latest calibration, with each line marked that was counted."
        )
        self.lines.clicked.connect(self.see_lines)
        self._lay_out()
        for signal in (bench.book_changed, bench.chosen, bench.photographs_changed, bench.review_changed):
            signal.connect(self._fill)
        self._fill()

    def _lay_out(self) -> None:
        top = QHBoxLayout()
        top.addWidget(self.setup, 1)
        top.addWidget(self.new)
        mine = QHBoxLayout()
        mine.addWidget(self.use, 1)
        mine.addWidget(self.leave)
        form = QFormLayout()
        form.addRow("Division", self.division)
        form.addRow("Certificate", self.certificate)
        inside = QVBoxLayout()
        inside.setContentsMargins(0, 0, 4, 0)
        inside.addWidget(self.of_stone)
        inside.addLayout(mine)
        inside.addWidget(self.doubts)
        inside.addWidget(self.says)
        inside.addWidget(self.plot)
        inside.addLayout(form)
        calibrating = QHBoxLayout()
        calibrating.addWidget(self.calibrate, 1)
        calibrating.addWidget(self.lines)
        inside.addLayout(calibrating)
        inside.addStretch()
        content = QWidget()
        content.setLayout(inside)
        scroll = QScrollArea()
        scroll.setWidget(content)
        scrolls(scroll)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(4, 4, 4, 4)
        layout.addLayout(top)
        layout.addWidget(scroll, 1)
        self.setMinimumSize(20 * line_height(self), 10 * line_height(self))

    @property
    def chosen(self) -> SetupEntry | None:
        """The setup looked at."""
        name, book = self.setup.currentData(), self._bench.book
        return None if name is None or book is None else book.setup(str(name))

    def add(self, dialog: "NewSetupDialog") -> None:
        """Add the setup a dialog describes, and look at it."""
        if attempt(self._bench, lambda: dialog.add_to(self._bench)):
            self._fill()
            self.setup.setCurrentIndex(self.setup.count() - 1)
            self._bench.changed_here()

    def calibrate_by(self, files: Sequence[Path]) -> None:
        """Calibrate the setup looked at by photographs of a micrometer, in a thread."""
        setup, bench = self.chosen, self._bench
        if not files or setup is None or self._job is not None:
            return
        book, division, certificate = bench.opened, self.division.text(), self.certificate.text()

        def work(tell: Tell) -> CalibrationEntry:
            from setstone.record.examining import given_length

            tell("finding the lines")
            return book.calibrate_setup(
                setup, files, division_um=given_length(division), certificate=certificate, by=bench.by
            )

        self._job = job = Job(f"Calibrating {setup.name}", work, bench=bench)
        job.done.connect(self._calibrated)
        job.failed.connect(bench.said.emit)
        job.ended.connect(self._ended)
        self.says.setText("Finding the lines of the micrometer …")
        self._allow()
        job.start()

    def _calibrated(self, entry: CalibrationEntry) -> None:
        self._bench.changed_here()
        self._bench.photographs_changed.emit()  # their scale may be another now
        self._bench.said.emit(
            f"{entry.setup.name} is calibrated by {entry.result.lines} lines. See its lines; if only each fifth is marked, focus "
            "better and calibrate again."
        )

    def _ended(self) -> None:
        self._job = None
        self._show()

    def see_lines(self) -> None:
        """Show the lines counted in the latest calibration of the setup looked at."""
        setup, bench = self.chosen, self._bench
        known = () if setup is None else bench.opened.calibrations(setup)
        if not known or self._job is not None:
            return
        latest = known[-1]

        def show(seen: tuple[LinesSeen, ...]) -> None:
            if seen:
                LinesDialog(seen, self).show()

        self._job = job = Job(
            "Drawing the lines",
            lambda tell: lines_seen(latest, tell),
            bench=bench,
            steps=len(latest.photographs),
        )
        job.done.connect(show)
        job.failed.connect(bench.said.emit)
        job.ended.connect(self._ended)
        self._allow()
        job.start()

    def _ask_new(self) -> None:
        dialog = NewSetupDialog(self)
        if dialog.exec():
            self.add(dialog)

    def _tell(self, so: bool) -> None:
        setup = self.chosen
        if setup is None:
            return
        mine, others = taken_with(self._bench, setup)
        if so:
            attempt(self._bench, lambda: tell_setup(self._bench, others, setup))
        else:
            attempt(self._bench, lambda: tell_setup(self._bench, mine, None))

    def _fill(self) -> None:
        book = self._bench.book
        names = [] if book is None else [s.name for s in book.setups()]
        if names != [self.setup.itemText(i) for i in range(self.setup.count())]:
            before = self.setup.currentText()
            self.setup.blockSignals(True)
            self.setup.clear()
            for name in names:
                self.setup.addItem(name, name)
            self.setup.setCurrentIndex(max(0, self.setup.findText(before)) if names else -1)
            self.setup.blockSignals(False)
        attempt(self._bench, self._show)

    def _show(self) -> None:
        setup, bench = self.chosen, self._bench
        known = () if setup is None else bench.opened.calibrations(setup)
        mine: list[PhotographEntry] = []
        others: list[PhotographEntry] = []
        doubts: list[str] = []
        self.plot.show_calibrations(known)
        self._calibrated_once = bool(known)
        if setup is None:
            self.says.setText(
                "A setup is objective, zoom, adapter and camera together, with one scale. Name yours with New, then "
                "calibrate it with photographs of a stage micrometer."
                if bench.book is not None
                else "Optical setups of the book show here."
            )
        else:
            self.says.setText("\n".join(filter(None, (parts_words(setup), calibration_words(known)))))
            mine, others = taken_with(bench, setup)
            doubts = calibration_doubts(setup, known) + photograph_doubts(bench, mine)
        self.doubts.setText("\n".join(dict.fromkeys(doubts)))
        self.doubts.setVisible(bool(doubts))
        stone = bench.stone
        if stone is not None and (mine or others):
            self.of_stone.setText(
                f"{len(mine)} of {len(mine) + len(others)} photographs of {stone.position}, {bench.occasion}, were taken "
                "with it."
            )
        self.of_stone.setVisible(bool(mine or others))
        self.use.setVisible(bool(mine or others))
        self.leave.setVisible(bool(mine))
        self.use.setEnabled(bool(others))
        self._allow()

    def _allow(self) -> None:
        has = self.chosen is not None
        self.new.setEnabled(self._bench.book is not None)
        for control in (self.division, self.certificate):
            control.setEnabled(has)
        self.calibrate.setEnabled(has and self._job is None)
        self.lines.setEnabled(self._calibrated_once and self._job is None)


class CalibrationPlot(QWidget):
    """The calibrations of a setup over time, small."""

    def __init__(self) -> None:
        super().__init__()
        self._known: tuple[CalibrationEntry, ...] = ()
        self.setFixedHeight(11 * line_height(self))
        self.setAccessibleName("Calibrations over time, each with its interval of 95 %")
        self.setToolTip("Each calibration with its interval of 95 %.")

    def show_calibrations(self, known: Sequence[CalibrationEntry]) -> None:
        """Draw calibrations, oldest first; two at least, for one alone shows nothing."""
        self._known = tuple(known)
        self.setVisible(len(self._known) > 1)
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802 Qt's name
        """Draw the plot in the size there is."""
        if len(self._known) < 2:
            return
        svg = calibration_plot(self._known, width=self.width(), height=self.height())
        QSvgRenderer(svg.encode()).render(QPainter(self), QRectF(self.rect()))


class NewSetupDialog(QDialog):
    """Asks for what makes an optical setup."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("New optical setup")
        self.name = QLineEdit()
        self.name.setPlaceholderText("a short name, for example 60x")
        self.objective = QLineEdit()
        self.objective.setPlaceholderText("as engraved, for example 1x")
        self.zoom = QLineEdit()
        self.camera = QLineEdit()
        self.camera.setPlaceholderText("camera and size of picture")
        self.adapter = QLineEdit()
        self.aperture = QDoubleSpinBox()
        self.aperture.setRange(0, 1.6)
        self.aperture.setDecimals(3)
        self.aperture.setSingleStep(0.01)
        self.aperture.setSpecialValueText("not known")
        self.aperture.setToolTip("Engraved on the objective; tells what it can resolve.")
        self.days = QSpinBox()
        self.days.setRange(1, 36500)
        self.days.setValue(VALID_DAYS)
        self.days.setSuffix(" days")
        form = QFormLayout()
        form.addRow("&Name", self.name)
        form.addRow("&Objective", self.objective)
        form.addRow("&Zoom", self.zoom)
        form.addRow("&Camera", self.camera)
        form.addRow("&Adapter", self.adapter)
        form.addRow("Numerical a&perture", self.aperture)
        form.addRow("Calibration &valid for", self.days)
        box = QDialogButtonBox(QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel)
        self._ok = box.button(QDialogButtonBox.StandardButton.Ok)
        self._ok.setText("Add the setup")
        self._ok.setEnabled(False)
        self.name.textChanged.connect(lambda text: self._ok.setEnabled(bool(text.strip())))
        box.accepted.connect(self.accept)
        box.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(words("Whatever changes the scale makes another setup: write it all down."))
        layout.addLayout(form)
        layout.addWidget(box)

    def add_to(self, bench: Bench) -> SetupEntry:
        """Add what was entered to the book."""
        return bench.opened.add_setup(
            self.name.text(),
            objective=self.objective.text(),
            zoom=self.zoom.text(),
            camera=self.camera.text(),
            adapter=self.adapter.text(),
            numerical_aperture=self.aperture.value() or None,
            valid_days=self.days.value(),
            by=bench.by,
        )
