"""Write a photograph as OME-TIFF (OME model 2016-06): with its scale, lamp, exposure, time, software and setup."""

import os
import re
import tempfile
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree

import tifffile

from setstone.capture.errors import PhotographError
from setstone.capture.ome import NAMESPACE
from setstone.capture.photograph import Lamp, Pixels

_SCHEMA = "http://www.openmicroscopy.org/Schemas/OME/2016-06"
#: What names of files may hold and XML may not (XML 1.0, production 2).
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

#: What `Circumstances.derivation` writes; digests stand there by their first 12 digits.
_DERIVED = re.compile(r"Made as (?P<made>.*?)(?: \((?P<told>.*?)\))?(?: from (?P<sources>.*))?\.", re.DOTALL)
_DIGEST = re.compile(r"\(([0-9a-f]{12})\)(?:, |$)")


@dataclass(frozen=True)
class Source:
    """A photograph another was made from."""

    name: str
    sha256: str


@dataclass(frozen=True)
class Circumstances:
    """How a photograph came to be; what is not known stays out of the file.

    Parameters
    ----------
    lamp : Lamp
    um_per_px : float, optional
        Scale, µm per pixel.
    exposure_s : float, optional
        Exposure time of one frame, s.
    taken : datetime, optional
        Aware; one without a time zone is local.
    setup : str
        Name of the optical setup.
    objective : str
        As engraved.
    magnification, numerical_aperture : float, optional
        Of the objective.
    camera : str
    made_by : str
        How it was derived, in words: ``"average of 8 frames"``; empty for a single exposure.
    parameters : mapping of str to str
        Of the way it was made.
    sources : sequence of Source
        The photographs it was made from.
    """

    lamp: Lamp = Lamp.OTHER
    um_per_px: float | None = None
    exposure_s: float | None = None
    taken: datetime | None = None
    setup: str = ""
    objective: str = ""
    magnification: float | None = None
    numerical_aperture: float | None = None
    camera: str = ""
    made_by: str = ""
    parameters: Mapping[str, str] = field(default_factory=dict)
    sources: Sequence[Source] = ()

    @property
    def derivation(self) -> str:
        """One sentence on what it was made from; empty for a single exposure."""
        if not self.made_by:
            return ""
        told = ", ".join(f"{k} {v}" for k, v in self.parameters.items())
        of = ", ".join(f"{s.name} ({s.sha256[:12]})" for s in self.sources)
        return f"Made as {self.made_by}{f' ({told})' if told else ''}{f' from {of}' if of else ''}."


class Region(NamedTuple):
    """What is marked on a photograph.

    Parameters
    ----------
    name : str
    points : sequence of (float, float)
        In pixels; (0, 0) is the corner of the first pixel.
    closed : bool
        Whether they enclose an area; else they are a line.
    """

    name: str
    points: Sequence[tuple[float, float]]
    closed: bool


class Derivation(NamedTuple):
    """What `Circumstances.derivation` tells: how it was made, its parameters in words, and the sources' digests."""

    made_by: str
    told: str
    sources: tuple[str, ...]


def read_derivation(text: str) -> Derivation | None:
    """Read what `Circumstances.derivation` wrote; None where it is something else.

    >>> made = Circumstances(made_by="mean", parameters={"step": "2 µm"}, sources=[Source("a (1).png", "ab" * 32)])
    >>> read_derivation(made.derivation)
    Derivation(made_by='mean', told='step 2 µm', sources=('abababababab',))
    """
    found = _DERIVED.fullmatch(text)
    if found is None:
        return None
    return Derivation(found["made"], found["told"] or "", tuple(_DIGEST.findall(found["sources"] or "")))


def write_ome(
    path: Path, pixels: Pixels, facts: Circumstances, *, software: str, regions: Sequence[Region] = ()
) -> Path:
    """Write a photograph; a file that is there is never written over.

    Parameters
    ----------
    path : Path
        Ending in ``.ome.tif``.
    pixels : (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded.
    facts : Circumstances
    software : str
        Program and version.
    regions : sequence of Region
        What is marked on it.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    PhotographError
        When it ends otherwise, there is a file of that name, or it cannot be written.
    """
    path = Path(path)
    if not path.name.lower().endswith((".ome.tif", ".ome.tiff")):
        raise PhotographError(f"'{path}' is to be an OME-TIFF; choose a name that ends in '.ome.tif'.")
    resolution = None if facts.um_per_px is None else (1e4 / facts.um_per_px, 1e4 / facts.um_per_px)
    taken = datetime.now(UTC) if facts.taken is None else facts.taken
    xml = ome_xml(pixels, facts, name=path.name, software=software, regions=regions)
    try:
        handle, temporary = tempfile.mkstemp(prefix=".setstone-", suffix=".tif", dir=path.parent)
        os.close(handle)
        try:
            tifffile.imwrite(
                temporary,
                pixels,
                photometric="rgb",
                compression="zlib",
                predictor=True,
                rowsperstrip=64,
                resolution=resolution,
                resolutionunit=None if resolution is None else "CENTIMETER",
                software=software,
                datetime=taken.astimezone().replace(tzinfo=None),
                description=xml.encode(),
                metadata=None,
            )
            Path(temporary).chmod(0o644)
            # A link fails where a file of that name is there; a renaming would replace it.
            try:
                os.link(temporary, path)
            except FileExistsError:
                raise
            except OSError:  # a disk without hard links
                if path.exists():
                    raise FileExistsError(str(path)) from None
                Path(temporary).rename(path)
        finally:
            with suppress(OSError):
                Path(temporary).unlink()
    except FileExistsError as error:
        raise PhotographError(f"There is a file '{path}' already; choose another name.") from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise PhotographError(
            f"'{path}' cannot be written ({reason}); check the folder and the free space."
        ) from error
    return path


