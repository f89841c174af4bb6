"""The camera in the window; a recording stands for it."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

pytest.importorskip("napari.qt", reason="needs napari and a Qt binding", exc_type=ImportError)

from PIL import Image
from qtpy.QtCore import Qt  # noqa: TID251
from qtpy.QtWidgets import QDockWidget, QMainWindow, QWidget  # noqa: TID251
from ruled import ruled

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.settings import read_settings
from setstone.annotate.panels.camera import CameraPanel
from setstone.capture.camera import Camera, CameraError, Source
from setstone.capture.open import open_photograph


def wait_for_the_picture(panel: CameraPanel, qtbot: Any) -> None:
    qtbot.waitUntil(lambda: panel.to_file.isEnabled(), timeout=20_000)
    qtbot.waitUntil(lambda: panel.picture is not None and "overexposed" in panel.picture.exposure.text())


def test_one_key_takes_the_photograph(
    book: Path, recording: str, open_window: Callable[..., Any], qtbot: Any
) -> None:
    from setstone.annotate.panels import commands

    window = open_window(book, show=True)
    panel = window.docks["Camera"].findChild(CameraPanel)
    commands.take_photograph(window.viewer)  # nothing is live yet: it only brings the panel to the front
    qtbot.waitUntil(panel.isVisible, timeout=10_000)
    panel.source.setCurrentText(recording)
    panel.run.click()
    wait_for_the_picture(panel, qtbot)
    assert panel.picture is not None
    assert panel.picture.size() == panel.picture.parentWidget().size()  # as large as the photograph
    assert "overexposed 0.0%" in panel.picture.exposure.text()
    assert panel.picture.focus.value() > 50
    panel.light.setCurrentText("blue")
    assert panel.blue.isVisibleTo(panel)
    panel.occasion.setCurrentText("after")
    panel.frames.setValue(4)
    with qtbot.waitSignal(window.bench.photographs_changed, timeout=30_000):
        commands.take_photograph(window.viewer)
    entry = window.bench.photographs[-1]
    assert (str(entry.lamp), entry.occasion, entry.format) == ("blue", "after", "OME-TIFF")
    qtbot.waitUntil(lambda: "Noise" in panel.result.text(), timeout=10_000)
    assert "blue" in panel.doubts.text()  # the recording is none in blue light
    panel.run.click()
    assert not panel.is_live
    assert panel.picture is None
    assert read_settings().camera == recording


def test_it_lets_go_when_hidden_and_goes_on_when_seen(
    book: Path, recording: str, open_window: Callable[..., Any], qtbot: Any
) -> None:
    window = open_window(book, show=True)
    panel = window.docks["Camera"].findChild(CameraPanel)
    window.show("Camera")
    panel.source.setCurrentText(recording)
    panel.start()
    wait_for_the_picture(panel, qtbot)
    for _ in range(4):  # the view left behind ends in its own thread meanwhile
        assert panel.picture is not None
        panel.picture.anew.emit()
        window.show("Photographs")
        qtbot.waitUntil(lambda: not panel.is_live, timeout=10_000)
        window.show("Camera")
        wait_for_the_picture(panel, qtbot)
    panel.stop()


def test_into_a_file_with_the_scale_of_the_setup(
    bench: Bench, recording: str, qtbot: Any, tmp_path: Path
) -> None:
    micrometer = tmp_path / "micrometer.png"
    Image.fromarray(ruled(11.0, 12.0, lines=40, size=600)[:500]).save(micrometer)
    setup = bench.opened.add_setup("60x")
    bench.opened.calibrate_setup(setup, [micrometer], division_um=10, by="Ada")
    panel = shown_panel(bench, qtbot)
    panel.source.setCurrentText(recording)
    panel.setup.setCurrentText("60x")
    panel.start()
    wait_for_the_picture(panel, qtbot)
    panel.take_to_file(panel._live(), tmp_path)
    qtbot.waitUntil(lambda: "Wrote" in panel.result.text(), timeout=20_000)
    panel.stop()
    (file,) = tmp_path.glob("white_*.ome.tif")
    assert open_photograph(file).um_per_px == pytest.approx(10 / 11, rel=1e-3)


def test_unplugged_and_plugged_in_again(recording: str, qtbot: Any) -> None:
    there = [False]

    def plug(name: str) -> Camera:
        if not there[0]:
            raise CameraError("There is no camera 0; plug it in, or give another number.")
        return Camera.open(name)

    panel = shown_panel(Bench("Ada"), qtbot, plug)
    panel.source.setCurrentText(recording)
    panel.start()
    qtbot.waitUntil(lambda: "plug it in" in panel.problem.text(), timeout=20_000)
    there[0] = True
    wait_for_the_picture(panel, qtbot)
    assert panel.problem.text() == ""
    assert not panel.shoot.isEnabled()  # no stone is chosen
    panel.hide()
    assert not panel.is_live


def test_a_control_the_driver_ignores_is_told(qtbot: Any) -> None:
    panel = shown_panel(Bench("Ada"), qtbot, lambda _name: Camera(Source("0", 0), Stubborn()))
    panel.start()
    wait_for_the_picture(panel, qtbot)
    assert list(panel.controls.fields) == ["exposure", "gain"]
    panel.controls.fields["exposure"].setValue(-7)
    panel.controls.fields["gain"].setValue(3)
    qtbot.waitUntil(lambda: "did not take gain = 3" in panel.problem.text(), timeout=10_000)
    assert panel.controls.fields["exposure"].value() == -7
    panel.stop()


def test_a_camera_that_hangs_does_not_freeze_the_window(qtbot: Any) -> None:
    def hang(_name: str) -> Camera:
        time.sleep(3)
        raise CameraError("Camera 0 gives no pictures; plug it in again.")

    panel = shown_panel(Bench("Ada"), qtbot, hang)
    begun = time.monotonic()
    panel.start()
    panel.stop()
    assert time.monotonic() - begun < 1


def test_the_picture_whole_and_pixel_for_pixel(recording: str, qtbot: Any) -> None:
    panel = shown_panel(Bench("Ada"), qtbot)
    panel.source.setCurrentText(recording)
    panel.start()
    wait_for_the_picture(panel, qtbot)
    assert panel.picture is not None
    for _ in range(2):
        qtbot.mouseClick(panel.picture.view, Qt.MouseButton.LeftButton)
        panel.picture.view.grab()
    assert not panel.picture.view.close_up
    panel.stop()


def shown_panel(bench: Bench, qtbot: Any, plug: Callable[[str], Camera] = Camera.open) -> CameraPanel:
    """The panel in a window of its own, beside a place for the picture."""
    main = QMainWindow()
    main.setCentralWidget(QWidget())
    main.resize(900, 600)
    panel = CameraPanel(bench, plug)
    dock = QDockWidget()
    dock.setWidget(panel)
    main.addDockWidget(Qt.DockWidgetArea.LeftDockWidgetArea, dock)
    qtbot.addWidget(main)
    main.show()
    panel.main = main  # kept as long as the panel
    return panel


class Stubborn:
    """A driver that takes an exposure and no gain."""

    def __init__(self) -> None:
        self.values = {cv2.CAP_PROP_EXPOSURE: -5.0, cv2.CAP_PROP_GAIN: 1.0}

    def isOpened(self) -> bool:  # noqa: N802
        return True

    def read(self) -> tuple[bool, Any]:
        time.sleep(0.01)
        return True, np.full((480, 640, 3), 120, np.uint8)

    def get(self, prop: int) -> float:
        return self.values.get(prop, -1.0)

    def set(self, prop: int, value: float) -> bool:
        if prop == cv2.CAP_PROP_EXPOSURE:
            self.values[prop] = value
        return True

    def release(self) -> None:
        pass
