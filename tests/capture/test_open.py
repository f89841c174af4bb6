"""Photographs written by other libraries (Pillow, OpenCV, tifffile) come back as they were."""

import hashlib
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, TiffImagePlugin

from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp

ColourArray = NDArray[np.uint8]
TAKEN = datetime(2024, 3, 1, 14, 5, 9, tzinfo=timezone(timedelta(hours=1)))


@pytest.fixture(scope="module")
def picture() -> ColourArray:
    """A smooth picture of 40 × 60 pixels, no two corners alike."""
    rng = np.random.default_rng(7)
    coarse = rng.integers(0, 256, (5, 7, 3), np.uint8)
    return np.asarray(cv2.resize(coarse, (60, 40), interpolation=cv2.INTER_LINEAR), np.uint8)


@pytest.fixture(scope="module")
def deep(picture: ColourArray) -> NDArray[np.uint16]:
    """The same in 16 bits, with low bits that an 8-bit detour would lose."""
    noise = np.random.default_rng(8).integers(0, 256, picture.shape)
    return (picture.astype(np.uint16) * 256 + noise).astype(np.uint16)


def test_jpeg_is_decoded_as_pillow_does(tmp_path: Path, picture: ColourArray) -> None:
    path = tmp_path / "lid-1_white.jpg"
    Image.fromarray(picture).save(path, quality=90)
    photograph = open_photograph(path)
    assert photograph.format == "JPEG"
    assert (photograph.bit_depth, photograph.colour, photograph.notes) == (8, True, ())
    np.testing.assert_array_equal(photograph.pixels, np.asarray(Image.open(path)))


def test_jpeg_differs_from_another_decoder_by_rounding_only(tmp_path: Path, picture: ColourArray) -> None:
    path = tmp_path / "a.jpg"
    Image.fromarray(picture).save(path, quality=95, subsampling=0)
    other = np.asarray(cv2.imread(str(path)), int)[..., ::-1]
    assert np.abs(open_photograph(path).pixels - other).max() <= 2


def test_what_is_known_of_the_file(tmp_path: Path, picture: ColourArray) -> None:
    path = tmp_path / "lid-2_blue.png"
    Image.fromarray(picture).save(path)
    photograph = open_photograph(path)
    assert photograph.name == "lid-2_blue.png"
    assert photograph.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert photograph.size_bytes == path.stat().st_size
    assert photograph.lamp_hint is Lamp.BLUE
    assert photograph.pixels.flags.writeable
    assert photograph.pixels.flags.c_contiguous


@pytest.mark.parametrize("mode", ["L", "LA", "RGB", "RGBA", "P", "1"])
def test_png_modes(tmp_path: Path, picture: ColourArray, mode: str) -> None:
    path = tmp_path / "a.png"
    image = Image.fromarray(picture).convert(mode)
    image.save(path)
    photograph = open_photograph(path)
    np.testing.assert_array_equal(photograph.pixels, np.asarray(image.convert("RGB")))
    assert photograph.colour is (mode in ("RGB", "RGBA", "P"))


