"""The test record: readings of instruments and remarks on the chosen stone."""

from qtpy.QtCore import Qt
from qtpy.QtWidgets import (
    QCheckBox,
    QComboBox,
    QCompleter,
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QPushButton,
    QScrollArea,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.reading_words import caution_about, example_of, notes_html, understood_words
from setstone.annotate.panels.looks import caution, line_height, words
from setstone.annotate.panels.working import attempt
from setstone.record.evidence.readings import ReadingKind


class TestRecordPanel(QScrollArea):
    """Takes readings and remarks on the chosen stone and shows those there are.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self._make_form()
        self.remark = QPlainTextEdit()
        self.remark.setPlaceholderText("Remark on the stone, for example: old glue at the lower edge")
        self.remark.setToolTip("Anything worth knowing about the stone. A remark is never erased.")
        self.remark.setTabChangesFocus(True)
        self.remark.setFixedHeight(round(3.4 * line_height(self)))
        self.add_remark = QPushButton("Enter remark")
        self.add_remark.setToolTip("Keep the remark, with your name and the time.")
        self.add_remark.clicked.connect(self._enter_remark)
        self.there = QTextBrowser()
        self.there.setAccessibleName("Readings and remarks of the stone")
        self.there.setOpenLinks(False)
        self.setWidget(self._content())
        bench.chosen.connect(self._show)
        bench.notes_changed.connect(self._show)
        bench.book_changed.connect(self._show)
        self._show()
        self._understand()

    def _make_form(self) -> None:
        self.test = QComboBox()
        self.test.setEditable(True)
        self.test.addItems([str(kind) for kind in ReadingKind])
        self.test.setCurrentText(str(ReadingKind.REFRACTOMETER))
        self.test.setToolTip(
            "Which test; choose one, or type another. Others are kept, but no rule weighs them."
        )
        completer = self.test.completer()
        completer.setFilterMode(Qt.MatchFlag.MatchContains)
        completer.setCompletionMode(QCompleter.CompletionMode.PopupCompletion)
        self.value = QLineEdit()
        self.value.setToolTip("What the instrument or the eye showed, as read.")
        self.unit = QLineEdit()
        self.unit.setPlaceholderText("where it has one")
        self.unit.setToolTip("Unit of the value, where it has one.")
        self.uncertainty = QLineEdit()
        self.uncertainty.setPlaceholderText("for example 0.002")
        self.uncertainty.setToolTip("Limits of error of the value, or the resolution of the instrument.")
        self.instrument = QLineEdit()
        self.instrument.setToolTip("Which instrument, so that the reading can be repeated.")
        self.is_set = QCheckBox("stone in its setting")
        self.is_set.setChecked(True)
        self.is_set.setToolTip("Whether the stone was in its setting while it was tested.")
        self.about = QLineEdit()
        self.about.setToolTip("Anything worth knowing about the reading.")
        self.says = words()
        self.says.setAccessibleName("What was understood")
        self.caution = caution()
        self.enter = QPushButton("Enter reading")
        self.enter.setToolTip(
            "Keep the reading, with your name and the time (Enter). A reading is never erased."
        )
        self.enter.clicked.connect(self._enter_reading)
        for edit in (self.value, self.unit, self.uncertainty, self.instrument, self.about):
            edit.returnPressed.connect(self._enter_reading)
        for edit in (self.value, self.unit, self.uncertainty):
            edit.textChanged.connect(self._understand)
        self.test.currentTextChanged.connect(self._understand)
        self.is_set.toggled.connect(self._understand)

    def _content(self) -> QWidget:
        content = QWidget()
        self.title = QLabel()
        form = QFormLayout()
        form.addRow("&Test", self.test)
        form.addRow("&Reading", self.value)
        units = QHBoxLayout()
        units.addWidget(self.uncertainty, 1)
        units.addWidget(QLabel("Unit"))
        units.addWidget(self.unit, 1)
        form.addRow("± ", units)
        form.addRow("&Instrument", self.instrument)
        form.addRow("Note", self.about)
        form.addRow("", self.is_set)
        layout = QVBoxLayout(content)
        layout.setContentsMargins(6, 6, 6, 6)
        layout.addWidget(self.title)
        layout.addLayout(form)
        layout.addWidget(self.says)
        layout.addWidget(self.caution)
        layout.addWidget(self.enter)
        layout.addWidget(self.remark)
        layout.addWidget(self.add_remark)
        layout.addWidget(self.there, 1)
        self.there.setMinimumHeight(8 * line_height(self))
        return content

    def _show(self) -> None:
        stone, book = self._bench.stone, self._bench.book
        there = stone is not None and book is not None
        self.widget().setEnabled(there)
        if stone is None or book is None:
            self.title.setText("Choose a stone first.")
            self.there.setHtml("")
            return
        self.title.setText(f"<b>{stone.position}</b>")
        self.there.setHtml(notes_html(book.readings(stone), book.remarks(stone)))

    def _understand(self, *_: object) -> None:
        test = self.test.currentText()
        self.value.setPlaceholderText(example_of(test))
        about = caution_about(test)
        self.caution.setText(about)
        self.caution.setVisible(bool(about))
        says = understood_words(
            test,
            self.value.text(),
            unit=self.unit.text(),
            uncertainty=self.uncertainty.text(),
            stone_is_set=self.is_set.isChecked(),
        )
        self.says.setText(says)
        self.says.setVisible(bool(says))

    def _enter_reading(self) -> None:
        def enter() -> None:
            self._bench.add_reading(
                self.test.currentText(),
                self.value.text(),
                unit=self.unit.text(),
                uncertainty=self.uncertainty.text(),
                instrument=self.instrument.text(),
                stone_is_set=self.is_set.isChecked(),
                remark=self.about.text(),
            )

        if attempt(self._bench, enter):
            for edit in (self.value, self.uncertainty, self.unit, self.about):
                edit.clear()
            self.value.setFocus()

    def _enter_remark(self) -> None:
        text = self.remark.toPlainText()
        if attempt(self._bench, lambda: self._bench.add_remark(text)):
            self.remark.clear()
