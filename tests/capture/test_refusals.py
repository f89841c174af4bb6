"""Nasty files: each gets one sentence with its name, no other exception, no memory, no console noise."""

import contextlib
import io
import os
import struct
import tracemalloc
import warnings
import zlib
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from setstone.capture.errors import PhotographError
from setstone.capture.open import open_photograph

SMALL = np.asarray(
    cv2.resize(np.random.default_rng(3).integers(0, 256, (5, 6, 3), np.uint8), (48, 40)), np.uint8
)


@pytest.fixture(autouse=True)
def _nothing_on_the_console(capfd: pytest.CaptureFixture[str]) -> Iterator[None]:
    """Neither Python's warnings and logging nor the C libraries may write there."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    assert capfd.readouterr() == ("", "")


def _refused(path: Path) -> str:
    with pytest.raises(PhotographError) as caught:
        open_photograph(path)
    message = str(caught.value)
    assert path.name in message
    assert message.endswith(".")
    assert len(message) < 250
    assert "; " in message  # what is wrong; what to do
    return message


def _file(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def _saved(kind: str, image: Image.Image | None = None, **options: object) -> bytes:
    stream = io.BytesIO()
    (image or Image.fromarray(SMALL)).save(stream, kind, **options)
    return stream.getvalue()


def _tiff(pixels: np.ndarray, **options: object) -> bytes:
    stream = io.BytesIO()
    tifffile.imwrite(stream, pixels, **options)  # type: ignore[arg-type]
    return stream.getvalue()


def _png_header(width: int, height: int) -> bytes:
    """A PNG that claims a size (ISO/IEC 15948, section 5)."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")


