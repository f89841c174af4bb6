"""Small files that mean to fill the memory or to keep a machine busy."""

import io
import struct
import zipfile
import zlib
from collections.abc import Iterator

import imagecodecs
import numpy as np
import tifffile
from fuzz import seeds
from PIL import Image

#: What a bomb blows up to where nothing stops it, bytes.
BLOWN = 400_000_000
_PNG = b"\x89PNG\r\n\x1a\n"


def bombs() -> Iterator[tuple[str, bytes]]:
    """Yield each with a name that ends as its kind does."""
    zeros = _deflated(BLOWN)
    pixels = zlib.compress(bytes(310))
    yield "100000-a-side.png", png(100_000, 100_000, pixels)
    yield "pixels.png", png(10, 10, zeros)
    yield "text.png", png(10, 10, pixels, (b"zTXt", b"a\0\0" + zeros))
    yield "profile.png", png(10, 10, pixels, (b"iCCP", b"a\0\0" + zeros))
    yield "chunks.png", png(10, 10, pixels)[:-12] + chunk(b"abCd", b"") * 1_100_000 + chunk(b"IEND", b"")

    yield "100000-a-side.tif", tiff(100_000, 100_000)
    yield "pages-in-a-circle.tif", tiff(10, 10, follows=8)
    yield "pages.tif", _pages(200_000)
    yield "strip-of-4-gb.tif", tiff(10, 10, {279: 4_000_000_000})
    yield "offsets-of-4-gb.tif", tiff(10, 10, counts={273: 2**30 - 1, 279: 2**30 - 1})
    yield "strips-that-grow.tif", _strips(3300, 600, 8, zeros)
    yield (
        "strips-of-zstd.tif",
        _strips(3300, 600, 50000, bytes(imagecodecs.zstd_encode(bytes(BLOWN), level=3))),
    )
    yield "one-strip-many-times.tif", _strips(3300, 6000, 8, zlib.compress(bytes(3300), 9))
    for name, xml in {
        "deep": "<OME>" + "<a>" * 1_300_000,
        "laughs": "<!DOCTYPE OME [<!ENTITY a 'ha'>"
        + "".join(
            f"<!ENTITY {b} '&{a};&{a};&{a};&{a};&{a};&{a};&{a};&{a};'>"
            for a, b in zip("abcdefghi", "bcdefghij", strict=True)
        )
        + "]><OME>&j;</OME>",
        "attributes": "<OME><Image><Pixels "
        + "".join(f"a{i}='1' " for i in range(300_000))
        + "/></Image></OME>",
        "line-ends": f"<OME><Image><AcquisitionDate>{chr(10) * 3_900_000}</AcquisitionDate></Image></OME>",
        "long": f"<OME>{'x' * 30_000_000}</OME>",
        "derived": f"<OME><CommentAnnotation Namespace='setstone/derived'><Value>{'x' * 3_900_000}</Value></CommentAnnotation></OME>",
    }.items():
        yield f"xml-{name}.tif", seeds.tiff(seeds.WIDE, description=xml.encode())

    for data in seeds.heics():
        at = data.index(b"ispe") + 8  # the size of the picture (ISO/IEC 23008-12, 6.5.3)
        yield "100000-a-side.heic", data[:at] + struct.pack(">II", 100_000, 100_000) + data[at + 8 :]
    for data in seeds.raws():
        yield "100000-a-side.dng", _of_size(data, 100_000)

    small = seeds.saved("JPEG")
    frame = bytearray(small)
    at = frame.index(b"\xff\xc0")
    frame[at + 5 : at + 9] = struct.pack(">HH", 65_500, 65_500)
    yield "65500-a-side.jpg", bytes(frame)
    exif = b"\xff\xe1\xff\xffExif\0\0II*\0" + bytes(65_523)
    yield "exif.jpg", small[:2] + exif * 1000 + small[2:]
    yield "segments.jpg", small[:2] + b"\xff\xfe\x00\x02" * 3_000_000 + small[2:]
    yield "scans.jpg", _scans(300)

    yield "hand-out.zip", seeds.zipped({**seeds.package(), "data/hand-out.html": bytes(BLOWN)}, "bag/")
    yield "list.zip", seeds.zipped({**seeds.package(), "manifest-sha256.txt": bytes(BLOWN)}, "bag/")
    yield "files.zip", _many_files(60_000)
    book = seeds.export()
    first, _, rest = book["book.jsonl"].partition(b"\n")
    long = b'{"table": "remarks", "row": "' + b"x" * BLOWN
    yield "line.export.zip", seeds.zipped({**book, "book.jsonl": first + b"\n" + long})
    yield "deep.export.zip", seeds.zipped({**book, "book.jsonl": first + b"\n" + b"[" * 2_000_000})
    yield (
        "lists.export.zip",
        seeds.zipped({**book, "book.jsonl": first + b"\n[" + b"[]," * 1_300_000 + rest}),
    )


