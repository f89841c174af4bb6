"""The demo snuff box: computed photographs of three stones of one lid."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

OBJECT_NAME = "Presentation snuff box"
OBJECT_DESCRIPTION = "Jewelled snuff box, eight stones set into the lid; invented for the demonstration"

#: What is said of the object, by name of the fact; invented like the object.
OBJECT_FACTS = {
    "metal": "yellow metal, by eye only",
    "hallmark": "crowned G in a shield, second mark worn away",
    "date": "about 1790, says the owner",
}
#: How each stone sits, by name of the fact.
STONE_FACTS = {"setting": "collet, rim rubbed over", "back": "closed"}
#: What was done between the first and the last photographs: kind, adhesive, solvent.
WORK = (
    ("unset", "", ""),
    ("glue removed", "", "ethanol on a swab, tested on a hidden spot"),
    ("set again", "acrylic copolymer in acetone, 40 %", ""),
)

#: The object as a whole, drawn by benchmarks/draw_object.py, and where its stones sit in it: shares of width and height,
#: clockwise from the thumb-piece.
OBJECT_PHOTOGRAPH = Path(__file__).parent / "snuff-box.jpg"
OBJECT_PLACES = {
    "lid-1": (0.5, 0.83),
    "lid-2": (0.29, 0.74),
    "lid-3": (0.18, 0.5),
    "lid-4": (0.29, 0.26),
    "lid-5": (0.5, 0.17),
    "lid-6": (0.71, 0.26),
    "lid-7": (0.82, 0.5),
    "lid-8": (0.71, 0.74),
}

#: File name stem of a photograph by occasion.
OCCASIONS = {"as received": "before", "after": "after"}


@dataclass(frozen=True)
class SampleStone:
    """A stone of the demo snuff box, the folder that holds its photographs, and invented readings as they are typed."""

    position: str
    claimed_as: str
    folder: Path
    readings: tuple[str, ...]

    def photographs(self) -> Iterator[tuple[str, Path]]:
        """Yield (occasion, file) for the white and the blue photograph of each occasion."""
        for occasion, stem in OCCASIONS.items():
            for lamp in ("white", "blue"):
                yield occasion, self.folder / f"{stem}_{lamp}.jpg"


def sample_stones() -> tuple[SampleStone, ...]:
    """Return the stones of the demo snuff box in order of position."""
    here = Path(__file__).parent
    return (
        SampleStone(
            "lid-3", "ruby", here / "lid-3",
            ("1.762-1.770 table", "polariscope double", "thermal moderate check low/high"),
        ),
        SampleStone(
            "lid-5", "diamond", here / "lid-5",
            (">1.81 table", "thermal 7.5 check 2/8"),
        ),
        SampleStone(
            "lid-8", "sapphire", here / "lid-8",
            ("1.728 table", "polariscope single with strain", "short wave strong chalky", "blue"),
        ),
    )  # fmt: skip
