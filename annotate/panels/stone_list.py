"""The list of stones: what it shows of each, and how it is kept in step with the bench."""

from functools import partial
from typing import Any

from qtpy.QtCore import QAbstractTableModel, QModelIndex, QSortFilterProxyModel, Qt
from qtpy.QtGui import QFont, QFontMetricsF, QIcon, QPixmap

from setstone.annotate.bench.bench import Bench
from setstone.annotate.panels.looks import icon_of, square, stage_icon
from setstone.annotate.panels.thumbnails import Thumbnails
from setstone.annotate.panels.working import attempt
from setstone.record.progress import Progress, Stage

STONE, CLAIM, STATE = range(3)
_HEADINGS = ("Stone", "Claimed as", "State")
_TIPS = (
    "Where the stone sits. Double click, or F2, to change it.",
    "What the stone is said to be: a claim, not a finding. Double click, or F2, to change it.",
    "How far the work on the stone has come.",
)
_Role = Qt.ItemDataRole


def state_words(p: Progress) -> str:
    """State of a stone in a few words; a sign where its record holds contradictions."""
    state = f"{p.stage} ({p.left})" if p.stage is Stage.TO_REVIEW else str(p.stage)
    return f"{state} !" if p.contradictions else state


class StoneModel(QAbstractTableModel):
    """Stones of a bench, one a row, by object and position.

    Parameters
    ----------
    bench : Bench
    thumbnails : Thumbnails
    font : QFont
        Of the view; all sizes follow it.
    """

    def __init__(self, bench: Bench, thumbnails: Thumbnails, font: QFont) -> None:
        super().__init__()
        line = round(QFontMetricsF(font).height())
        self._small = QFont(font)
        self._small.setPointSizeF(0.9 * font.pointSizeF())
        self._bench = bench
        self._thumbnails = thumbnails
        self._icons = {stage: stage_icon(stage, line) for stage in Stage}
        self._side = round(2.2 * line)
        empty = QPixmap(self._side, self._side)
        empty.fill(Qt.GlobalColor.transparent)
        self._none = icon_of(empty)
        self._pictures: dict[tuple[int, int], QIcon] = {}
        self.rows: tuple[Progress, ...] = ()
        bench.book_changed.connect(self._forget)
        thumbnails.ready.connect(self._thumbnail_ready)

    def read(self) -> None:
        """Take the stones from the bench; the choice in a view stays where the rows are the same ones."""
        old, new = self.rows, self._bench.progress
        if [p.stone_id for p in old] != [p.stone_id for p in new]:
            self.beginResetModel()
            self.rows = new
            self.endResetModel()
            return
        self.rows = new
        for row, (before, after) in enumerate(zip(old, new, strict=True)):
            if before != after:
                self.dataChanged.emit(self.index(row, 0), self.index(row, len(_HEADINGS) - 1))

    def row_of(self, stone_id: int) -> int:
        """Row of a stone; -1 when it is not there."""
        return next((row for row, p in enumerate(self.rows) if p.stone_id == stone_id), -1)

    def rowCount(self, parent: QModelIndex = QModelIndex()) -> int:  # noqa: N802, B008 as Qt has it
        """Count the stones."""
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: QModelIndex = QModelIndex()) -> int:  # noqa: N802, B008 as Qt has it
        """Count the columns."""
        return 0 if parent.isValid() else len(_HEADINGS)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = _Role.DisplayRole) -> Any:  # noqa: N802
        """Name a column."""
        if orientation == Qt.Orientation.Horizontal and role == _Role.DisplayRole:
            return _HEADINGS[section]
        if orientation == Qt.Orientation.Horizontal and role == _Role.ToolTipRole:
            return _TIPS[section]
        return None

    def flags(self, index: QModelIndex) -> Qt.ItemFlag:
        """Position and claim can be changed in place."""
        flags = super().flags(index)
        return flags | Qt.ItemFlag.ItemIsEditable if index.column() != STATE else flags

    def data(self, index: QModelIndex, role: int = _Role.DisplayRole) -> Any:
        """Give what a cell shows."""
        p, column = self.rows[index.row()], index.column()
        if role in (_Role.DisplayRole, _Role.EditRole):
            return (p.position, p.claimed_as, state_words(p))[column]
        if role == _Role.DecorationRole and column == STATE:
            return self._icons[p.stage]
        if role == _Role.DecorationRole and column == STONE:
            return self._picture(p)
        if role == _Role.FontRole and column != STONE:
            return self._small
        if role == _Role.ToolTipRole:
            return _tip(p) if column == STATE else f"{p.stone.full_name}\n{_TIPS[column]}"
        if role == _Role.AccessibleTextRole and column == STONE:
            return f"{p.position}, {p.claimed_as}, {state_words(p)}"
        return None

    def setData(self, index: QModelIndex, value: Any, role: int = _Role.EditRole) -> bool:  # noqa: N802
        """Correct the position or the claim."""
        if role != _Role.EditRole:
            return False
        stone = self.rows[index.row()].stone
        position = str(value) if index.column() == STONE else stone.position
        claim = str(value) if index.column() == CLAIM else stone.claimed_as
        bench = self._bench
        return attempt(bench, lambda: bench.correct_stone(stone, position=position, claimed_as=claim))

    def _picture(self, p: Progress) -> QIcon:
        """A square of the thumbnail; an empty one where there is none, so that all names begin in line."""
        name = (p.stone_id, p.photographs)
        if name not in self._pictures:
            whole = (
                self._thumbnails.picture(name, partial(self._bench.picture, p.stone))
                if p.photographs
                else None
            )
            if whole is None:
                return self._none
            self._pictures[name] = icon_of(square(whole, self._side))
        return self._pictures[name]

    def _forget(self) -> None:
        self._pictures.clear()

    def _thumbnail_ready(self, name: object) -> None:
        if isinstance(name, tuple) and isinstance(name[0], int):
            row = self.row_of(name[0])
            if row >= 0:
                self.dataChanged.emit(self.index(row, STONE), self.index(row, STONE))


