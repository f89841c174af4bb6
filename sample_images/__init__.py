"""The demo snuff box: computed photographs of three stones of one lid."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

OBJECT_NAME = "Presentation snuff box"
OBJECT_DESCRIPTION = "Jewelled snuff box, eight stones set into the lid; invented for the demonstration"

#: File name stem of a photograph by occasion.
OCCASIONS = {"as received": "before", "after": "after"}


@dataclass(frozen=True)
class SampleStone:
    """A stone of the demo snuff box and the folder that holds its photographs."""

    position: str
    claimed_as: str
    folder: Path

    def photographs(self) -> Iterator[tuple[str, Path]]:
        """Yield (occasion, file) for the white and the blue photograph of each occasion."""
        for occasion, stem in OCCASIONS.items():
            for lamp in ("white", "blue"):
                yield occasion, self.folder / f"{stem}_{lamp}.jpg"


def sample_stones() -> tuple[SampleStone, ...]:
    """Return the stones of the demo snuff box in order of position."""
    here = Path(__file__).parent
    claims = {"lid-3": "ruby", "lid-5": "diamond", "lid-8": "sapphire"}
    return tuple(SampleStone(position, claim, here / position) for position, claim in claims.items())
