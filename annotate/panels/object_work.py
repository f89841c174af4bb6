"""The object and the work: what is said of the piece and of how the stone sits in it, and what was done to it."""

from collections.abc import Sequence
from functools import partial

from qtpy.QtCore import QSignalBlocker, Qt, QUrl
from qtpy.QtGui import QPalette, QShowEvent
from qtpy.QtWidgets import (
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
from setstone.annotate.bench.typed_work import TypedWork
from setstone.annotate.bench.work_page import work_html
from setstone.annotate.panels.looks import caution, line_height
from setstone.annotate.panels.working import attempt
from setstone.record.entries import FactEntry, ObjectEntry, StoneEntry
from setstone.record.facts import wording_caution
from setstone.record.vocabulary import BACKS, FACTS_CAUTION, SETTINGS, Fact, WorkKind

#: What may stand in each field, and how it is to be worded.
_TIPS = {
    Fact.METAL: "As it looks, for example yellow metal; which metal it is, an assay tells.",
    Fact.FINENESS: "The figure as it stands there, for example 750, last figure worn. A mark is no assay.",
    Fact.HALLMARK: "Each mark as read, unclear ones described, for example crowned G, last figure worn.",
    Fact.DATE: "As claimed, and by whom where that is known, for example about 1790, family tradition.",
    Fact.MAKER: "As claimed, for example attributed to …, or mark of …",
    Fact.SETTING: "How this stone is held, as seen; choose or type.",
    Fact.BACK: (
        "Whether the setting is open or closed behind this stone, as seen. Behind a closed back there may be foil or "
        "paint, which alter colour and mislead tests with light."
    ),
}
_OFFERED = {Fact.SETTING: SETTINGS, Fact.BACK: BACKS}


class ObjectWorkPanel(QScrollArea):
    """Takes what is said of the object and the setting, and the work on the chosen stone.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._stone: StoneEntry | None = None
        self._object: ObjectEntry | None = None
        self._stale = False
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.facts = {fact: self._fact_edit(fact) for fact in Fact}
        self.caution = caution(FACTS_CAUTION)
        self._make_work()
        self.setWidget(self._content())
        for signal in (bench.chosen, bench.notes_changed, bench.stones_changed, bench.book_changed):
            signal.connect(self._show_soon)
        self._show()

    def _fact_edit(self, fact: Fact) -> QLineEdit:
        edit = QLineEdit()
        edit.setAccessibleName(f"{fact}, {fact.known_how}")
        edit.setToolTip(f"{_TIPS[fact]} Kept as soon as you leave the field or press Enter.")
        if fact in _OFFERED:
            self._offer(edit, _OFFERED[fact])
            edit.setPlaceholderText(", ".join(_OFFERED[fact][:3]) + " …")
        edit.textChanged.connect(self._show_caution)
        edit.editingFinished.connect(partial(self._keep, fact))
        return edit

    def _make_work(self) -> None:
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
        self.work_caution = caution()
        self.enter = QPushButton("Enter work")
        self.enter.setToolTip("Keep it, with your name and the time (Enter). Ctrl+Z takes it back.")
        self.enter.clicked.connect(self._enter)
        for edit in (self.done, self.adhesive, self.solvent, self.done_by, self.remark):
            edit.returnPressed.connect(self._enter)
        self.kind.currentTextChanged.connect(self._show_work_caution)
        self.solvent.textChanged.connect(self._show_work_caution)
        self.log = QTextBrowser()
        self.log.setAccessibleName("Work on the stone so far")
        self.log.setOpenLinks(False)
        self.log.anchorClicked.connect(self._take_back)
        self.log.setMinimumHeight(6 * line_height(self))

    def _content(self) -> QWidget:
        content = QWidget()
        self.object_title, self.stone_title = QLabel(), QLabel()
        for title in (self.object_title, self.stone_title):
            title.setTextFormat(Qt.TextFormat.PlainText)
            font = title.font()
            font.setBold(True)
            title.setFont(font)
        layout = QVBoxLayout(content)
        layout.setContentsMargins(6, 6, 6, 6)
        layout.addWidget(self.object_title)
        layout.addLayout(self._facts_form([f for f in Fact if not f.of_stone]))
        layout.addWidget(self.stone_title)
        layout.addLayout(self._facts_form([f for f in Fact if f.of_stone]))
        layout.addWidget(self.caution)
        work = _form()
        when = QHBoxLayout()
        when.addWidget(self.kind, 1)
        when.addWidget(self.done, 1)
        work.addRow("&Work", when)
        work.addRow("&Adhesive", self.adhesive)
        work.addRow("&Solvent", self.solvent)
        work.addRow("Done &by", self.done_by)
        work.addRow("&Note", self.remark)
        layout.addLayout(work)
        layout.addWidget(self.work_caution)
        layout.addWidget(self.enter)
        layout.addWidget(self.log, 1)
        return content

    def _facts_form(self, those: Sequence[Fact]) -> QFormLayout:
        form = _form()
        for fact in those:
            name = str(fact).capitalize()
            form.addRow(f"{name}, {fact.known_how}", self.facts[fact])
        return form

    # What is shown

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802 Qt's name
        """Read what was not read while nobody looked."""
        super().showEvent(event)
        if self._stale:
            self._show()

    def _show_soon(self) -> None:
        self._stale = True
        if self.isVisible():
            self._show()

    def _show(self) -> None:
        self._stale = False
        self._keep_typed()
        book, stone = self._bench.book, self._bench.stone
        self.widget().setEnabled(book is not None and stone is not None)
        self._stone = stone
        self._object = None
        if book is None or stone is None:
            self.object_title.setText("Choose a stone first.")
            self.stone_title.setText("")
            self._fill(())
            self.log.clear()
            return
        self._object = next(o for o in self._bench.objects if o.id == stone.object_id)
        self.object_title.setText(self._object.name)
        self.stone_title.setText(f"{stone.position} {stone.claimed_as}")
        self._fill((*book.facts(self._object), *book.facts(stone)))
        self.done_by.setPlaceholderText(self._bench.by)
        adhesives, solvents = book.products()
        self._offer(self.adhesive, adhesives)
        self._offer(self.solvent, solvents)
        link = self.log.palette().color(QPalette.ColorRole.Text).name()
        self.log.document().setDefaultStyleSheet(f"a {{ color: {link}; }}")
        self.log.setHtml(work_html(book.work(stone)))
        self._show_work_caution()

    def _fill(self, said: Sequence[FactEntry]) -> None:
        known = {f.fact: f for f in said}
        for fact, edit in self.facts.items():
            entry = known.get(fact)
            if edit.isModified() and edit.hasFocus():
                continue  # somebody is typing there
            if edit.text() != (entry.value if entry else ""):
                with QSignalBlocker(edit):
                    edit.setText(entry.value if entry else "")
                edit.setCursorPosition(0)
            edit.setModified(False)
            edit.setStatusTip(f"{entry.by}, {entry.at.astimezone():%Y-%m-%d %H:%M}" if entry else "")
        self._show_caution()

    def _show_caution(self, *_: object) -> None:
        """Warn of the wording that claims most; where there is none, say how all of this is known."""
        found = (wording_caution(fact, edit.text()) for fact, edit in self.facts.items())
        self.caution.setText(next(filter(None, found), FACTS_CAUTION))

    def _show_work_caution(self, *_: object) -> None:
        stone = self._bench.stone
        claim = "" if stone is None else stone.claimed_as
        self.work_caution.setText("\n".join(self._typed().cautions(claim)))

    def _offer(self, edit: QLineEdit, texts: Sequence[str]) -> None:
        completer = edit.completer()
        if completer is None or [*texts] != completer.property("offered"):
            completer = QCompleter([*texts], edit)
            completer.setProperty("offered", [*texts])
            completer.setCaseSensitivity(Qt.CaseSensitivity.CaseInsensitive)
            completer.setFilterMode(Qt.MatchFlag.MatchContains)
            edit.setCompleter(completer)

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

    def _keep(self, fact: Fact) -> None:
        """Keep what was typed of the object and stone that are shown."""
        edit = self.facts[fact]
        of = self._stone if fact.of_stone else self._object
        if of is None or not edit.isModified():
            return
        edit.setModified(False)
        if not attempt(self._bench, lambda: self._bench.state_fact(of, fact, edit.text())):
            edit.setModified(True)

    def _keep_typed(self) -> None:
        """Keep what was typed and not entered yet, before another stone is shown."""
        if (
            self._stone is not None
            and self._bench.stone is not None
            and self._bench.stone.id != self._stone.id
        ):
            for fact in Fact:
                self._keep(fact)

    def _enter(self) -> None:
        typed = self._typed()
        if attempt(self._bench, lambda: self._bench.add_work(typed)):
            for edit in (self.done, self.remark):
                edit.clear()
            self.kind.setFocus()

    def _take_back(self, link: QUrl) -> None:
        number = int(link.path())
        reason, given = QInputDialog.getText(
            self, "Take the work back", "It stays in the journal and counts no more. Why was it not done so?"
        )
        if given:
            attempt(self._bench, lambda: self._bench.take_work_back(number, reason))


def _form() -> QFormLayout:
    form = QFormLayout()
    form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
    return form
