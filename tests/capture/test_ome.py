"""OME-XML, checked against the OME model 2016-06 (openmicroscopy.org/Schemas/OME/2016-06)."""

from datetime import UTC, datetime

import pytest

from setstone.capture.ome import MAX_CHARACTERS, read_ome

# Elements and attributes as in the schema's own documentation; two objectives, two images.
SAMPLE = """<?xml version="1.0" encoding="UTF-8"?>
<OME xmlns="http://www.openmicroscopy.org/Schemas/OME/2016-06">
  <Instrument ID="Instrument:0">
    <Objective ID="Objective:0" NominalMagnification="10.0"/>
    <Objective ID="Objective:1" NominalMagnification="60.0"/>
  </Instrument>
  <Image ID="Image:0" Name="lid-3">
    <AcquisitionDate>2024-03-01T13:05:09Z</AcquisitionDate>
    <ObjectiveSettings ID="Objective:1"/>
    <Pixels ID="Pixels:0" DimensionOrder="XYCZT" Type="uint16" SignificantBits="12" SizeX="8" SizeY="6"
      SizeC="3" SizeZ="1" SizeT="1" PhysicalSizeX="2.5" PhysicalSizeY="2.5"/>
  </Image>
  <Image ID="Image:1">
    <AcquisitionDate>1999-01-01T00:00:00Z</AcquisitionDate>
    <Pixels ID="Pixels:1" PhysicalSizeX="99" PhysicalSizeY="99"/>
  </Image>
</OME>"""


def test_sample() -> None:
    facts = read_ome(SAMPLE)
    assert facts.um_per_px == 2.5
    assert facts.magnification == 60
    assert facts.significant_bits == 12
    assert facts.taken == datetime(2024, 3, 1, 13, 5, 9, tzinfo=UTC)


@pytest.mark.parametrize(
    ("attributes", "um_per_px"),
    [
        ('PhysicalSizeX="2.5"', 2.5),
        ('PhysicalSizeX="2500" PhysicalSizeXUnit="nm"', 2.5),
        ('PhysicalSizeX="0.0025" PhysicalSizeXUnit="mm" PhysicalSizeY="2.5"', 2.5),
        ('PhysicalSizeX="2.5" PhysicalSizeXUnit="\u03bcm"', 2.5),  # the Greek letter, not the micro sign
        ('PhysicalSizeX="1" PhysicalSizeXUnit="pixel"', None),
        ('PhysicalSizeX="1" PhysicalSizeXUnit="reference frame"', None),
        ('PhysicalSizeX="2.5" PhysicalSizeY="3"', None),
        ('PhysicalSizeX="2.5" PhysicalSizeY="nan"', None),
        ('PhysicalSizeX="-1"', None),
        ('PhysicalSizeX="inf"', None),
        ("", None),
    ],
)
def test_size_of_a_pixel(attributes: str, um_per_px: float | None) -> None:
    facts = read_ome(f"<OME><Image><Pixels {attributes}/></Image></OME>")
    assert facts.um_per_px == (um_per_px and pytest.approx(um_per_px))


def test_nothing_said() -> None:
    facts = read_ome("<OME/>")
    assert (facts.um_per_px, facts.taken, facts.magnification, facts.significant_bits) == (None,) * 4


@pytest.mark.parametrize(
    "xml",
    [
        # OWASP, XML External Entity Prevention: nested entities, and a file fetched as an entity
        '<!DOCTYPE OME [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]><OME>&b;</OME>',
        '<!DOCTYPE OME [<!ENTITY f SYSTEM "file:///etc/passwd">]><OME>&f;</OME>',
        '<!DOCTYPE OME SYSTEM "http://example.org/ome.dtd"><OME/>',
        "<OME><Image></OME>",
        "no xml",
        "",
        "<OME/>" + " " * MAX_CHARACTERS,
    ],
)
def test_refused(xml: str) -> None:
    with pytest.raises(ValueError, match="OME description"):
        read_ome(xml)
