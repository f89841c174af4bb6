"""The window: a napari viewer with the panels of one bench around its canvas."""

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple
from weakref import WeakKeyDictionary

import napari
from napari.plugins import menu_item_template
from napari.viewer import Viewer
from qtpy.QtCore import QEvent, QObject, QRect, Qt, QTimer
from qtpy.QtGui import QKeySequence, QShortcut
from qtpy.QtWidgets import QDockWidget, QLabel, QMainWindow, QTabWidget, QWidget

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.pixels import Pixels
from setstone.annotate.bench.settings import read_settings
from setstone.annotate.panels.bar import Bar
from setstone.annotate.panels.camera import CameraPanel
from setstone.annotate.panels.canvas import Canvas
from setstone.annotate.panels.compare import ComparePanel
from setstone.annotate.panels.dropping import Dropping
from setstone.annotate.panels.examination import ExaminationPanel
from setstone.annotate.panels.examining import Examining
from setstone.annotate.panels.hand_out import HandOutPanel
from setstone.annotate.panels.looks import FOCUS
from setstone.annotate.panels.object_facts import ObjectPanel
from setstone.annotate.panels.photographs import PhotographsPanel
from setstone.annotate.panels.review import ReviewPanel
from setstone.annotate.panels.saying import Saying
from setstone.annotate.panels.setups import SetupsPanel
from setstone.annotate.panels.stones import StonesPanel
from setstone.annotate.panels.test_record import TestRecordPanel
from setstone.annotate.panels.tools import Tools
from setstone.annotate.panels.versions import VersionsPanel
from setstone.annotate.panels.work import WorkPanel
from setstone.annotate.panels.working import Job, attempt


class Place(NamedTuple):
    """Where a panel stands.

    Panels of the same side and row are tabs of one another; rows follow one another from the top down.
    """

    title: str
    panel: Callable[["Window"], QWidget]
    side: str
    row: int


#: Least size of the window at its start, where the screen has room for it, in pixels.
_SIZE = (1560, 940)
#: Widths of the sides in pixels: both and a picture fit on a screen of 1366.
_WIDTHS = {"left": 300, "right": 380}
#: How often to look for what was done in another window, in milliseconds.
_LOOK_MS = 2000
_OF_NAPARI = ("layer list", "layer controls")