def ome_xml(
    pixels: Pixels, facts: Circumstances, *, name: str, software: str, regions: Sequence[Region] = ()
) -> str:
    """Return the description that makes a TIFF an OME-TIFF."""
    root = ElementTree.Element("OME", {"xmlns": _SCHEMA, "Creator": software})
    _instrument(root, facts)
    image = _add(root, "Image", ID="Image:0", Name=name)
    if facts.taken is not None:
        # The model wants no offset beyond UTC (xsd:dateTime).
        _add(image, "AcquisitionDate").text = facts.taken.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    words = [f"{facts.lamp} light", facts.setup and f"setup {facts.setup}", facts.derivation]
    _add(image, "Description").text = "; ".join(w for w in words if w)
    _add(image, "InstrumentRef", ID="Instrument:0")
    _add(image, "ObjectiveSettings", ID="Objective:0")
    height, width, channels = pixels.shape
    plane = _add(
        image,
        "Pixels",
        ID="Pixels:0",
        DimensionOrder="XYCZT",
        Type=pixels.dtype.name,
        SignificantBits=str(8 * pixels.dtype.itemsize),
        Interleaved="true",
        BigEndian="false",
        SizeX=str(width),
        SizeY=str(height),
        SizeC=str(channels),
        SizeZ="1",
        SizeT="1",
    )
    if facts.um_per_px is not None:
        for axis in "XY":
            plane.set(f"PhysicalSize{axis}", f"{facts.um_per_px:.9g}")
            plane.set(f"PhysicalSize{axis}Unit", "µm")
    channel = _add(
        plane, "Channel", ID="Channel:0:0", SamplesPerPixel=str(channels), Name=f"{facts.lamp} light"
    )
    _add(channel, "LightSourceSettings", ID="LightSource:0")
    _add(plane, "TiffData", IFD="0", PlaneCount="1")
    at = _add(plane, "Plane", TheZ="0", TheT="0", TheC="0")
    if facts.exposure_s is not None:
        at.set("ExposureTime", f"{facts.exposure_s:.9g}")
        at.set("ExposureTimeUnit", "s")
    for number in range(len(regions)):
        _add(image, "ROIRef", ID=f"ROI:{number}")
    if facts.derivation:
        _add(image, "AnnotationRef", ID="Annotation:0")
        notes = _add(root, "StructuredAnnotations")
        note = _add(notes, "CommentAnnotation", ID="Annotation:0", Namespace=NAMESPACE)
        _add(note, "Value").text = facts.derivation
    for number, region in enumerate(regions):
        marked = _add(_add(root, "ROI", ID=f"ROI:{number}", Name=region.name), "Union")
        pairs = " ".join(f"{x:.2f},{y:.2f}" for x, y in region.points)
        kind = "Polygon" if region.closed else "Polyline"
        _add(marked, kind, ID=f"Shape:{number}", Text=region.name, Points=pairs)
    text = _NO_XML.sub("?", ElementTree.tostring(root, encoding="unicode"))
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + text


def _instrument(root: ElementTree.Element, facts: Circumstances) -> None:
    instrument = _add(root, "Instrument", ID="Instrument:0")
    if facts.setup:
        _add(instrument, "Microscope", Model=facts.setup)
    _add(instrument, "LightEmittingDiode", ID="LightSource:0", Model=f"{facts.lamp} light")
    if facts.camera:
        _add(instrument, "Detector", ID="Detector:0", Model=facts.camera)
    objective = _add(instrument, "Objective", ID="Objective:0")
    if facts.objective:
        objective.set("Model", facts.objective)
    if facts.magnification is not None:
        objective.set("NominalMagnification", f"{facts.magnification:.9g}")
    if facts.numerical_aperture is not None:
        objective.set("LensNA", f"{facts.numerical_aperture:.9g}")


def _add(parent: ElementTree.Element, tag: str, **attributes: str) -> ElementTree.Element:
    return ElementTree.SubElement(parent, tag, attributes)
