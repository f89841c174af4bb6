"""The object and its stones: which there are, how far each has come, and the way to each of them."""

from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from qtpy.QtCore import QModelIndex, QSize, Signal
from qtpy.QtGui import QKeyEvent, QKeySequence
from qtpy.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QInputDialog,
    QLabel,
    QLineEdit,
    QMenu,
    QPushButton,
    QSizePolicy,
    QStackedWidget,
    QTableView,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench import snuff_box
from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.choosing import next_position
from setstone.annotate.bench.pixels import Pixels
from setstone.annotate.bench.searching import PERIODS, Search
from setstone.annotate.bench.settings import keep_settings, read_settings
from setstone.annotate.panels.looks import choose_folder, line_height, stage_icon, words
from setstone.annotate.panels.settings import NewBookDialog, SettingsDialog
from setstone.annotate.panels.stone_list import CLAIM, STATE, STONE, StoneFilter, StoneModel
from setstone.annotate.panels.thumbnails import Thumbnails
from setstone.annotate.panels.working import Job, Tell, attempt
from setstone.record.book import Book
from setstone.record.entries import ObjectEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.progress import Stage

_FIRST = (
    "1. Start a book for the object, or open one.\n"
    "2. Add a stone for each position.\n"
    "3. Drop its photographs, in white and in blue light.\n"
    "4. Examine it, and judge each candidate.\n"
    "5. Enter readings, sign, write the hand-out.\n\n"
    "Everything is kept at once; nothing needs to be saved."
)
_DEMO = "Try the demo snuff box …"
_NO_STONES = "What to do next: type where the first stone sits, for example lid-1, and press Add."


