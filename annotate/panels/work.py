"""The work: what was done to the chosen stone at the bench, by whom and with what."""

from qtpy.QtCore import QUrl
from qtpy.QtWidgets import (
    QComboBox,
    QFormLayout,
    QInputDialog,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.typed_work import TypedWork
from setstone.annotate.bench.work_page import work_html
from setstone.annotate.panels.looks import caution, line_height, offer, scrolls, show_page, title
from setstone.annotate.panels.when_seen import WhenSeen
from setstone.annotate.panels.working import attempt
from setstone.record.consistency import known_for_work
from setstone.record.vocabulary import WorkKind
from setstone.record.work import Known


class WorkPanel(QScrollArea):
    """Takes the work on the chosen stone and shows what was done so far.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._known = Known()
        scrolls(self)
        self.title = title()
        self._make_form()
        self.log = QTextBrowser()
        self.log.setAccessibleName("Work on the stone so far")
        self.log.setOpenLinks(False)
        self.log.anchorClicked.connect(self._take_back)
        self.log.setMinimumHeight(8 * line_height(self))
        form = QFormLayout()
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        form.addRow("Wor&k", self.kind)
        form.addRow("&When", self.done)
        form.addRow("Done &by", self.done_by)
        form.addRow("&Adhesive", self.adhesive)
        form.addRow("So&lvent", self.solvent)
        form.addRow("&Note", self.remark)
        content = QWidget()
        layout = QVBoxLayout(content)
        layout.setContentsMargins(6, 6, 6, 6)
        layout.addWidget(self.title)
        layout.addLayout(form)
        layout.addWidget(self.caution)
        layout.addWidget(self.enter)
        layout.addWidget(self.log, 1)
        self.setWidget(content)
        self._seen = WhenSeen(
            self,
            bench,
            (
                bench.chosen,
                bench.notes_changed,
                bench.review_changed,
                bench.stones_changed,
                bench.book_changed,
            ),
            self._show,
        )

    def _make_form(self) -> None:
        self.kind = QComboBox()
        self.kind.addItems([str(kind) for kind in WorkKind])
        self.kind.setAccessibleName("What was done")
        self.kind.setToolTip("What was done to the stone.")
        self.done = QLineEdit()
        self.done.setPlaceholderText("just now")
        self.done.setToolTip("When: 2026-03-02 14:30, or 2026-03-02 for the day. Empty for just now.")
        self.adhesive = QLineEdit()
        self.adhesive.setToolTip(
            "Product as its label says, with batch or share where known. Those named before are offered."
        )
        self.solvent = QLineEdit()
        self.solvent.setToolTip("Product as its label says. Those named before are offered.")
        self.done_by = QLineEdit()
        self.done_by.setToolTip("Who did it, where that is not you.")
        self.remark = QLineEdit()
        self.remark.setToolTip("Temperature, time, what was seen.")
        self.caution = caution()
        self.enter = QPushButton("Enter work")
        self.enter.setToolTip("Keep it, with your name and the time (Enter). Ctrl+Z takes it back.")
        self.enter.clicked.connect(self._enter)
        for edit in (self.done, self.adhesive, self.solvent, self.done_by, self.remark):
            edit.returnPressed.connect(self._enter)
        self.kind.currentTextChanged.connect(self._show_caution)
        self.solvent.textChanged.connect(self._show_caution)

    # What is shown

    def _show(self) -> None:
        book, stone = self._bench.book, self._bench.stone
        self.widget().setEnabled(book is not None and stone is not None)
        self._known = Known() if book is None or stone is None else known_for_work(book, stone)
        self._show_caution()
        if book is None or stone is None:
            self.title.setText("Choose a stone first.")
            self.log.clear()
            return
        self.title.setText(f"{stone.position} {stone.claimed_as}")
        self.done_by.setPlaceholderText(self._bench.by)
        adhesives, solvents = book.products()
        offer(self.adhesive, adhesives)
        offer(self.solvent, solvents)
        show_page(self.log, work_html(book.work(stone)))

    def _show_caution(self, *_: object) -> None:
        stone = self._bench.stone
        said = () if stone is None else self._typed().cautions(stone.claimed_as, self._known)
        self.caution.setText("\n".join(said))
        self.caution.setVisible(stone is not None)

    def _typed(self) -> TypedWork:
        return TypedWork(
            WorkKind(self.kind.currentText()),
            adhesive=self.adhesive.text(),
            solvent=self.solvent.text(),
            remark=self.remark.text(),
            done=self.done.text(),
            done_by=self.done_by.text(),
        )

    # What a person does

    def _enter(self) -> None:
        typed = self._typed()
        if attempt(self._bench, lambda: self._bench.add_work(typed)):
            # Nothing of it goes with the next entry unseen; products are offered again.
            for edit in (self.done, self.done_by, self.adhesive, self.solvent, self.remark):
                edit.clear()
            self.kind.setFocus()

    def _take_back(self, link: QUrl) -> None:
        number = int(link.path())
        reason, given = QInputDialog.getText(
            self, "Take the work back", "It stays in the journal and counts no more. Why was it not done so?"
        )
        if given:
            attempt(self._bench, lambda: self._bench.take_work_back(number, reason))
