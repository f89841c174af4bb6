"""Files dropped on the picture: photographs go to the chosen stone, the folder of a book is opened."""

from collections.abc import Callable, Sequence
from pathlib import Path

from qtpy.QtCore import QEvent, QMimeData, QObject
from qtpy.QtWidgets import QWidget

from setstone.annotate.bench.bench import Bench
from setstone.annotate.panels.working import attempt
from setstone.record.place import DATABASE

_EVENTS = (QEvent.Type.DragEnter, QEvent.Type.DragMove, QEvent.Type.Drop)


class Dropping(QObject):
    """Takes files that are dropped on a widget, in the place of what the widget would do with them.

    Parameters
    ----------
    bench : Bench
    add : callable
        What becomes of photographs.
    """

    def __init__(self, bench: Bench, add: Callable[[Sequence[Path]], None]) -> None:
        super().__init__()
        self._bench = bench
        self._add = add

    def watch(self, widget: QWidget) -> None:
        """Take what is dropped on a widget and on all inside it."""
        for inside in (widget, *widget.findChildren(QWidget)):
            if inside.acceptDrops():
                inside.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802, ARG002 Qt's name
        """Take files; all else goes its way."""
        if event.type() not in _EVENTS:
            return False
        files = dropped_files(event.mimeData())
        if files:
            event.acceptProposedAction()
            if event.type() == QEvent.Type.Drop:
                attempt(self._bench, lambda: self._take(files))
        return bool(files)

    def _take(self, files: Sequence[Path]) -> None:
        if len(files) == 1 and (files[0] / DATABASE).is_file():
            self._bench.open(files[0])
            return
        self._add(files)


def dropped_files(data: QMimeData) -> list[Path]:
    """Files among what is dragged."""
    return [Path(url.toLocalFile()) for url in data.urls() if url.isLocalFile()]
