"""How marks look: colours, widths and dashes, all in thousandths of the photograph's longer side.

Colours are those of Okabe & Ito, "Color Universal Design" (2008), made for people with and without
a colour-vision deficiency. What a mark means never hangs on colour alone: findings are solid,
candidates dashed, extrapolated outlines dotted.
"""

from dataclasses import dataclass

#: Okabe & Ito (2008): blue, yellow.
BLUE = "#0072b2"
YELLOW = "#f0e442"
WHITE = "#ffffff"
INK = "#161616"
GREY = "#55524c"
#: Ground of the samples in a legend: halos and lines both show on it.
GROUND = "#7d786f"


@dataclass(frozen=True)
class Line:
    """A stroke over a wider halo that keeps it visible on any ground.

    Parameters
    ----------
    colour, halo : str
        As ``"#rrggbb"``.
    width, halo_width : float
        In thousandths of the photograph's longer side.
    dashes : tuple of float
        Lengths drawn and left out in turn, in the same unit.
    """

    colour: str
    halo: str
    width: float
    halo_width: float
    dashes: tuple[float, ...] = ()


FINDING = Line(BLUE, WHITE, 1.7, 3.6)
CANDIDATE = Line(YELLOW, INK, 1.6, 3.2, (7.0, 5.0))
OUTLINE = Line(WHITE, INK, 0.9, 1.9)
EXTRAPOLATED = Line(WHITE, INK, 1.3, 2.3, (0.1, 4.4))
LEADER = Line(WHITE, INK, 0.8, 1.7)
#: Seen only on the later of two occasions, only on the earlier, or not to be told: orange, sky blue, yellow.
ONLY_AFTER = Line("#e69f00", INK, 2.2, 4.0)
ONLY_BEFORE = Line("#56b4e9", INK, 2.2, 4.0, (7.0, 5.0))
NOT_COMPARABLE = Line(YELLOW, INK, 1.6, 3.2, (0.1, 4.4))

#: Clear distance between a flaw and the line drawn around it, and the least radius of that line.
CLEARANCE = 7.5
#: Height of a numbered tag and of its figures; gap between tags; distance from the girdle.
TAG_HEIGHT = 30.0
TAG_TEXT = 20.0
TAG_GAP = 6.0
TAG_MARGIN = 30.0
