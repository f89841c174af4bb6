"""What a camera noted in a file beside its pixels, in plain words, so that a person can decide whether it may leave."""

import io

from PIL import ExifTags, Image

#: Where a note stands in EXIF (CIPA DC-008) and what people call it.
_CALLED = {
    ExifTags.Base.BodySerialNumber: "serial numbers",
    ExifTags.Base.LensSerialNumber: "serial numbers",
    ExifTags.Base.CameraSerialNumber: "serial numbers",
    ExifTags.Base.Artist: "names",
    ExifTags.Base.Copyright: "names",
    ExifTags.Base.CameraOwnerName: "names",
    ExifTags.Base.Make: "camera and lens",
    ExifTags.Base.Model: "camera and lens",
    ExifTags.Base.LensMake: "camera and lens",
    ExifTags.Base.LensModel: "camera and lens",
    ExifTags.Base.DateTime: "date and time",
    ExifTags.Base.DateTimeOriginal: "date and time",
    ExifTags.Base.DateTimeDigitized: "date and time",
    ExifTags.Base.ImageDescription: "comments",
    ExifTags.Base.UserComment: "comments",
    ExifTags.Base.MakerNote: "the maker's own notes",
    ExifTags.Base.ExposureTime: "settings of the camera",
    ExifTags.Base.FNumber: "settings of the camera",
    ExifTags.Base.ISOSpeedRatings: "settings of the camera",
}
#: The same for what stands beside EXIF, as Pillow names it.
_BESIDE = {"comment": "comments", "xmp": "notes of a program (XMP)", "photoshop": "notes of a program (IPTC)"}


def noted(content: bytes) -> tuple[str, ...]:
    """Say what is noted in a file.

    Parameters
    ----------
    content : bytes
        A whole file.

    Returns
    -------
    tuple of str
        Kinds of notes, for example ``("place", "serial numbers")``; empty where none of those known was found, which
        is no proof that there is none.
    """
    try:
        with Image.open(io.BytesIO(content)) as picture:
            exif = picture.getexif()
            tags = {*exif, *exif.get_ifd(ExifTags.IFD.Exif)}
            said = {
                *(["place"] if exif.get_ifd(ExifTags.IFD.GPSInfo) else []),
                *(["a preview"] if exif.get_ifd(ExifTags.IFD.IFD1) else []),
                *(_CALLED[tag] for tag in _CALLED if tag in tags),
                *(_BESIDE[name] for name in _BESIDE if name in picture.info),
                *(["comments"] if getattr(picture, "text", None) else []),
            }
    except Exception:  # camera raw, and EXIF that Pillow reads with whatever error the damage leads to
        return ()
    order = ("place", "names", *dict.fromkeys(_CALLED.values()), *_BESIDE.values(), "a preview")
    return tuple(sorted(said, key=order.index))