def _jpeg_header(width: int, height: int) -> bytes:
    """A JPEG with another size written into its frame header (ITU-T T.81, B.2.2)."""
    data = bytearray(_saved("JPEG"))
    frame = data.index(b"\xff\xc0")
    data[frame + 5 : frame + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def _tiff_header(width: int, height: int, *layout: tuple[int, int]) -> bytes:
    """A TIFF that claims a size (TIFF 6.0, section 2): grey, 8 bits, all entries of type LONG."""
    entries = [(256, width), (257, height), (258, 8), (259, 1), (262, 1), (277, 1), *layout]
    body = b"".join(struct.pack("<HHII", code, 4, 1, value) for code, value in sorted(entries))
    return b"II*\0" + struct.pack("<IH", 8, len(entries)) + body + bytes(1000)


STRIPS = ((273, 8), (278, 1), (279, 100))
TOO_LARGE = {
    "a.png": _png_header(100_000, 100_000),
    "narrow.png": _png_header(1, 100_000),
    "area.png": _png_header(20_000, 20_000),
    "a.jpg": _jpeg_header(65_500, 65_500),
    "a.tif": _tiff_header(100_000, 100_000, *STRIPS),
    "widest.tif": _tiff_header(2**32 - 1, 2**32 - 1, *STRIPS),
    "tile.tif": _tiff_header(10, 10, (322, 2**32 - 16), (323, 2**32 - 16), (324, 8), (325, 100)),
}


@pytest.mark.parametrize("name", TOO_LARGE)
def test_too_large_is_refused_before_it_is_decoded(tmp_path: Path, name: str) -> None:
    path = _file(tmp_path / name, TOO_LARGE[name])
    tracemalloc.start()
    message = _refused(path)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert "megapixels" in message
    assert peak < 5_000_000


@pytest.mark.parametrize(
    "data", [_png_header(0, 5), _jpeg_header(0, 5), _jpeg_header(5, 0), _tiff_header(0, 0, *STRIPS)]
)
def test_no_pixels(tmp_path: Path, data: bytes) -> None:
    _refused(_file(tmp_path / "a.png", data))


WHOLE = {
    "a.jpg": _saved("JPEG"),
    "progressive.jpg": _saved("JPEG", progressive=True),
    "a.png": _saved("PNG"),
    "deep.png": cv2.imencode(".png", SMALL.astype(np.uint16) * 257)[1].tobytes(),
    "a.tif": _tiff(SMALL, photometric="rgb", metadata=None, rowsperstrip=8),
    "deflate.tif": _tiff(SMALL, photometric="rgb", compression="zlib", metadata=None),
    "tiles.tif": _tiff(SMALL, photometric="rgb", compression="lzw", tile=(16, 16), metadata=None),
}


@pytest.mark.parametrize("name", WHOLE)
@pytest.mark.parametrize("share", [0.05, 0.5, 0.95])
def test_cut_short(tmp_path: Path, name: str, share: float) -> None:
    whole = WHOLE[name]
    open_photograph(_file(tmp_path / name, whole))
    cut = whole[: int(len(whole) * share)]
    _refused(_file(tmp_path / name, cut))
    if name != "tiles.tif":  # zeros are valid LZW to its decoder
        padded = cut + bytes(len(whole) - len(cut)) if "tif" not in name else cut
        _refused(_file(tmp_path / name, padded))


def test_jpeg_without_its_end(tmp_path: Path) -> None:
    assert "cut short" in _refused(_file(tmp_path / "a.jpg", WHOLE["a.jpg"][:-2]))


def test_png_with_one_wrong_bit(tmp_path: Path) -> None:
    data = bytearray(WHOLE["a.png"])
    data[len(data) // 2] ^= 8
    assert "damaged" in _refused(_file(tmp_path / "a.png", bytes(data)))


def test_tiff_with_fewer_strips_than_rows(tmp_path: Path) -> None:
    assert "missing" in _refused(_file(tmp_path / "a.tif", _tiff_header(20, 20, *STRIPS)))


def test_a_small_file_cannot_fill_the_memory(tmp_path: Path) -> None:
    """A strip that unpacks to 100 MB in a picture of 40 × 48 pixels."""
    bomb = zlib.compress(bytes(100_000_000), 9)
    data = bytearray(_tiff(SMALL, photometric="rgb", compression="zlib", metadata=None))
    page = tifffile.TiffFile(io.BytesIO(data)).pages.first
    for code, value in ((273, len(data)), (279, len(bomb))):
        tag = page.tags[code]
        data[tag.offset + 8 : tag.offset + 12] = struct.pack("<I", value)
        data[tag.offset + 2 : tag.offset + 4] = struct.pack("<H", 4)
    path = _file(tmp_path / "bomb.tif", bytes(data) + bomb)
    tracemalloc.start()
    _refused(path)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 5_000_000


OTHER_KINDS = {
    "print.jpg": (_saved("JPEG", Image.fromarray(SMALL).convert("CMYK")), "CMYK"),
    "print.tif": (_saved("TIFF", Image.fromarray(SMALL).convert("CMYK")), "CMYK"),
    "lab.tif": (_saved("TIFF", Image.fromarray(SMALL).convert("LAB")), "RGB"),
    "line.tif": (_saved("TIFF", Image.fromarray(SMALL).convert("1")), "8-bit"),
    "float.tif": (_tiff(np.full((9, 9), np.nan, np.float32)), "floating-point"),
    "signed.tif": (_tiff(np.zeros((9, 9), np.int16)), "8-bit"),
    "deep.tif": (_tiff(np.zeros((9, 9), np.uint32)), "8-bit"),
    "five.tif": (_tiff(np.zeros((9, 9, 5), np.uint8), photometric="rgb"), "5 channels"),
    "stack.tif": (_tiff(np.stack([SMALL] * 3), photometric="rgb"), "3 pictures"),
    "channels.ome.tif": (
        _tiff(np.zeros((3, 9, 9), np.uint8), ome=True, metadata={"axes": "CYX"}, photometric="minisblack"),
        "3 pictures",
    ),
    "lossy.tif": (_tiff(SMALL, photometric="rgb", compression="jpeg"), "without compression"),
    "raw.tif": (_tiff(SMALL, photometric="rgb", subfiletype=1), "camera raw"),
    "mosaic.tif": (_tiff(SMALL[..., 0], photometric="cfa"), "RGB"),
    "a.gif": (_saved("GIF"), "JPEG, PNG or TIFF"),
    "webp.jpg": (_saved("WEBP"), "JPEG, PNG or TIFF"),
    "letter.png": (b"Dear Sir or Madam,\n", "JPEG, PNG or TIFF"),
    "empty.jpg": (b"", "empty"),
    "start.jpg": (b"\xff\xd8\xff", "damaged"),
    "start.png": (b"\x89PNG\r\n\x1a\n", "cut short"),
    "start.tif": (b"II*\0", "damaged"),
}


@pytest.mark.parametrize("name", OTHER_KINDS)
def test_what_is_not_opened(tmp_path: Path, name: str) -> None:
    data, said = OTHER_KINDS[name]
    assert said in _refused(_file(tmp_path / name, data))


def test_folder(tmp_path: Path) -> None:
    (tmp_path / "stones.jpg").mkdir()
    assert "folder" in _refused(tmp_path / "stones.jpg")


def test_vanished(tmp_path: Path) -> None:
    assert "not found" in _refused(tmp_path / "gone.jpg")


def test_vanished_between_look_and_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def unplugged(_: Path) -> bytes:
        raise OSError(5, "Input/output error")

    path = _file(tmp_path / "a.jpg", WHOLE["a.jpg"])
    monkeypatch.setattr(Path, "read_bytes", unplugged)
    assert "Input/output error" in _refused(path)


def test_permission_denied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    path = _file(tmp_path / "a.jpg", WHOLE["a.jpg"])
    monkeypatch.setattr(Path, "read_bytes", denied)
    assert "permission" in _refused(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_pipe_does_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    assert "device" in _refused(tmp_path / "pipe.jpg")


def test_names_no_file_system_accepts() -> None:
    for name in ("a\0b.jpg", "a" * 300 + ".jpg"):
        with pytest.raises(PhotographError, match="cannot be read"):
            open_photograph(Path(name))


def test_file_larger_than_any_picture(tmp_path: Path) -> None:
    path = tmp_path / "film.tif"
    with path.open("wb") as stream:
        stream.truncate(3_000_000_000)  # sparse: takes no room
    assert "larger than 2 GB" in _refused(path)


def test_damaged_exif_leaves_the_picture(tmp_path: Path) -> None:
    data = _saved("JPEG", exif=b"Exif\0\0II*\0\xff\xff\xff\x7f")
    photograph = open_photograph(_file(tmp_path / "a.jpg", data))
    assert photograph.taken is None
    assert photograph.pixels.shape == SMALL.shape


def test_damaged_colour_profile_leaves_the_picture(tmp_path: Path) -> None:
    """libpng would complain of it on the console."""
    photograph = open_photograph(_file(tmp_path / "a.png", _saved("PNG", icc_profile=bytes(200))))
    np.testing.assert_array_equal(photograph.pixels, SMALL)


def _opens_or_refuses(path: Path, data: bytes) -> None:
    path.write_bytes(data)
    with contextlib.suppress(PhotographError):
        pixels = open_photograph(path).pixels
        assert pixels.dtype in (np.uint8, np.uint16)
        assert pixels.shape[2:] == (3,)


FUZZ = settings(
    max_examples=120,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
SIGNATURES = [b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"II+\0\x08\0\0\0"]


@FUZZ
@given(start=st.sampled_from(SIGNATURES), rest=st.binary(max_size=300))
def test_any_bytes(tmp_path: Path, start: bytes, rest: bytes) -> None:
    _opens_or_refuses(tmp_path / "any.bin", start + rest)


@FUZZ
@given(
    whole=st.sampled_from(list(WHOLE.values())),
    places=st.lists(st.tuples(st.floats(0, 0.999), st.integers(0, 255)), min_size=1, max_size=5),
    header=st.booleans(),
    kept=st.floats(0.2, 1),
)
def test_damaged_files(
    tmp_path: Path, whole: bytes, places: list[tuple[float, int]], header: bool, kept: float
) -> None:
    data = bytearray(whole)
    for place, value in places:
        data[int(place * (min(len(data), 300) if header else len(data)))] = value
    _opens_or_refuses(tmp_path / "damaged.bin", bytes(data[: int(kept * len(data))] if kept < 0.6 else data))
