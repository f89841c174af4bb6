"""The test record: readings of instruments and remarks on the chosen stone, and what they are consistent with."""

from datetime import date

from qtpy.QtCore import Qt, QUrl
from qtpy.QtGui import QShowEvent
from qtpy.QtWidgets import (
    QCheckBox,
    QComboBox,
    QCompleter,
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QInputDialog,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.record_page import notes_html, says_html
from setstone.annotate.bench.typed_reading import (
    TypedReading,
    caution_about,
    check_example,
    example_of,
    typed_again,
)
from setstone.annotate.panels.looks import caution, line_height, show_page, words
from setstone.annotate.panels.working import Job, Tell, attempt
from setstone.record.clock import day_of, now
from setstone.record.consistency import Consistency, consistency
from setstone.record.entries import ReadingEntry
from setstone.record.evidence.readings import ReadingKind

_ENTER = "Enter reading"


class TestRecordPanel(QScrollArea):
    """Takes readings and remarks on the chosen stone and shows what they say.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._readings: tuple[ReadingEntry, ...] = ()
        self._correcting: int | None = None
        self._stale = False
        self._asked = 0
        # The test and day whose check stands in the field, and what was typed there for each.
        self._here: tuple[ReadingKind | None, date | None] = (None, None)
        self._checks: dict[tuple[ReadingKind | None, date | None], str] = {}
        self._check_before = ""
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self._make_form()
        self.remark = QLineEdit()
        self.remark.setPlaceholderText("Remark, for example: old glue at the lower edge")
        self.remark.setAccessibleName("Remark")
        self.remark.setToolTip(
            "Anything worth knowing about the stone (Enter keeps it). One that is taken back stays in the book."
        )
        self.remark.returnPressed.connect(self._enter_remark)
        self.add_remark = QPushButton("Enter remark")
        self.add_remark.setToolTip("Keep the remark, with your name and the time.")
        self.add_remark.clicked.connect(self._enter_remark)
        self.there = QTextBrowser()
        self.there.setAccessibleName("What the readings say; readings and remarks of the stone")
        self.there.setOpenLinks(False)
        self.there.anchorClicked.connect(self._follow)
        self.setWidget(self._content())
        for signal in (bench.chosen, bench.notes_changed, bench.review_changed, bench.book_changed):
            signal.connect(self._show)
        self._show()
        self._understand()

    def _make_form(self) -> None:
        self.test = QComboBox()
        self.test.setEditable(True)
        self.test.addItems(["", *(str(kind) for kind in ReadingKind)])
        self.test.lineEdit().setPlaceholderText("told by the reading")
        self.test.setAccessibleName("Test")
        self.test.setToolTip(
            "Which test: choose one, type another, or leave it empty where the reading tells it. Tests that are not "
            "known are kept, but no rule weighs them."
        )
        completer = self.test.completer()
        completer.setFilterMode(Qt.MatchFlag.MatchContains)
        completer.setCompletionMode(QCompleter.CompletionMode.PopupCompletion)
        self.value = QLineEdit()
        self.value.setToolTip(
            "What the instrument or the eye showed, as read. Behind it, where it matters: table or pavilion, set or "
            "unset, ± 0.002, 3 directions, check 2/8, water 22 °C, finding 3, and a remark behind #."
        )
        self.uncertainty = QLineEdit()
        self.uncertainty.setPlaceholderText("0.002")
        self.uncertainty.setToolTip("Limits of error of the value, or the resolution of the instrument.")
        self.uncertainty.setAccessibleName("Limits of error")
        self.unit = QLineEdit()
        self.unit.setToolTip("Unit of the value, where it has one.")
        self.unit.setAccessibleName("Unit")
        self.instrument = QLineEdit()
        self.instrument.setToolTip("Which instrument, so that the reading can be repeated.")
        self.check = QLineEdit()
        self.check.setToolTip(
            "Check of the instrument on something known, before the reading and, with 'again', after it. It stands here "
            "for the next reading of the day too; without one a reading is marked, and that of a thermal tester not weighed."
        )
        self.about = QLineEdit()
        self.about.setToolTip("Anything worth knowing about the reading.")
        self.is_set = QCheckBox("stone in its setting")
        self.is_set.setChecked(True)
        self.is_set.setToolTip("Whether the stone was in its setting while it was tested.")
        self.says = words()
        self.says.setAccessibleName("What was understood")
        self.caution = caution()
        self.enter = QPushButton(_ENTER)
        self.enter.setToolTip(
            "Keep the reading, with your name and the time (Enter). A reading is never erased."
        )
        self.enter.clicked.connect(self._enter_reading)
        self.leave = QPushButton("Leave as it was")
        self.leave.setToolTip("Correct nothing.")
        self.leave.clicked.connect(self._clear)
        self.leave.hide()
        for edit in (self.value, self.unit, self.uncertainty, self.check, self.instrument, self.about):
            edit.returnPressed.connect(self._enter_reading)
        for edit in (self.value, self.uncertainty, self.check):
            edit.textChanged.connect(self._understand)
        self.test.currentTextChanged.connect(self._understand)
        self.is_set.toggled.connect(self._understand)

    def _content(self) -> QWidget:
        content = QWidget()
        self.title = QLabel()
        self.form = form = QFormLayout()
        form.addRow("&Test", self.test)
        form.addRow("&Reading", self.value)
        form.addRow("± ", _beside(self.uncertainty, QLabel("Unit"), self.unit))
        form.addRow("&Check", self.check)
        form.addRow("&Instrument", self.instrument)
        form.addRow("Note", self.about)
        layout = QVBoxLayout(content)
        layout.setContentsMargins(6, 6, 6, 6)
        layout.addLayout(_beside(self.title, self.is_set))
        layout.addLayout(form)
        layout.addWidget(self.says)
        layout.addWidget(self.caution)
        layout.addLayout(_beside(self.enter, self.leave))
        layout.addLayout(_beside(self.remark, self.add_remark))
        layout.addWidget(self.there, 1)
        self.there.setMinimumHeight(10 * line_height(self))
        return content

    # What is shown

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802 Qt's name
        """Weigh what was not weighed while nobody looked."""
        super().showEvent(event)
        if self._stale:
            self._weigh()

    def _show(self) -> None:
        stone, book = self._bench.stone, self._bench.book
        there = stone is not None and book is not None
        self.widget().setEnabled(there)
        if stone is None or book is None:
            self.title.setText("Choose a stone first.")
            self._readings = ()
            self.there.setHtml("")
            return
        self.title.setText(f"<b>{stone.position}</b> {stone.claimed_as}")
        self._readings = book.readings(stone)
        if self._readings and self._correcting is None:
            self.is_set.setChecked(self._readings[-1].stone_is_set)
        self._lay_out("")
        self._stale = bool(self._readings)
        self._asked += 1
        if self._stale and self.isVisible():
            self._weigh()

    def _lay_out(self, says: str) -> None:
        stone, book = self._bench.stone, self._bench.book
        if stone is None or book is None:
            return
        notes = notes_html(self._readings, book.remarks(stone))
        show_page(self.there, says + notes, "ul { margin-left: 0; }")

    def _weigh(self) -> None:
        """Weigh the readings in a thread and show what they say, unless another stone is shown by then."""
        bench, book, stone = self._bench, self._bench.book, self._bench.stone
        if book is None or stone is None:
            return
        self._stale = False
        asked = self._asked

        def work(_tell: Tell) -> Consistency:
            return consistency(book, stone)

        def show(found: Consistency) -> None:
            if asked == self._asked:
                self._lay_out(says_html(found))

        job = Job("Weighing the readings", work, bench=bench)
        job.done.connect(show)
        job.failed.connect(bench.said.emit)
        job.start()

    def _typed(self) -> TypedReading:
        return TypedReading(
            self.test.currentText(),
            self.value.text(),
            unit=self.unit.text(),
            uncertainty=self.uncertainty.text(),
            instrument=self.instrument.text(),
            remark=self.about.text(),
            is_set=self.is_set.isChecked(),
            check=self.check.text(),
        )

    def _understand(self, *_: object) -> None:
        test = self.test.currentText()
        self._offer_check(self._typed().kind)
        self.value.setPlaceholderText(example_of(test) or "1.762-1.770 unset")
        about = caution_about(test)
        self.caution.setText(about)
        self.caution.setVisible(bool(about))
        says = self._typed().says
        self.says.setText(says)
        self.says.setVisible(bool(says))

    def _offer_check(self, kind: ReadingKind | None) -> None:
        """Show the field for a check where the test has one, with the check typed last on this day."""
        here = (kind, day_of(now()))
        if here == self._here:
            return
        self._checks[self._here] = self.check.text()
        self._here = here
        example = check_example(kind)
        self.check.setPlaceholderText(example)
        self.form.setRowVisible(self.check, bool(example))
        self.check.setText(self._checks.get(here, ""))

    # What a person does

    def _enter_reading(self) -> None:
        typed, instead_of = self._typed(), self._correcting
        if attempt(self._bench, lambda: self._bench.enter_reading(typed, instead_of=instead_of)):
            self._clear()
            self.value.setFocus()

    def _clear(self) -> None:
        if self._correcting is not None:
            self.check.setText(self._check_before)
        self._correcting = None
        self.enter.setText(_ENTER)
        self.leave.hide()
        for edit in (self.value, self.uncertainty, self.unit, self.about):
            edit.clear()

    def _enter_remark(self) -> None:
        text = self.remark.text()
        if attempt(self._bench, lambda: self._bench.add_remark(text)):
            self.remark.clear()

    def _follow(self, link: QUrl) -> None:
        number = int(link.path())
        if link.scheme() == "correct":
            self.correct(number)
            return
        title, says, act = (
            ("Take the remark back", "It stays in the book, as taken back.", self._bench.take_remark_back)
            if link.scheme() == "remark"
            else (
                "Withdraw the reading",
                "It stays in the book and is weighed no more.",
                self._bench.withdraw_reading,
            )
        )
        reason, given = QInputDialog.getText(self, title, f"{says} Why does it not hold?")
        if given:
            attempt(self._bench, lambda: act(number, reason))

    def correct(self, number: int) -> None:
        """Bring a reading back into the form; what is entered then stands in its place."""
        typed = typed_again(next(r for r in self._readings if r.id == number))
        self._correcting = number
        self.test.setCurrentText(typed.test)
        self.is_set.setChecked(typed.is_set)
        self._check_before = self.check.text()
        for edit, text in (
            (self.value, typed.value),
            (self.unit, typed.unit),
            (self.uncertainty, typed.uncertainty),
            (self.check, typed.check),
            (self.instrument, typed.instrument),
            (self.about, typed.remark),
        ):
            edit.setText(text)
        self.enter.setText("Enter in its place")
        self.leave.show()
        self.value.setFocus()


def _beside(*widgets: QWidget) -> QHBoxLayout:
    row = QHBoxLayout()
    for widget in widgets:
        row.addWidget(widget, 0 if isinstance(widget, QLabel | QCheckBox) else 1)
    return row
