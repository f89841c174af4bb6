"""OME-TIFF as written: valid for ome-types, read again by tifffile, by Pillow, and by ourselves."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image

from setstone.capture.errors import PhotographError
from setstone.capture.ome_writing import Circumstances, Source, ome_xml, write_ome
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp

FACTS = Circumstances(
    lamp=Lamp.BLUE,
    um_per_px=0.847458,
    exposure_s=0.04,
    taken=datetime(2026, 5, 4, 12, 30, tzinfo=UTC),
    setup="60x & ring",
    objective="1x",
    magnification=60,
    numerical_aperture=0.08,
    camera="20 MP",
    made_by="average of 8 frames",
    parameters={"noise before": "3.1", "noise after": "1.1"},
    sources=(Source("lid-3_1.png", "ab" * 32),),
)


@pytest.fixture(params=[np.uint8, np.uint16])
def pixels(request: pytest.FixtureRequest) -> NDArray[np.uint8]:
    top = np.iinfo(request.param).max
    return np.random.default_rng(1).integers(0, top, (60, 80, 3)).astype(request.param)


def test_valid_by_the_schema(pixels: NDArray[np.uint8]) -> None:
    ome_types = pytest.importorskip("ome_types")
    for facts in (FACTS, Circumstances()):
        ome = ome_types.from_xml(
            ome_xml(pixels, facts, name="a.ome.tif", software="setstone 1"), validate=True
        )
    ome = ome_types.from_xml(ome_xml(pixels, FACTS, name="a.ome.tif", software="setstone 1"))
    plane = ome.images[0].pixels
    assert (plane.physical_size_x, plane.physical_size_x_unit.value) == (0.847458, "µm")
    assert plane.planes[0].exposure_time == 0.04
    assert ome.instruments[0].objectives[0].lens_na == 0.08
    assert ome.instruments[0].light_emitting_diodes[0].model == "blue light"
    assert ome.images[0].acquisition_date == datetime(2026, 5, 4, 12, 30, tzinfo=UTC)
    assert ome.creator == "setstone 1"


def test_read_again(pixels: NDArray[np.uint8], tmp_path: Path) -> None:
    path = write_ome(tmp_path / "lid-3.ome.tif", pixels, FACTS, software="setstone 1")
    with tifffile.TiffFile(path) as tiff:
        assert tiff.is_ome
        assert tiff.ome_metadata is not None
        series = tiff.series[0]
        assert (series.axes, series.shape) == ("YXS", pixels.shape)
        assert np.array_equal(series.asarray(), pixels)
        page = tiff.pages.first
        # Handbook example: 1.18 px per µm are 11800 px per cm, ResolutionUnit 3.
        across = page.tags["XResolution"].value
        assert across[0] / across[1] == pytest.approx(11800, rel=1e-5)
        assert page.tags["ResolutionUnit"].value == 3
        assert page.software == "setstone 1"
    photograph = open_photograph(path)
    assert np.array_equal(photograph.pixels, pixels)
    assert photograph.um_per_px == pytest.approx(0.847458)
    assert photograph.taken == FACTS.taken
    assert (photograph.format, photograph.lamp_hint, photograph.magnification) == ("OME-TIFF", Lamp.BLUE, 60)
    assert photograph.notes == (
        "Made as average of 8 frames (noise before 3.1, noise after 1.1) from lid-3_1.png (abababababab).",
    )
    if pixels.dtype == np.uint8:
        with Image.open(path) as image:
            assert np.array_equal(np.asarray(image), pixels)


def test_nothing_is_written_over(tmp_path: Path) -> None:
    pixels = np.zeros((10, 10, 3), np.uint8)
    path = tmp_path / "a.ome.tif"
    path.write_bytes(b"mine")
    with pytest.raises(PhotographError, match="already"):
        write_ome(path, pixels, Circumstances(), software="setstone")
    assert path.read_bytes() == b"mine"
    assert [p.name for p in tmp_path.iterdir()] == ["a.ome.tif"]
    with pytest.raises(PhotographError, match="cannot be written"):
        write_ome(tmp_path / "no" / "a.ome.tif", pixels, Circumstances(), software="setstone")


@pytest.mark.parametrize("name", ["\udcff.ome.tif", "a\x01b.ome.tif"])
def test_names_that_xml_may_not_hold(name: str, tmp_path: Path) -> None:
    pixels = np.zeros((10, 10, 3), np.uint8)
    path = write_ome(tmp_path / name, pixels, Circumstances(um_per_px=0.8), software="setstone")
    found = open_photograph(path)
    assert (found.format, found.um_per_px) == ("OME-TIFF", 0.8)
    with pytest.raises(PhotographError, match=r"ends in '\.ome\.tif'"):
        write_ome(tmp_path / "a.jpg", pixels, Circumstances(), software="setstone")


def test_another_reader_sees_the_scale(tmp_path: Path) -> None:
    """BioIO, a general reader of microscopes' files, takes size and axes of the pixels from the OME description."""
    bioio = pytest.importorskip("bioio", reason="needs bioio (pip install setstone[dev])")
    reader = pytest.importorskip("bioio_ome_tiff", reason="needs bioio-ome-tiff").Reader
    pixels = np.random.default_rng(1).integers(0, 65535, (40, 60, 3)).astype(np.uint16)
    path = write_ome(tmp_path / "a.ome.tif", pixels, Circumstances(um_per_px=0.847458), software="setstone 1")
    image = bioio.BioImage(path, reader=reader)
    assert pytest.approx((0.847458, 0.847458)) == (image.physical_pixel_sizes.X, image.physical_pixel_sizes.Y)
    assert (image.dims.X, image.dims.Y) == (60, 40)
    assert np.array_equal(np.squeeze(image.get_image_data("YXS")), pixels)
