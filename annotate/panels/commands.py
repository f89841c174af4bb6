"""What the keys and napari's command palette do; the keys stand in napari.yaml."""

from collections.abc import Callable, Iterator
from importlib import import_module
from importlib.resources import files

from napari.viewer import Viewer
from npe2 import PluginManifest

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.review import Review
from setstone.annotate.panels.camera import CameraPanel
from setstone.annotate.panels.stones import StonesPanel
from setstone.annotate.panels.window import Window, window_of
from setstone.annotate.panels.working import attempt
from setstone.capture.camera import CameraError
from setstone.record.errors import BookError

#: Candidates appear or vanish by so much of a score at each key press.
_THRESHOLD_STEP = 0.05


def bindings() -> Iterator[tuple[str, str, Callable[[Viewer], None]]]:
    """Read the keys from the manifest: key, title, and what is called with the viewer."""
    contributions = PluginManifest.from_file(str(files("setstone.annotate") / "napari.yaml")).contributions
    known = {c.id: c for c in contributions.commands}
    for binding in contributions.keybindings:
        command = known[binding.command]
        module, name = command.python_name.split(":")
        yield binding.key, command.title, getattr(import_module(module), name)


def lay_out(viewer: Viewer) -> None:
    """Lay all panels out around the canvas."""
    _on_window(viewer, lambda window: window.lay_out())


def accept(viewer: Viewer) -> None:
    """Accept the candidate looked at."""
    _on_review(viewer, lambda review: review.accept())


def reject(viewer: Viewer) -> None:
    """Reject the candidate looked at."""
    _on_review(viewer, lambda review: review.reject())


def reopen(viewer: Viewer) -> None:
    """Take the decision on the candidate looked at back."""
    _on_review(viewer, lambda review: review.reopen())


def change_kind(viewer: Viewer) -> None:
    """Call it the next likely kind."""
    _on_review(viewer, lambda review: review.change_kind(review.next_kind()))


def next_candidate(viewer: Viewer) -> None:
    """Look at the next candidate."""
    _on_review(viewer, lambda review: review.next())


def previous_candidate(viewer: Viewer) -> None:
    """Look at the candidate before."""
    _on_review(viewer, lambda review: review.previous())


def more_candidates(viewer: Viewer) -> None:
    """Show weaker candidates too."""
    _on_review(viewer, lambda review: _shift(review, -_THRESHOLD_STEP))


def fewer_candidates(viewer: Viewer) -> None:
    """Show only stronger candidates."""
    _on_review(viewer, lambda review: _shift(review, _THRESHOLD_STEP))


def draw_line(viewer: Viewer) -> None:
    """Draw a line the program missed."""
    _on_window(viewer, lambda window: window.tools.draw_line())


def draw_spot(viewer: Viewer) -> None:
    """Draw a spot the program missed."""
    _on_window(viewer, lambda window: window.tools.draw_spot())


def edit_mark(viewer: Viewer) -> None:
    """Drag the points of the candidate looked at."""
    _on_window(viewer, lambda window: window.tools.edit_mark())


def edit_outline(viewer: Viewer) -> None:
    """Drag the outline."""
    _on_window(viewer, lambda window: window.tools.edit_outline())


def join(viewer: Viewer) -> None:
    """Join the line looked at with the one under the mouse."""
    _on_window(viewer, lambda window: window.tools.join())


def split(viewer: Viewer) -> None:
    """Split the line looked at under the mouse."""
    _on_window(viewer, lambda window: window.tools.split())


def measure(viewer: Viewer) -> None:
    """Measure a distance."""
    _on_window(viewer, lambda window: window.tools.measure())


def look(viewer: Viewer) -> None:
    """Put all tools down and go back to the picture."""
    _on_window(viewer, lambda window: window.to_the_picture())


def whole(viewer: Viewer) -> None:
    """Show the whole photograph."""
    _on_window(viewer, lambda window: window.canvas.whole())


def next_view(viewer: Viewer) -> None:
    """Show both lights in the next way."""
    _on_window(viewer, lambda window: window.canvas.next_view())


