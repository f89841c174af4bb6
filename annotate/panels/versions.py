"""The versions of a stone's record: who signed which, and what was changed from one to another."""

from qtpy.QtCore import QSignalBlocker
from qtpy.QtWidgets import QComboBox, QFormLayout, QTextBrowser, QVBoxLayout, QWidget

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.version_page import NOW, difference_html, version_words, versions_html
from setstone.annotate.panels.looks import title
from setstone.annotate.panels.when_seen import WhenSeen
from setstone.annotate.panels.working import attempt
from setstone.record.progress import Stage
from setstone.record.versions import Version

_NOT_SIGNED = (
    "Not signed yet. Once a stone is reviewed, Sign in the panel Stones keeps its whole record as a version; "
    "what is changed later shows here and makes the next one."
)


class VersionsPanel(QWidget):
    """Shows the versions of the chosen stone's record and the difference between two of them.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._versions: tuple[Version, ...] = ()
        self._stone_id = 0
        self.title = title()
        self.older = self._choice("The version that is compared.")
        self.newer = self._choice("The version it is compared with, or the record as it stands now.")
        self.page = QTextBrowser()
        self.page.setAccessibleName("What was changed, and who signed which version")
        self.choices = QWidget()
        form = QFormLayout(self.choices)
        form.setContentsMargins(0, 0, 0, 0)
        form.addRow("Changed &from", self.older)
        form.addRow("&to", self.newer)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(6, 6, 6, 6)
        layout.addWidget(self.title)
        layout.addWidget(self.choices)
        layout.addWidget(self.page, 1)
        self._seen = WhenSeen(
            self, bench, (bench.book_changed, bench.stones_changed, bench.chosen), self._show
        )

    def _choice(self, tip: str) -> QComboBox:
        choice = QComboBox()
        choice.setToolTip(tip)
        choice.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        choice.activated.connect(lambda _index: attempt(self._bench, self._compare))
        return choice

    def _show(self) -> None:
        book, stone = self._bench.book, self._bench.stone
        self._versions = () if book is None or stone is None else book.versions(stone)
        if stone is None:
            self.title.setText("Choose a stone first.")
            self.page.clear()
        else:
            self.title.setText(f"{stone.position} {stone.claimed_as}")
            self.page.setPlainText(_NOT_SIGNED)
        there = bool(self._versions)
        self.choices.setVisible(there)
        if stone is not None and there:
            self._fill_choices(anew=stone.id != self._stone_id)
            self._stone_id = stone.id
            self._compare()

    def _fill_choices(self, *, anew: bool) -> None:
        """Offer the versions; at first what was changed since the one signed last, or by it where nothing was since."""
        named = [(version_words(v), v.number) for v in self._versions]
        kept = self.older.currentData(), self.newer.currentData()
        with QSignalBlocker(self.older), QSignalBlocker(self.newer):
            for choice, offered in ((self.older, named), (self.newer, [*named, (NOW, None)])):
                choice.clear()
                for text, number in offered:
                    choice.addItem(text, number)
                choice.setCurrentIndex(choice.count() - 1)
            here = self._bench.here
            if len(named) > 1 and here is not None and here.stage is Stage.SIGNED:
                self.older.setCurrentIndex(len(named) - 2)
                self.newer.setCurrentIndex(len(named) - 1)
            if not anew and kept[0] is not None:
                self.older.setCurrentIndex(self.older.findData(kept[0]))
                if kept[1] is not None:
                    self.newer.setCurrentIndex(self.newer.findData(kept[1]))

    def _compare(self) -> None:
        book, stone = self._bench.opened, self._bench.required_stone
        older, newer = self.older.currentData(), self.newer.currentData()
        changes = book.difference(stone, older, newer)
        page = difference_html(changes, older, newer, self._bench.photographs)
        self.page.setHtml(page + versions_html(self._versions))
