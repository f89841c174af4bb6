"""What an OME-TIFF says about its first picture (OME model 2016-06, openmicroscopy.org/Schemas/OME)."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from xml.parsers import expat

#: Longest description read; one of a single photograph has some kilobytes.
MAX_CHARACTERS = 4_000_000

#: Longest said of the making of a picture that is taken from a file.
MAX_DERIVED = 1000

#: Names annotations of our own, where the standard has no field (`setstone.capture.ome_writing`).
NAMESPACE = "setstone/derived"

#: Micrometres in the units of length the model knows that a microscope may be given in.
_MICROMETRES = {
    "pm": 1e-6, "Å": 1e-4, "nm": 1e-3, "µm": 1.0, "mm": 1e3, "cm": 1e4, "dm": 1e5, "m": 1e6,
    "thou": 25.4, "in": 25_400.0,
}  # fmt: skip


@dataclass(frozen=True)
class OmeFacts:
    """Size of a pixel, time of taking, magnification and used bits of the first picture; None if unsaid.

    `channel` is the name of its first channel, `derived` what setstone wrote of its making; empty if unsaid.
    """

    um_per_px: float | None
    taken: datetime | None
    magnification: float | None
    significant_bits: int | None
    channel: str = ""
    derived: str = ""


class _Reader:
    """Gathers the few elements wanted while the text streams by; no tree is built."""

    def __init__(self) -> None:
        self.pixels: dict[str, str] | None = None
        self.objectives: dict[str, str] = {}
        self.objective_used: str | None = None
        self.date = ""
        self.channel = ""
        self.derived = ""
        self._images = 0
        self._in_date = False
        self._ours = False
        self._in_ours = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        name = tag.rpartition(":")[2]
        self._images += name == "Image"
        if name == "Objective" and "NominalMagnification" in attributes:
            self.objectives.setdefault(attributes.get("ID", ""), attributes["NominalMagnification"])
        if name == "CommentAnnotation":
            self._ours = attributes.get("Namespace") == NAMESPACE
        self._in_ours = self._ours and name == "Value"
        if self._images != 1:
            return
        if name == "Pixels" and self.pixels is None:
            self.pixels = attributes
        elif name == "ObjectiveSettings":
            self.objective_used = attributes.get("ID")
        elif name == "Channel" and not self.channel:
            self.channel = attributes.get("Name", "")
        self._in_date = name == "AcquisitionDate"

    def end(self, _tag: str) -> None:
        self._in_date = self._in_ours = False

    def text(self, data: str) -> None:
        if self._in_date:
            self.date += data
        if self._in_ours:
            self.derived += data


def read_ome(xml: str) -> OmeFacts:
    """Read an OME-XML description.

    A document type, the only place where XML can define entities, ends the reading: OME has none, and
    expanding or fetching entities is the known way to attack a parser (OWASP, XML External Entity
    Prevention).

    Parameters
    ----------
    xml : str
        The text of the TIFF's ImageDescription.

    Raises
    ------
    ValueError
        When the text is too long, is not XML, or declares a document type.
    """
    if len(xml) > MAX_CHARACTERS:
        raise ValueError("the OME description is too long")
    reader = _Reader()
    parser = expat.ParserCreate()
    # Text in few large parts: joined line by line, a long one would take the square of its length.
    parser.buffer_text = True
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.CharacterDataHandler = reader.text
    parser.StartDoctypeDeclHandler = _refuse_doctype
    try:
        parser.Parse(xml, True)
    except expat.ExpatError as error:
        raise ValueError("the OME description is not well-formed XML") from error
    pixels = reader.pixels or {}
    used = reader.objective_used
    magnification = reader.objectives.get(used) if used else next(iter(reader.objectives.values()), None)
    return OmeFacts(
        um_per_px=_um_per_px(pixels),
        taken=_date(reader.date),
        magnification=_positive(magnification),
        significant_bits=int(bits) if (bits := _positive(pixels.get("SignificantBits"))) else None,
        channel=reader.channel,
        derived=" ".join(reader.derived[:MAX_DERIVED].split()),
    )


def _refuse_doctype(*_: object) -> None:
    raise ValueError("the OME description declares a document type")


def _um_per_px(pixels: Mapping[str, str]) -> float | None:
    """Micrometres per pixel where the pixels are square; a side not given equals the other."""
    across, down = _side(pixels, "X"), _side(pixels, "Y")
    if across is None or ("PhysicalSizeY" in pixels and down is None):
        return None
    return across if down is None or math.isclose(across, down, rel_tol=0.002) else None


def _side(pixels: Mapping[str, str], axis: str) -> float | None:
    size = _positive(pixels.get(f"PhysicalSize{axis}"))
    unit = _MICROMETRES.get(
        pixels.get(f"PhysicalSize{axis}Unit", "µm").replace("\N{GREEK SMALL LETTER MU}", "µ")
    )
    return size * unit if size and unit else None


def _positive(text: str | None) -> float | None:
    try:
        value = float(text or "")
    except ValueError:
        return None
    return value if 0 < value < math.inf else None


def _date(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text.strip())
    except ValueError:
        return None
