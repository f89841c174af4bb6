"""Correcting the scale on the canvas: a line over the bar whose two ends are dragged."""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QObject, Signal

from setstone.annotate.bench.scaling import BarEnds
from setstone.annotate.panels.marks import MEASURED

if TYPE_CHECKING:
    import napari

#: Name of the layer.
BAR = "scale bar"
_Points = NDArray[np.float64]


class ScaleTool(QObject):
    """A line in a viewer, over a photograph.

    Parameters
    ----------
    viewer : napari.viewer.Viewer
    """

    #: An end was dragged.
    moved = Signal()

    def __init__(self, viewer: "napari.viewer.Viewer") -> None:
        super().__init__()
        self._viewer = viewer
        self._layer: Any = None

    def show(self, bar: BarEnds, over: Any) -> None:
        """Lay the line over a photograph's layer and let its ends be dragged."""
        self.put_away()
        ends = bar.ends[:, ::-1]
        length = float(np.hypot(*np.ptp(ends, axis=0)))
        self._layer = self._viewer.add_shapes(
            [ends],
            shape_type="line",
            name=BAR,
            edge_color=MEASURED,
            edge_width=max(1.0, length / 90),
            scale=over.scale,
            units=over.units,
            affine=over.affine,
        )
        self._layer.mode = "direct"
        self._layer.selected_data = {0}
        self._layer.events.data.connect(self._on_data)
        self._viewer.layers.selection.active = self._layer
        self._look_at(ends, over)

    @property
    def ends(self) -> _Points:
        """Both ends now, (2, 2) pixels x, y of the photograph."""
        return np.asarray(self._layer.data[0], float)[:, ::-1]

    def put_away(self) -> None:
        """Take the line off the picture."""
        if self._layer is not None and self._layer in self._viewer.layers:
            self._viewer.layers.remove(self._layer)
        self._layer = None

    def _on_data(self, _event: Any) -> None:
        if self._layer is not None and len(self._layer.data):
            self.moved.emit()

    def _look_at(self, ends: _Points, over: Any) -> None:
        """Bring the line into view, large."""
        world = np.array([over.data_to_world(end) for end in ends])[:, -2:]
        box = np.asarray(self._viewer.canvas.viewbox_size(self._viewer.layers), float)
        camera = self._viewer.scene.camera
        centre = world.mean(axis=0)
        camera.center = (0.0, float(centre[0]), float(centre[1]))
        extent = max(float(np.ptp(world, axis=0).max()) * 1.6, 1e-6)
        camera.zoom = float(box.min() / extent)