class Window(QObject):
    """Holds together what belongs to one viewer.

    Parameters
    ----------
    viewer : napari.viewer.Viewer
    by : str
        Who works here; as set in the settings when not given.
    """

    def __init__(self, viewer: Viewer, by: str = "") -> None:
        super().__init__()
        self.viewer = viewer
        self.bench = Bench(by or read_settings().by)
        self.canvas = Canvas(viewer, self.bench, Pixels())
        self.tools = Tools(self.bench, self.canvas)
        self.examining = Examining(self.bench)
        self.docks: dict[str, QDockWidget] = {}
        self._dropping = Dropping(self.bench, lambda files: self._docked("Photographs").widget().add(files))
        self._furnished = False
        self._looking = QTimer(self)
        self._looking.setInterval(_LOOK_MS)
        self._looking.timeout.connect(self._look)
        self.bench.book_changed.connect(self._name)
        self._name()

    def lay_out(self) -> None:
        """Show all panels, each at its place."""
        for place in PANELS:
            if place.title not in self.docks:
                self._dock(place)
        main = self.docks[PANELS[0].title].parent()
        for name in _OF_NAPARI:  # napari's menu Window brings them back
            main.findChild(QDockWidget, name).hide()
        # One above the other: all names can be read, however many panels there are.
        main.setTabPosition(Qt.DockWidgetArea.RightDockWidgetArea, QTabWidget.TabPosition.East)
        room = main.screen().availableGeometry()
        main.resize(*(min(r, max(n, s)) for r, n, s in zip(_pair(room), _pair(main), _SIZE, strict=True)))
        shared = QTimer(main)  # once Qt has laid out what is new
        shared.setSingleShot(True)
        shared.timeout.connect(self._share_room)
        shared.start(0)
        self.furnish(main)

    def _share_room(self) -> None:
        main = next(iter(self.docks.values())).parent()
        for side, width in _WIDTHS.items():
            docks = [self.docks[p.title] for p in PANELS if p.side == side]
            main.resizeDocks(docks[:1], [width], Qt.Orientation.Horizontal)
            if side == "left":
                main.resizeDocks(docks, [1] * len(docks), Qt.Orientation.Vertical)  # in equal parts

    def show(self, title: str) -> None:
        """Bring a panel to the front and give it the keyboard; it is docked where it is not yet."""
        dock = self._docked(title)
        dock.show()
        dock.raise_()
        first = dock.widget().focusProxy()
        for control in ([first] if first is not None else []) + dock.widget().findChildren(QWidget):
            if (
                control.isVisibleTo(dock)
                and control.isEnabled()
                and control.focusPolicy() & Qt.FocusPolicy.TabFocus
            ):
                control.setFocus(Qt.FocusReason.ShortcutFocusReason)
                break

    def to_the_picture(self) -> None:
        """Put all tools down and give the picture the keyboard."""
        self.canvas.look()
        if self.docks:
            next(iter(self.docks.values())).parent().centralWidget().setFocus()

    def close(self) -> None:
        """Stop all work and close the book; every step is in it already."""
        self._looking.stop()
        Job.stop_all(self.bench)
        self.canvas.rest()
        self.bench.close()
        _windows.pop(self.viewer, None)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802 Qt's name
        """Close with the window of napari."""
        if event.type() == QEvent.Type.Hide and not event.spontaneous():  # closed, not made small
            self.close()
        return super().eventFilter(watched, event)

    def _dock(self, place: Place) -> None:
        beside = [self.docks[p.title] for p in PANELS if p[2:] == place[2:] and p.title in self.docks]
        dock = self.viewer.window.add_dock_widget(
            place.panel(self),
            # By this name napari's menu Plugins finds the panel that is there, and makes no second one.
            name=menu_item_template.format("setstone", place.title),
            area=place.side,
            add_vertical_stretch=False,
        )
        dock.setWindowTitle(place.title)

        def name() -> None:
            dock.title.title.setText(place.title)

        name()
        dock.topLevelChanged.connect(name)  # napari has made its title anew
        if beside:
            dock.parent().tabifyDockWidget(beside[-1], dock)
            beside[0].raise_()
        self.keep(place.title, dock)

    def keep(self, title: str, dock: QDockWidget) -> None:
        """Take note of where a panel is docked, until napari's cross closes it for good."""
        self.docks[title] = dock
        dock.setStyleSheet(FOCUS)

        def forget() -> None:
            if self.docks.get(title) is dock:
                del self.docks[title]

        dock.destroyed.connect(forget)

    def _docked(self, title: str) -> QDockWidget:
        if title not in self.docks:
            self._dock(next(p for p in PANELS if p.title == title))
        return self.docks[title]

    def furnish(self, main: QWidget) -> None:
        """Give napari's window the bar and the keys, once."""
        if self._furnished or not isinstance(main, QMainWindow):
            return
        from setstone.annotate.panels import commands

        self._furnished = True
        main.addToolBar(Bar(self.bench, self.canvas, self.tools))
        place = QLabel()
        place.setToolTip("Where the mouse is, from the upper left corner of the photograph.")
        main.statusBar().addPermanentWidget(place)
        self.canvas.pointed.connect(place.setText)
        self.bench.said.connect(Saying(main.centralWidget()).say)
        main.installEventFilter(self)
        self._dropping.watch(main.centralWidget())
        for key, title, run in commands.bindings():
            shortcut = QShortcut(QKeySequence(key), main)
            shortcut.setWhatsThis(title)
            shortcut.activated.connect(lambda run=run: run(self.viewer))
        self._looking.start()

    def _look(self) -> None:
        attempt(self.bench, self.bench.look_for_changes)

    def _name(self) -> None:
        """Show the name of the book."""
        book = self.bench.book
        words = ["setstone"] if book is None else [book.folder.name, "setstone"]
        if self.bench.elsewhere:
            words.insert(1, f"open in another window too: {self.bench.elsewhere}")
        self.viewer.title = " – ".join(words)