def chunk(name: bytes, body: bytes) -> bytes:
    """Part of a PNG (ISO/IEC 15948, 5.3)."""
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png(width: int, height: int, pixels: bytes, *others: tuple[bytes, bytes]) -> bytes:
    """A PNG of 8-bit colour that says it is of a size."""
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    parts = b"".join(chunk(name, body) for name, body in others)
    return _PNG + header + parts + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


def tiff(
    width: int,
    height: int,
    values: dict[int, int] | None = None,
    counts: dict[int, int] | None = None,
    follows: int = 0,
) -> bytes:
    """A grey TIFF that says it is of a size (TIFF 6.0, section 2), all entries of type LONG; `follows`: its next page."""
    entries = {
        256: width,
        257: height,
        258: 8,
        259: 1,
        262: 1,
        273: 8,
        277: 1,
        278: height,
        279: width * height % 2**32,
    }
    return (
        b"II*\0" + struct.pack("<I", 8) + _page(entries | (values or {}), counts or {}, follows) + bytes(1000)
    )


def _page(entries: dict[int, int], counts: dict[int, int], follows: int) -> bytes:
    body = b"".join(struct.pack("<HHII", c, 4, counts.get(c, 1), v) for c, v in sorted(entries.items()))
    return struct.pack("<H", len(entries)) + body + struct.pack("<I", follows)


def _of_size(data: bytes, side: int) -> bytes:
    """Write another size into the header of a TIFF."""
    written = bytearray(data)
    tags = tifffile.TiffFile(io.BytesIO(data)).pages.first.tags
    for code in (256, 257, 278):
        struct.pack_into("<HII", written, tags[code].offset + 2, 4, 1, side)
    return bytes(written)


def _pages(count: int) -> bytes:
    entries = {254: 1, 256: 10, 257: 10, 258: 8, 259: 1, 262: 1, 273: 8, 277: 1, 278: 10, 279: 100}
    page = _page(entries, {}, 0)
    starts = 8 + len(page) * np.arange(1, count + 1, dtype="<u4")
    starts[-1] = 0
    chain = np.tile(np.frombuffer(page, np.uint8), (count, 1))
    chain[:, -4:] = starts[:, None].view(np.uint8)
    return b"II*\0" + struct.pack("<I", 8) + chain.tobytes()


def _strips(width: int, height: int, compression: int, packed: bytes) -> bytes:
    """Every row a strip, and all of them the same few bytes."""
    at = 8 + 2 + 12 * 9 + 4
    entries = {
        256: width,
        257: height,
        258: 8,
        259: compression,
        262: 1,
        273: at,
        277: 1,
        278: 1,
        279: at + 4 * height,
    }
    page = _page(entries, {273: height, 279: height}, 0)
    offsets = struct.pack("<I", at + 8 * height) * height + struct.pack("<I", len(packed)) * height
    return b"II*\0" + struct.pack("<I", 8) + page + offsets + packed


def _scans(count: int) -> bytes:
    """A progressive JPEG (ITU-T T.81, G) whose last scan comes again and again."""
    stream = io.BytesIO()
    Image.new("L", (4000, 3000)).save(stream, "JPEG", progressive=True)
    data = stream.getvalue()
    end = data.rindex(b"\xff\xd9")
    last = data.rindex(b"\xff\xc4", 0, data.rindex(b"\xff\xda"))
    return data[:end] + data[last:end] * count + data[end:]


def _many_files(count: int) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for i in range(count):
            archive.writestr(str(i), b"")
    return packed.getvalue()


def _deflated(size: int) -> bytes:
    packer = zlib.compressobj(9)
    part = bytes(1 << 20)
    return b"".join(packer.compress(part) for _ in range(size >> 20)) + packer.flush()