class StonesPanel(QStackedWidget):
    """Shows the stones of the book and what can be done with them; without a book, how to begin.

    Parameters
    ----------
    bench : Bench
    pixels : Pixels
    settings_file : Path, optional
        Another file than that of the platform.
    """

    def __init__(self, bench: Bench, pixels: Pixels, *, settings_file: Path | None = None) -> None:
        super().__init__()
        self._bench = bench
        self._settings_file = settings_file
        self._quiet = False
        self._not_understood = ""
        self._line = line_height(self)
        self._model = StoneModel(bench, Thumbnails(bench, pixels), self.font())
        self._filter = StoneFilter(self._model, bench)
        self._make_start()
        self._make_list()
        self.setFocusProxy(self.table)
        self.addWidget(self._start_page())
        self.addWidget(self._list_page())
        bench.book_changed.connect(self._show_book)
        bench.stones_changed.connect(self._show_stones)
        bench.chosen.connect(self._show_chosen)
        self._show_book()

    # Without a book

    def _make_start(self) -> None:
        self.start = _button(
            "Start a new book …", "A folder is made for the object and its stones.", self._start_book
        )
        self.open = _button("Open a book …", "Choose the folder of a book.", self._open_book)
        self.demo = _button(
            _DEMO,
            "Makes a book with computed pictures of three stones, to try everything on.",
            self._start_demo,
        )
        self.recent = QVBoxLayout()

    def _start_page(self) -> QWidget:
        page = QWidget()
        layout = QVBoxLayout(page)
        layout.addWidget(QLabel("<b>What to do next</b>"))
        layout.addWidget(words(_FIRST))
        for button in (self.start, self.open, self.demo):
            layout.addWidget(button)
        layout.addLayout(self.recent)
        layout.addStretch()
        return page

    def _show_recent(self) -> None:
        while (item := self.recent.takeAt(0)) is not None:
            item.widget().hide()  # it may live on for a while
            item.widget().deleteLater()
        books = read_settings(self._settings_file).recent_books
        if books:
            self.recent.addWidget(QLabel("Opened last"))
        for folder in books[:4]:
            button = _button(folder.name, f"Open {folder}.", partial(self.open_book, folder))
            button.setFlat(True)
            self.recent.addWidget(button)

    # The list

    def _make_list(self) -> None:
        self.object = QComboBox()
        self.object.setToolTip("The object whose stones are listed.")
        self.object.setAccessibleName("Object")
        self.object.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.object.activated.connect(self._apply_filter)
        self.only = words()
        bold = self.only.font()
        bold.setBold(True)
        self.only.setFont(bold)
        self.more = QToolButton()
        self.more.setText("Book  ")
        self.more.setToolTip("Open or start another book, add or rename an object, settings.")
        self.more.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.more.setMenu(self._menu())
        self.text = QLineEdit()
        self.text.setPlaceholderText("Search")
        self.text.setAccessibleName("Search")
        self.text.setClearButtonEnabled(True)
        self.text.setToolTip(
            "Words that all occur in what the book says of a stone: position, claim, readings, remarks, findings, "
            "work, marks, names of photographs (key F3)."
        )
        self.text.textChanged.connect(self._apply_filter)
        self.stage = QComboBox()
        self.stage.setToolTip("Show only stones in this state.")
        self.stage.setAccessibleName("State")
        self.stage.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.stage.addItem("all states", None)
        for stage in Stage:
            self.stage.addItem(stage_icon(stage, self._line), str(stage), stage)
        self.stage.activated.connect(self._apply_filter)
        self._make_search()
        self.table = self._table()
        self.hint = words(_NO_STONES)
        self.position = QLineEdit()
        self.position.setPlaceholderText("position")
        self.position.setAccessibleName("Position")
        self.position.setToolTip("Where the stone sits, for example lid-3.")
        self.claim = QLineEdit()
        self.claim.setPlaceholderText("claimed as")
        self.claim.setAccessibleName("Claimed as")
        self.claim.setToolTip(
            "What the stone is said to be, for example ruby. A claim, not a finding; may stay empty."
        )
        self.add = _button("Add", "Add the stone (Enter).", self.add_stone)
        self.add.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Fixed)
        for edit in (self.position, self.claim):
            edit.returnPressed.connect(self.add_stone)
        self.remove = _button(
            "Remove",
            "Take the stone out of the list (Delete). Ctrl+Z brings it back with all that was done.",
            self.remove_stone,
        )
        self.sign = _button("Sign", "", self._sign)
        self.count = words(small=True)

    def _make_search(self) -> None:
        """What is looked for more rarely, shown when it is asked for."""
        self.narrow = QToolButton()
        self.narrow.setText("More")
        self.narrow.setAccessibleName("Search by species, time and contradictions")
        self.narrow.setToolTip(
            "Search by species, time of the last entry and contradictions too; once more to stop."
        )
        self.narrow.setCheckable(True)
        self.narrow.toggled.connect(self._narrow)
        self.species = QLineEdit()
        self.species.setPlaceholderText("Species")
        self.species.setAccessibleName("Species")
        self.species.setClearButtonEnabled(True)
        self.species.setToolTip(
            "What the stone is claimed to be, or what its readings are most consistent with; part of the name suffices."
        )
        self.species.textChanged.connect(self._apply_filter)
        self.changed = QComboBox()
        self.changed.setEditable(True)
        self.changed.addItems(("", *PERIODS))
        self.changed.lineEdit().setPlaceholderText("Last entry: any time")
        self.changed.setAccessibleName("Time of the last entry")
        self.changed.setToolTip(
            "When something was last entered on the stone: choose, or type a day as 2026-03-02, or "
            "2026-03-02 to 2026-03-09, or 2026-03-02 to."
        )
        self.changed.currentTextChanged.connect(self._apply_filter)
        self.contradicted = QCheckBox("contradictions")
        self.contradicted.setToolTip(
            "Only stones whose record holds things that do not go together, as claim and readings; the sign ! stands "
            "beside their state."
        )
        self.contradicted.toggled.connect(self._apply_filter)
        self.narrowing = QWidget()
        rows = QVBoxLayout(self.narrowing)
        rows.setContentsMargins(0, 0, 0, 0)
        rows.addLayout(_row((self.species, 1), (self.contradicted, 0)))
        rows.addWidget(self.changed)
        self.narrowing.hide()

    def _narrow(self, wanted: bool) -> None:
        """Show the fields; what is hidden narrows nothing."""
        self.narrowing.setVisible(wanted)
        if wanted:
            self.species.setFocus()
            return
        self.species.clear()
        self.changed.setCurrentIndex(0)
        self.contradicted.setChecked(False)

    def _table(self) -> "StoneTable":
        table = StoneTable()
        table.setModel(self._filter)
        table.setAccessibleName("Stones")
        table.setToolTip("One click or an arrow key opens a stone; click twice or press F2 to rename it.")
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        table.setEditTriggers(
            QAbstractItemView.EditTrigger.DoubleClicked | QAbstractItemView.EditTrigger.EditKeyPressed
        )
        table.setTabKeyNavigation(False)
        table.setShowGrid(False)
        table.setWordWrap(False)
        table.setIconSize(QSize(round(2.2 * self._line), round(2.2 * self._line)))
        rows, columns = table.verticalHeader(), table.horizontalHeader()
        rows.hide()
        rows.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        rows.setDefaultSectionSize(round(2.5 * self._line))
        columns.setHighlightSections(False)
        columns.setResizeContentsPrecision(0)  # as wide as what is in sight: there may be thousands of rows
        columns.setSectionResizeMode(STONE, QHeaderView.ResizeMode.ResizeToContents)
        columns.setSectionResizeMode(CLAIM, QHeaderView.ResizeMode.Stretch)
        columns.setSectionResizeMode(STATE, QHeaderView.ResizeMode.ResizeToContents)
        table.selectionModel().currentRowChanged.connect(self._row_chosen)
        table.removing.connect(self.remove_stone)
        return table

    def _list_page(self) -> QWidget:
        page = QWidget()
        layout = QVBoxLayout(page)
        layout.setContentsMargins(4, 4, 4, 4)
        layout.addLayout(_row((self.object, 1), (self.only, 1), (self.more, 0)))
        layout.addLayout(_row((self.text, 1), (self.stage, 1), (self.narrow, 0)))
        layout.addWidget(self.narrowing)
        layout.addWidget(self.hint)
        layout.addWidget(self.table, 1)
        layout.addLayout(_row((self.position, 2), (self.claim, 3), (self.add, 0)))
        layout.addLayout(_row((self.sign, 1), (self.remove, 1)))
        layout.addWidget(self.count)
        return page

    def _menu(self) -> QMenu:
        menu = QMenu(self)
        menu.setToolTipsVisible(True)
        for text, act, tip in (
            ("Add an object …", self._add_object, "Another antique piece in the same book."),
            ("Rename the object …", self._rename_object, "Give the object shown another name."),
            ("", None, ""),
            ("Start a new book …", self._start_book, "A folder is made for the object and its stones."),
            ("Open a book …", self._open_book, "Choose the folder of a book."),
            ("Close the book", self._bench.close, "Everything in it is kept already."),
            ("", None, ""),
            ("Settings …", self._settings, "Your name, and where new books are made."),
        ):
            if act is None:
                menu.addSeparator()
                continue
            action = menu.addAction(text)
            action.setToolTip(tip)
            action.triggered.connect(partial(self._attempt, act))
        return menu

    # What is shown

    def _show_book(self) -> None:
        book = self._bench.book
        if book is None:
            self._show_recent()
            self.setCurrentIndex(0)
            return
        if book.place.server is None:
            keep_settings(read_settings(self._settings_file).opened(book.folder), self._settings_file)
        self.text.clear()
        self.stage.setCurrentIndex(0)
        self.narrow.setChecked(False)
        self._show_stones()
        self.setCurrentIndex(1)

    def _show_stones(self) -> None:
        if self._bench.book is None:
            return
        self._show_objects()
        self._look()
        self._quietly(self._model.read)
        count = Counter(p.stage for p in self._bench.progress)
        for row in range(1, self.stage.count()):
            stage = self.stage.itemData(row)
            self.stage.setItemText(row, f"{stage} ({count[stage]})")
        total = len(self._bench.progress)
        self.hint.setVisible(not total)
        self.table.setVisible(bool(total))
        self._show_count()
        self._show_chosen()

    def _show_count(self) -> None:
        """Say how many stones there are, and how many of them are what is looked for."""
        total = len(self._bench.progress)
        fit = sum(map(self._filter.fits, self._bench.progress))
        found = "" if fit == total else f"{fit} of "
        signed = sum(p.stage is Stage.SIGNED for p in self._bench.progress)
        self.count.setText(
            f"{found}{total} {'stone' if total == 1 else 'stones'}, {signed} signed" if total else ""
        )
        if self._not_understood:
            self.count.setText(self._not_understood)

    def _show_objects(self) -> None:
        objects = self._bench.objects
        several = len(objects) > 1
        wanted: list[tuple[str, int | None]] = [("All objects", None)] if several else []
        wanted += [(o.name, o.id) for o in objects]
        there = [(self.object.itemText(i), self.object.itemData(i)) for i in range(self.object.count())]
        if wanted != there:
            kept = self.object.currentData()
            self.object.clear()
            for name, number in wanted:
                self.object.addItem(name, number)
            self.object.setCurrentIndex(max(0, self.object.findData(kept)))
        self.object.setVisible(several)
        self.only.setVisible(not several)
        self.only.setText("".join(o.name for o in objects if not several))

    def _show_chosen(self) -> None:
        here = self._bench.here
        self.remove.setEnabled(here is not None)
        self._show_sign()
        if not self.position.isModified():
            shown = self.object.currentData()
            positions = [p.position for p in self._bench.progress if shown in (None, p.object_id)]
            self.position.setText(next_position(positions))
        row = -1 if here is None else self._model.row_of(here.stone.id)
        index = self._filter.mapFromSource(self._model.index(row, STONE)) if row >= 0 else QModelIndex()
        if index.row() != self.table.currentIndex().row() or not index.isValid():
            self._quietly(lambda: self.table.setCurrentIndex(index))
            self.table.scrollTo(index)

    def _show_sign(self) -> None:
        here = self._bench.here
        signed = here is not None and here.stage is Stage.SIGNED
        self.sign.setText("Take signature back" if signed else "Sign")
        self.sign.setEnabled(here is not None and here.stage in (Stage.REVIEWED, Stage.SIGNED))
        if here is None:
            tip = "Choose a stone first."
        elif signed and here.signature is not None:
            tip = f"Signed by {here.signature.by}. Taking it back leaves both in the journal."
        elif here.stage is Stage.REVIEWED:
            tip = f"You stand, as {self._bench.by}, for what the book says of {here.stone.position}."
        else:
            tip = f"{here.stone.position}: {here.stage}. A stone can be signed when all its candidates are judged."
        self.sign.setToolTip(tip)

    def _apply_filter(self, *_: object) -> None:
        self._look()
        self._show_count()
        self._show_chosen()

    def _look(self) -> None:
        """Look for the stones wanted, in the book where the list does not tell."""
        book, self._not_understood = self._bench.book, ""
        if book is None:
            return
        search = Search(
            self.text.text(),
            species=self.species.text(),
            contradicted=self.contradicted.isChecked(),
            changed=self.changed.currentText(),
        )
        try:
            found = search.stones(book)
        except BookError as error:  # half typed; said where the count stands
            found, self._not_understood = None, str(error)
        stage = self.stage.currentData()  # Qt gives back a plain text
        self._quietly(
            lambda: self._filter.show_only(
                found=found,
                stage=None if stage is None else Stage(stage),
                object_id=self.object.currentData(),
            )
        )

    # What a person does

    def add_stone(self) -> None:
        """Add the stone typed."""
        position, claim = self.position.text(), self.claim.text()
        owner = self._owner()

        def add() -> None:
            if owner is None and self._bench.objects:
                raise BookError("The book holds several objects; choose above which one the stone is of.")
            self.position.setModified(False)
            to = "Object" if owner is None else owner.name
            self._bench.add_stone(position, claimed_as=claim, to=to)

        if self._attempt(add):
            self.claim.clear()
            self.position.setFocus()
            self.position.selectAll()

    def remove_stone(self) -> None:
        """Take the chosen stone out of the list."""
        stone = self._bench.stone
        if stone is not None and self._attempt(lambda: self._bench.remove_stone(stone)):
            self._bench.said.emit(f"{stone.position} was taken out of the list; Ctrl+Z brings it back.")

    def open_book(self, folder: Path) -> None:
        """Open a book in place of the one that is open."""
        self._attempt(lambda: self._bench.open(folder))

    def choose_by(self, step: int) -> None:
        """Choose the stone that many places further in the list as it stands, what is not looked for left out."""
        rows = (self._filter.index(row, STONE) for row in range(self._filter.rowCount()))
        among = [self._model.rows[self._filter.mapToSource(index).row()].stone.id for index in rows]
        self._bench.choose_by(step, among)

    def _sign(self) -> None:
        here = self._bench.here
        signed = here is not None and here.stage is Stage.SIGNED
        self._attempt(self._bench.take_signature_back if signed else self._bench.sign)

    def _row_chosen(self, index: QModelIndex, _before: QModelIndex) -> None:
        if not self._quiet and index.isValid():
            stone = self._model.rows[self._filter.mapToSource(index).row()].stone
            self._attempt(lambda: self._choose(stone))

    def _choose(self, stone: StoneEntry) -> None:
        if self._bench.stone is None or self._bench.stone.id != stone.id:
            self._bench.choose(stone)

    def _add_object(self) -> None:
        name, given = QInputDialog.getText(self, "Add an object", "What the antique piece is called:")
        if given and self._attempt(lambda: self._bench.add_object(name)):
            self.object.setCurrentIndex(self.object.count() - 1)
            self._apply_filter()

    def _rename_object(self) -> None:
        owner = self._owner()
        if owner is None:
            raise BookError("Choose above which object is meant.")
        name, given = QInputDialog.getText(self, "Rename the object", "What it is called:", text=owner.name)
        if given:
            self._bench.correct_object(owner, name=name)

    def _open_book(self) -> None:
        folder = choose_folder(self, "Folder of the book", read_settings(self._settings_file).new_books)
        if folder is not None:
            self.open_book(folder)

    def _start_book(self) -> None:
        dialog = NewBookDialog(self._bench.by, read_settings(self._settings_file).new_books, self)
        if dialog.exec():
            self.start_book(dialog)

    def start_book(self, dialog: NewBookDialog) -> None:
        """Start the book a dialog asks for."""

        def start() -> None:
            self._bench.by = dialog.by.text().strip() or self._bench.by
            self._bench.start(dialog.path, workshop=dialog.workshop.text())
            self._bench.add_object(dialog.name.text())

        if self._attempt(start):
            self.position.setFocus()

    def _start_demo(self) -> None:
        dialog = NewBookDialog(self._bench.by, read_settings(self._settings_file).new_books, self)
        dialog.setWindowTitle("Try the demo snuff box")
        dialog.name.setText("Demo snuff box")
        if dialog.exec():
            self.start_demo(dialog.path)

    def start_demo(self, folder: Path) -> None:
        """Make the demo book in a thread, then open it."""
        by = self._bench.by or "Demo workshop"

        def make(tell: Tell) -> Path:
            with Book.create(folder, workshop="Demo workshop", by=by) as book:
                snuff_box.fill(book, by=by, progress=tell)
            return folder

        job = Job("Making the demo book", make, bench=self._bench, steps=snuff_box.PHOTOGRAPHS)
        job.done.connect(self.open_book)
        job.failed.connect(self._bench.said.emit)
        job.told.connect(lambda step: self.demo.setText(f"Adding {step} …"))
        job.ended.connect(self._demo_made)
        self.demo.setEnabled(False)
        job.start()

    def _demo_made(self) -> None:
        self.demo.setText(_DEMO)
        self.demo.setEnabled(True)

    def _settings(self) -> None:
        if SettingsDialog(self, self._settings_file).exec():
            self._bench.by = read_settings(self._settings_file).by
            self._show_sign()

    # Inside

    def _owner(self) -> ObjectEntry | None:
        return next((o for o in self._bench.objects if o.id == self.object.currentData()), None)

    def _quietly(self, act: Callable[[], object]) -> None:
        self._quiet = True
        try:
            act()
        finally:
            self._quiet = False

    def _attempt(self, act: Callable[[], Any], *_: object) -> bool:
        return attempt(self._bench, act)


class StoneTable(QTableView):
    """The table; it tells when the chosen stone is to be removed."""

    removing = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 Qt's name
        """Remove with the delete key; all other keys do what they do in every table."""
        if event.matches(QKeySequence.StandardKey.Delete):
            self.removing.emit()
        else:
            super().keyPressEvent(event)


def _button(text: str, tip: str, act: Callable[[], object]) -> QPushButton:
    button = QPushButton(text)
    button.setToolTip(tip)
    button.clicked.connect(lambda: act())
    return button


def _row(*widgets: tuple[QWidget, int]) -> QHBoxLayout:
    row = QHBoxLayout()
    for widget, stretch in widgets:
        row.addWidget(widget, stretch)
    return row