def test_png_of_16_bits_keeps_them_all(tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    path = tmp_path / "a.png"
    cv2.imwrite(str(path), deep[..., ::-1])
    photograph = open_photograph(path)
    assert photograph.bit_depth == 16
    np.testing.assert_array_equal(photograph.pixels, deep)


def test_grey_of_16_bits_is_repeated(tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    for path in (tmp_path / "a.png", tmp_path / "a.tif"):
        cv2.imwrite(str(path), deep[..., 0])
        photograph = open_photograph(path)
        assert not photograph.colour
        np.testing.assert_array_equal(photograph.pixels, np.stack([deep[..., 0]] * 3, axis=-1))


def test_transparency_is_dropped_and_noted(tmp_path: Path, picture: ColourArray) -> None:
    alpha = np.full(picture.shape[:2], 255, np.uint8)
    alpha[:5] = 0
    for path in (tmp_path / "a.png", tmp_path / "a.tif"):
        Image.fromarray(np.dstack([picture, alpha])).save(path)
        photograph = open_photograph(path)
        np.testing.assert_array_equal(photograph.pixels, picture)
        assert "transparent" in photograph.notes[0]


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize(
    "how",
    [
        {},
        {"compression": "zlib", "predictor": True},
        {"compression": "lzw"},
        {"compression": "packbits", "rowsperstrip": 7},
        {"compression": "zstd"},
        {"tile": (16, 16), "compression": "zlib"},
        {"bigtiff": True},
        {"byteorder": ">"},
    ],
)
def test_tiff(
    tmp_path: Path, picture: ColourArray, deep: NDArray[np.uint16], bits: int, how: dict[str, object]
) -> None:
    pixels = picture if bits == 8 else deep
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, pixels, photometric="rgb", **how)  # type: ignore[arg-type]
    photograph = open_photograph(path)
    assert (photograph.format, photograph.bit_depth) == ("TIFF", bits)
    assert photograph.pixels.dtype.isnative
    np.testing.assert_array_equal(photograph.pixels, pixels)


def test_tiff_with_colours_in_planes(tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, np.moveaxis(deep, 2, 0), photometric="rgb", planarconfig="separate")
    np.testing.assert_array_equal(open_photograph(path).pixels, deep)


def test_tiff_with_palette_and_with_white_as_zero(tmp_path: Path, picture: ColourArray) -> None:
    indexed = Image.fromarray(picture).quantize(32)
    indexed.save(tmp_path / "palette.tif")
    np.testing.assert_array_equal(
        open_photograph(tmp_path / "palette.tif").pixels, np.asarray(indexed.convert("RGB"))
    )
    tifffile.imwrite(tmp_path / "negative.tif", 255 - picture[..., 0], photometric="miniswhite")
    np.testing.assert_array_equal(open_photograph(tmp_path / "negative.tif").pixels[..., 0], picture[..., 0])


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_pixels_come_upright(tmp_path: Path, picture: ColourArray, suffix: str, orientation: int) -> None:
    """Against Pillow's ImageOps.exif_transpose."""
    exif = Image.Exif()
    exif[274] = orientation
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(picture).save(path, exif=exif)
    expected = np.asarray(ImageOps.exif_transpose(Image.open(path)))
    np.testing.assert_array_equal(open_photograph(path).pixels, expected)


@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_time_of_taking(tmp_path: Path, picture: ColourArray, suffix: str) -> None:
    exif = Image.Exif()
    exif[0x8769] = {36867: "2024:03:01 14:05:09", 36881: "+01:00"}
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(picture).save(path, exif=exif)
    assert open_photograph(path).taken == TAKEN


def test_time_of_taking_in_tiff(tmp_path: Path, picture: ColourArray) -> None:
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[34665] = {36867: "2024:03:01 14:05:09", 36881: "+01:00"}
    tags[306] = "2024:04:01 00:00:00"  # when the file was last changed
    Image.fromarray(picture).save(tmp_path / "a.tif", tiffinfo=tags)
    assert open_photograph(tmp_path / "a.tif").taken == TAKEN


def test_time_from_tiff_alone_has_no_zone(tmp_path: Path, picture: ColourArray) -> None:
    tifffile.imwrite(tmp_path / "a.tif", picture, photometric="rgb", datetime="2024:03:01 14:05:09")
    taken = open_photograph(tmp_path / "a.tif").taken
    assert taken is not None
    assert taken.isoformat() == "2024-03-01T14:05:09"


@pytest.mark.parametrize(
    ("per_unit", "unit", "um_per_px"),
    [
        (5000.0, "CENTIMETER", 2.0),
        (25400 / 4.0, "INCH", 4.0),
        (72.0, "INCH", None),
        (96.0, "INCH", None),
        (300.0, "INCH", None),
        (1200.0, "INCH", None),
        (118.11, "CENTIMETER", None),
        (5000.0, "NONE", None),
    ],
)
def test_resolution_of_tiff(
    tmp_path: Path, picture: ColourArray, per_unit: float, unit: str, um_per_px: float | None
) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, picture, photometric="rgb", resolution=(per_unit, per_unit), resolutionunit=unit)
    assert open_photograph(path).um_per_px == (um_per_px and pytest.approx(um_per_px, rel=1e-6))