def marks(viewer: Viewer) -> None:
    """Show or hide all marks."""

    def turn(window: Window) -> None:
        window.canvas.marks_seen = not window.canvas.marks_seen

    _on_window(viewer, turn)


def next_stone(viewer: Viewer) -> None:
    """Choose the next stone."""
    _on_window(viewer, lambda window: _list_of(window).choose_by(1))


def previous_stone(viewer: Viewer) -> None:
    """Choose the stone before."""
    _on_window(viewer, lambda window: _list_of(window).choose_by(-1))


def _list_of(window: Window) -> StonesPanel:
    panel: StonesPanel = window.docks["Stones"].findChild(StonesPanel)
    return panel


def examine(viewer: Viewer) -> None:
    """Examine the chosen stone."""
    _on_window(viewer, lambda window: window.examining.this_stone())


def take_photograph(viewer: Viewer) -> None:
    """Take the photograph the camera shows."""
    _on_window(viewer, lambda window: _camera(window).take())


def undo(viewer: Viewer) -> None:
    """Take the last step back."""
    _on_window(viewer, lambda window: window.bench.undo())


def redo(viewer: Viewer) -> None:
    """Do the step again that was taken back."""
    _on_window(viewer, lambda window: window.bench.redo())


def show_stones(viewer: Viewer) -> None:
    """Go to the panel of the stones."""
    _on_window(viewer, lambda window: window.show("Stones"))


def search_stones(viewer: Viewer) -> None:
    """Go to the search among all stones."""

    def go(window: Window) -> None:
        window.show("Stones")
        window.docks["Stones"].findChild(StonesPanel).text.setFocus()

    _on_window(viewer, go)


def show_photographs(viewer: Viewer) -> None:
    """Go to the panel of the photographs."""
    _on_window(viewer, lambda window: window.show("Photographs"))


def show_examination(viewer: Viewer) -> None:
    """Go to the panel of the examination."""
    _on_window(viewer, lambda window: window.show("Examination"))


def show_review(viewer: Viewer) -> None:
    """Go to the panel of the review."""
    _on_window(viewer, lambda window: window.show("Review"))


def show_test_record(viewer: Viewer) -> None:
    """Go to the panel of the test record."""
    _on_window(viewer, lambda window: window.show("Test record"))


def show_object(viewer: Viewer) -> None:
    """Go to the panel of the object."""
    _on_window(viewer, lambda window: window.show("Object"))


def show_work(viewer: Viewer) -> None:
    """Go to the panel of the work."""
    _on_window(viewer, lambda window: window.show("Work"))


def show_compare(viewer: Viewer) -> None:
    """Go to the panel of before and after."""
    _on_window(viewer, lambda window: window.show("Compare"))


def show_versions(viewer: Viewer) -> None:
    """Go to the panel of the versions."""
    _on_window(viewer, lambda window: window.show("Versions"))


def show_setups(viewer: Viewer) -> None:
    """Go to the panel of the optical setups."""
    _on_window(viewer, lambda window: window.show("Setups"))


def show_camera(viewer: Viewer) -> None:
    """Go to the panel of the camera."""
    _on_window(viewer, lambda window: window.show("Camera"))


def show_hand_out(viewer: Viewer) -> None:
    """Go to the panel of the hand-out."""
    _on_window(viewer, lambda window: window.show("Hand-out"))


def _on_window(viewer: Viewer, act: Callable[[Window], object]) -> None:
    window = window_of(viewer)
    attempt(window.bench, lambda: act(window))


def _on_review(viewer: Viewer, act: Callable[[Review], object]) -> None:
    _on_window(viewer, lambda window: act(_review(window.bench)))


def _camera(window: Window) -> CameraPanel:
    dock = window.docks.get("Camera")
    panel = None if dock is None else dock.findChild(CameraPanel)
    if panel is None or not panel.is_live:
        window.show("Camera")
        raise CameraError("There is no picture to take; start the camera in the panel Camera first.")
    return panel


def _review(bench: Bench) -> Review:
    if bench.review is None:
        raise BookError("There is nothing to review yet; examine the stone first.")
    return bench.review


def _shift(review: Review, by: float) -> None:
    review.threshold = round(review.threshold + by, 2)
