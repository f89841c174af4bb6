"""Where all that is about one photograph lies in a package."""

from dataclasses import dataclass

from setstone.annotate.files import safe_stem
from setstone.annotate.package.copies import STRIPPED, kind_of_file, stripped
from setstone.annotate.package.layout import FINDINGS, OME, OVERLAYS, PHOTOGRAPHS, PICTURES
from setstone.annotate.sheet import ObjectPicture, PictureSheet
from setstone.record.entries import ExaminationEntry, StoneEntry


@dataclass(frozen=True)
class Places:
    """Names of the files about one photograph.

    Parameters
    ----------
    photograph, picture, overlay, findings, ome : str
        The photograph is the OME-TIFF where there is no other copy of it.
    """

    photograph: str
    picture: str
    overlay: str
    findings: str
    ome: str


def places_of(
    stone: StoneEntry, entry: ExaminationEntry, picture: PictureSheet, *, originals: bool
) -> Places:
    """Name the files about one photograph, which is given as it is or as a copy."""
    photograph = picture.photograph
    name = safe_stem(stone.position, entry.occasion, picture.lamp)
    ome = f"{OME}/{name}.ome.tif"
    copied = originals or photograph.format in STRIPPED
    return Places(
        # Only its pixels leave where what is noted in a file cannot be taken out, and the OME-TIFF has them.
        photograph=f"{PHOTOGRAPHS}/{name}{photograph.path.suffix}" if copied else ome,
        picture=f"{PICTURES}/{name}.png",
        overlay=f"{OVERLAYS}/{name}.svg",
        findings=f"{FINDINGS}/{name}.jsonld",
        ome=ome,
    )


def object_copy(picture: ObjectPicture, *, originals: bool) -> tuple[str, bytes]:
    """Name the photograph of the object as a whole, and return what leaves: it, a copy, or else the picture shown."""
    path = picture.photograph.path
    data = path.read_bytes()
    if originals:
        return f"{PHOTOGRAPHS}/object{path.suffix}", data
    kind = kind_of_file(data)
    if kind in STRIPPED:
        return f"{PHOTOGRAPHS}/object{path.suffix}", stripped(data, kind)
    return f"{PHOTOGRAPHS}/object.jpg", picture.jpeg