#: All panels, in the order they are worked through.
PANELS = (
    Place("Stones", lambda w: StonesPanel(w.bench, w.canvas.pixels), "left", 0),
    Place("Photographs", lambda w: PhotographsPanel(w.bench, w.canvas.pixels, w.canvas), "left", 1),
    Place("Camera", lambda w: CameraPanel(w.bench), "left", 1),
    Place("Setups", lambda w: SetupsPanel(w.bench), "left", 1),
    Place("Examination", lambda w: ExaminationPanel(w.bench, w.tools, w.examining), "right", 0),
    Place("Review", lambda w: ReviewPanel(w.bench, w.tools), "right", 0),
    Place("Test record", lambda w: TestRecordPanel(w.bench), "right", 0),
    Place("Object", lambda w: ObjectPanel(w.bench), "right", 0),
    Place("Work", lambda w: WorkPanel(w.bench), "right", 0),
    Place("Compare", lambda w: ComparePanel(w.bench), "right", 0),
    Place("Versions", lambda w: VersionsPanel(w.bench), "right", 0),
    Place("Hand-out", lambda w: HandOutPanel(w.bench), "right", 0),
)


def _pair(of: QRect | QWidget) -> tuple[int, int]:
    return of.width(), of.height()


_windows: "WeakKeyDictionary[Viewer, Window]" = WeakKeyDictionary()


def window_of(viewer: Viewer) -> Window:
    """Find what belongs to a viewer; it is made where there is nothing yet."""
    viewer = getattr(viewer, "__wrapped__", viewer)  # napari hands plugins a proxy
    if viewer not in _windows:
        _windows[viewer] = Window(viewer)
    return _windows[viewer]


def furnish(viewer: Viewer, book: Path | str | None, by: str, *, read_only: bool = False) -> Window:
    """Give a viewer all panels, and open a book in them.

    Raises
    ------
    BookError
        When the book cannot be opened.
    """
    window = _windows[viewer] = Window(viewer, by)
    window.lay_out()
    if book is not None:
        window.bench.open(book, read_only=read_only)
    return window


def run(book: Path | str | None, by: str, *, read_only: bool = False) -> None:
    """Open the window and stay until it is closed.

    Parameters
    ----------
    book : Path or str or None
        Its folder or its address on a database server; the one opened last when not given.
    by : str
        Who works here; as it was set, or the login name, when empty.
    read_only : bool
        Whether nothing shall be written in it.

    Raises
    ------
    BookError
        When the book cannot be opened.
    """
    window = furnish(Viewer(show_welcome_screen=False), book, by, read_only=read_only)
    recent = read_settings().recent_books
    if book is None and recent:
        attempt(window.bench, lambda: window.bench.open(recent[0], read_only=read_only))
    napari.run()


def stones_panel() -> QWidget:
    """Panel of the object and its stones, for napari's menu Plugins."""
    return _panel("Stones")


def photographs_panel() -> QWidget:
    """Panel of the photographs, for napari's menu Plugins."""
    return _panel("Photographs")


def camera_panel() -> QWidget:
    """Panel of the camera, for napari's menu Plugins."""
    return _panel("Camera")


def setups_panel() -> QWidget:
    """Panel of the optical setups and their calibrations, for napari's menu Plugins."""
    return _panel("Setups")


def examination_panel() -> QWidget:
    """Panel of the examination, for napari's menu Plugins."""
    return _panel("Examination")


def review_panel() -> QWidget:
    """Panel of the review, for napari's menu Plugins."""
    return _panel("Review")


def test_record_panel() -> QWidget:
    """Panel of the test record, for napari's menu Plugins."""
    return _panel("Test record")


def object_panel() -> QWidget:
    """Panel of the object and its settings, for napari's menu Plugins."""
    return _panel("Object")


def work_panel() -> QWidget:
    """Panel of the work on a stone, for napari's menu Plugins."""
    return _panel("Work")


def compare_panel() -> QWidget:
    """Panel of a stone before and after the work, for napari's menu Plugins."""
    return _panel("Compare")


def versions_panel() -> QWidget:
    """Panel of the versions of a record, for napari's menu Plugins."""
    return _panel("Versions")


def hand_out_panel() -> QWidget:
    """Panel of the hand-out, for napari's menu Plugins."""
    return _panel("Hand-out")


def _panel(title: str) -> QWidget:
    viewer = napari.current_viewer()
    if viewer is None:
        raise RuntimeError("a panel belongs to a window of napari; open one first")
    window = window_of(viewer)
    panel = next(p for p in PANELS if p.title == title).panel(window)

    def keep() -> None:
        dock = panel.parent()
        if isinstance(dock, QDockWidget):
            window.keep(title, dock)
        window.furnish(panel.window())

    docked = QTimer(panel)  # napari docks it as soon as it has it
    docked.setSingleShot(True)
    docked.timeout.connect(keep)
    docked.start(0)
    return panel
