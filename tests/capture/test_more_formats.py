"""HEIC, camera raw, and the resolution files state; each against the library that wrote the file."""

import builtins
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from setstone.capture.errors import PhotographError
from setstone.capture.open import open_photograph

SMOOTH = np.stack(np.meshgrid(np.arange(96), np.arange(64)), axis=-1).astype(np.uint8)
PIXELS = np.concatenate([SMOOTH + 60, SMOOTH[..., :1] + 90], axis=2)


def test_heic(tmp_path: Path) -> None:
    heif = pytest.importorskip("pillow_heif")
    image = heif.from_pillow(Image.fromarray(PIXELS))
    image.save(tmp_path / "lid-3_white.heic", quality=95)
    found = open_photograph(tmp_path / "lid-3_white.heic")
    assert (found.format, found.bit_depth) == ("HEIC", 8)
    assert np.abs(found.pixels.astype(int) - PIXELS).mean() < 3
    (tmp_path / "cut.heic").write_bytes((tmp_path / "lid-3_white.heic").read_bytes()[:300])
    with pytest.raises(PhotographError, match="damaged or cut short"):
        open_photograph(tmp_path / "cut.heic")


def dng(path: Path) -> None:
    """A small linear DNG (Adobe DNG 1.4) of a grey ramp, 16 bits."""
    ramp = np.repeat(np.linspace(2000, 50000, 128)[None, :, None], 96, axis=0).repeat(3, axis=2)
    identity = [1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1]
    tifffile.imwrite(
        path,
        ramp.astype(np.uint16),
        photometric=34892,
        planarconfig="contig",
        metadata=None,
        extratags=[
            (50706, 1, 4, bytes([1, 4, 0, 0]), True),
            (50708, 2, 0, "setstone test", True),
            (50721, 10, 9, identity, True),
            (50728, 5, 3, [1, 1, 1, 1, 1, 1], True),
            (50778, 3, 1, 21, True),
        ],
    )


def test_raw(tmp_path: Path) -> None:
    pytest.importorskip("rawpy")
    try:
        dng(tmp_path / "lid-3.dng")
    except (ValueError, TypeError):
        pytest.skip("this tifffile does not write DNG")
    found = open_photograph(tmp_path / "lid-3.dng")
    assert (found.format, found.bit_depth) == ("camera raw", 16)
    row = found.pixels[48, 8:-8, 1].astype(int)
    assert (np.diff(row) >= 0).all()
    assert row[-1] > 2 * row[0]
    (tmp_path / "none.nef").write_bytes(b"II*\0nothing")
    with pytest.raises(PhotographError, match="raw file of a kind not known"):
        open_photograph(tmp_path / "none.nef")


@pytest.mark.parametrize(("module", "name"), [("pillow_heif", "a.heic"), ("rawpy", "a.dng")])
def test_what_is_not_installed(
    module: str, name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def without(wanted: str, *rest: Any) -> Any:
        if wanted == module:
            raise ImportError
        return real(wanted, *rest)

    (tmp_path / name).write_bytes(b"\0\0\0\x18ftypheic" + bytes(100))
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(PhotographError, match="pip install"):
        open_photograph(tmp_path / name)


@pytest.mark.parametrize("name", ["a.jpg", "a.png"])
@pytest.mark.parametrize(
    ("dpi", "um"), [(29972.0, 0.847458), (72, None), (96, None), (300, None), (1200, None), (0, None)]
)
def test_resolution_as_stated(name: str, dpi: float, um: float | None, tmp_path: Path) -> None:
    """Handbook example: 0.847458 µm are 29972 pixels per inch, 1,180,000 per metre."""
    Image.fromarray(PIXELS).save(tmp_path / name, dpi=(dpi, dpi))
    found = open_photograph(tmp_path / name).um_per_px
    assert found == (None if um is None else pytest.approx(um, rel=1e-4))