def test_oblong_pixels_have_no_scale(tmp_path: Path, picture: ColourArray) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, picture, photometric="rgb", resolution=(5000, 6000), resolutionunit="CENTIMETER")
    assert open_photograph(path).um_per_px is None


def test_ome_tiff_written_by_tifffile(tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    path = tmp_path / "lid-3_white.ome.tif"
    tifffile.imwrite(
        path,
        deep,
        ome=True,
        photometric="rgb",
        metadata={
            "axes": "YXS",
            "PhysicalSizeX": 0.0024,
            "PhysicalSizeXUnit": "mm",
            "PhysicalSizeY": 2.4,
            "PhysicalSizeYUnit": "µm",
            "AcquisitionDate": "2024-03-01T13:05:09Z",
        },
    )
    photograph = open_photograph(path)
    assert photograph.format == "OME-TIFF"
    assert photograph.um_per_px == pytest.approx(2.4)
    assert photograph.taken == datetime(2024, 3, 1, 13, 5, 9, tzinfo=UTC)
    np.testing.assert_array_equal(photograph.pixels, deep)


def test_damaged_ome_description_is_noted(tmp_path: Path, picture: ColourArray) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, picture, photometric="rgb", description="<OME><Image></OME>", metadata=None)
    photograph = open_photograph(path)
    assert photograph.format == "TIFF"
    assert "OME" in photograph.notes[0]


def test_unused_bits_are_noted(tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    path = tmp_path / "a.ome.tif"
    metadata = {"axes": "YXS", "SignificantBits": 12}
    tifffile.imwrite(path, deep >> 4, ome=True, photometric="rgb", metadata=metadata)
    assert open_photograph(path).notes == ("Only 12 of 16 bits are used, so the picture looks dark.",)


def test_preview_beside_the_picture_is_passed_over(tmp_path: Path, picture: ColourArray) -> None:
    path = tmp_path / "a.tif"
    with tifffile.TiffWriter(path) as writer:
        writer.write(picture[::4, ::4], photometric="rgb", subfiletype=1)
        writer.write(picture, photometric="rgb")
        writer.write(picture[::4, ::4], photometric="rgb")
    photograph = open_photograph(path)
    np.testing.assert_array_equal(photograph.pixels, picture)
    assert "Previews" in photograph.notes[0]


@pytest.mark.parametrize(("kind", "suffix"), [("PNG", ".jpg"), ("JPEG", ".tif"), ("TIFF", "")])
def test_misleading_name_is_noted(tmp_path: Path, picture: ColourArray, kind: str, suffix: str) -> None:
    path = tmp_path / f"stone{suffix}"
    Image.fromarray(picture).save(path, kind)
    photograph = open_photograph(path)
    assert photograph.format == kind
    assert kind in photograph.notes[0]


def test_other_colour_profile_is_noted(tmp_path: Path, picture: ColourArray) -> None:
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for suffix in ("jpg", "png", "tif"):
        path = tmp_path / f"a.{suffix}"
        Image.fromarray(picture).save(path, icc_profile=lab)
        assert "profile" in open_photograph(path).notes[0]
        Image.fromarray(picture).save(path, icc_profile=srgb)
        assert open_photograph(path).notes == ()


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
def test_a_single_pixel_opens(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"a.{suffix}"
    Image.new("RGB", (1, 1), (9, 9, 9)).save(path)
    assert open_photograph(path).pixels.tolist() == [[[9, 9, 9]]]


def test_original_is_not_touched(tmp_path: Path, picture: ColourArray) -> None:
    path = tmp_path / "a.jpg"
    Image.fromarray(picture).save(path)
    path.chmod(0o400)
    before = path.read_bytes(), path.stat().st_mtime_ns
    open_photograph(path).pixels[:] = 0
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