class StoneFilter(QSortFilterProxyModel):
    """The stones that were found, are of one object, or in one state; and the chosen one, whatever it is.

    Parameters
    ----------
    model : StoneModel
    bench : Bench
    """

    def __init__(self, model: StoneModel, bench: Bench) -> None:
        super().__init__()
        self._stones = model
        self._bench = bench
        self._found: frozenset[int] | None = None
        self._stage: Stage | None = None
        self._object: int | None = None
        self._wanted: tuple[object, ...] = ()
        self.setSourceModel(model)

    def show_only(self, *, found: frozenset[int] | None, stage: Stage | None, object_id: int | None) -> None:
        """Show only what fits: numbers of stones, a state, an object; None fits all."""
        in_hand = 0 if self._bench.stone is None else self._bench.stone.id
        wanted = found, stage, object_id, in_hand
        if wanted != self._wanted:
            self._wanted = wanted
            self._found, self._stage, self._object = found, stage, object_id
            self.invalidate()

    def fits(self, p: Progress) -> bool:
        """Tell whether a stone is what is looked for."""
        return (
            (self._object is None or p.object_id == self._object)
            and (self._stage is None or p.stage is self._stage)
            and (self._found is None or p.stone_id in self._found)
        )

    def filterAcceptsRow(self, source_row: int, source_parent: QModelIndex) -> bool:  # noqa: N802, ARG002
        """Tell whether a stone is shown."""
        p = self._stones.rows[source_row]
        if self._bench.stone is not None and p.stone_id == self._bench.stone.id:
            return True  # it must not vanish under the hands of whoever works on it
        return self.fits(p)


def _tip(p: Progress) -> str:
    lines = [f"{p.position}: {p.stage}"]
    if p.left:
        lines.append(f"{p.left} likely candidates are left to judge, over all occasions")
    if p.contradictions:
        what = "contradiction" if p.contradictions == 1 else "contradictions"
        lines.append(f"{p.contradictions} {what} in its record (!): see Test record")
    if p.to_examine:
        lines.append("To examine: " + ", ".join(p.to_examine))
    lines.append(f"{p.photographs} photographs, {p.findings} findings")
    if p.signature is not None:
        lines.append(f"Signed by {p.signature.by}, {p.signature.at.astimezone():%Y-%m-%d %H:%M}")
    return "\n".join(lines)
