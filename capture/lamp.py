"""Which lamp a photograph was taken in, told from its colours.

Blue light of one narrow band comes back from metal, stone and glue as blue, whatever their colour; the
camera's green and red see only a leak of it. Red and green *together* come back under white light
alone: from the setting (silver: neutral, gold: yellow) and from every reflection on the stone, which
carries the colour of the lamp (Fresnel). A blue stone, however large, therefore does not look like blue
light as long as some metal or glints are in the picture, nor does a stone that glows red under blue
light look like white light. A picture of nothing but the inside of a blue stone cannot be told from
blue light.
"""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setstone.capture.photograph import Lamp, Pixels

#: Said wherever blue light is chosen. Source: IEC 62471:2006, retinal blue-light hazard 300-700 nm.
BLUE_LIGHT = (
    "Blue light: do not look into the lamp or through the eyepieces while it is on; use the camera, and follow "
    "the lamp's own risk group (IEC 62471) and your local rules."
)
#: A picture is judged on about this many of its pixels, spread evenly.
_SAMPLES = 100_000
#: Grey levels of 255: darker is noise, brighter has lost its colour.
_DARK, _CLIPPED = 40, 250
#: Share of the lit picture that returns red and green together: below the first it is blue light, above
#: the second white. A label laid over the picture takes up less than the first.
_BLUE_BELOW, _WHITE_ABOVE = 0.05, 0.15
#: From here on a photograph contradicts what is said of its lamp.
_PLAIN = 0.9


@dataclass(frozen=True)
class LampReading:
    """The lamp a photograph seems to be taken in.

    Parameters
    ----------
    lamp : Lamp
        ``OTHER`` when it is neither white nor blue, or cannot be told.
    confidence : float
        0 (cannot be told) to 1 (plain); a grade, not a probability.
    why : str
        What speaks for it, in plain words.
    """

    lamp: Lamp
    confidence: float
    why: str


def recognise_lamp(pixels: Pixels) -> LampReading:
    """Tell white light from blue light.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded; compared in linear light (IEC 61966-2-1:1999).

    Returns
    -------
    LampReading
    """
    levels, flat = _sample(pixels)
    spread = np.ptp(levels, axis=-1)
    lit = levels.max(axis=-1) > _DARK
    if lit.mean() < 0.01:
        return LampReading(Lamp.OTHER, 0.0, "The picture is too dark to tell the lamp.")
    if (spread[lit] <= 2).mean() > 0.999:
        return LampReading(Lamp.OTHER, 0.0, "The picture is grey; without colour the lamp cannot be told.")
    # Scale bars and labels are grey and without noise, which nothing seen through a camera is.
    drawn = flat & (spread <= 3)
    usable = lit & ~drawn & (levels.min(axis=-1) < _CLIPPED)
    if usable.mean() < 0.01:
        return LampReading(Lamp.OTHER, 0.0, "The picture is too overexposed to tell the lamp.")
    red, green, blue = np.moveaxis(_linear(levels[usable]), -1, 0)
    # Where blue is clipped, the others look larger beside it than they are: no evidence of white light.
    whole = (
        (levels[usable][:, 2] < _CLIPPED) & (red >= 0.5 * blue) & (0.4 * red <= green) & (green <= 2 * red)
    )
    white = float(whole.mean())
    only_blue = float(((red < 0.5 * blue) & (green <= 1.02 * blue)).mean())
    blown = float((levels.min(axis=-1) >= _CLIPPED).mean())
    return _judge(white, only_blue, blown)


def contradiction(stated: Lamp, pixels: Pixels) -> str | None:
    """Say so when a photograph plainly was not taken in the light it is said to be.

    Parameters
    ----------
    stated : Lamp
        What the person or the file's name says; ``OTHER`` is never contradicted.
    pixels : (H, W, 3) uint8 or uint16 array

    Returns
    -------
    str or None
        A sentence, or None when nothing speaks plainly against it.
    """
    if stated is Lamp.OTHER:
        return None
    reading = recognise_lamp(pixels)
    if reading.lamp is stated or reading.lamp is Lamp.OTHER or reading.confidence < _PLAIN:
        return None
    return f"Stated as {stated} light, but the picture looks like {reading.lamp} light: {reading.why}"


def lamp_from_name(name: str) -> Lamp | None:
    """Lamp a file's name speaks of, when it speaks of one.

    >>> lamp_from_name("lid-3_Blue.jpg"), lamp_from_name("blue-stone_white.tif"), lamp_from_name("blues.jpg")
    (<Lamp.BLUE: 'blue'>, None, None)
    """
    words = set(re.findall(r"[a-z]+", name.lower()))
    lamps = [lamp for lamp in (Lamp.WHITE, Lamp.BLUE) if lamp.value in words]
    return lamps[0] if len(lamps) == 1 else None


def _judge(white: float, only_blue: float, blown: float) -> LampReading:
    """Weigh the share that returns red and green together against the share that returns only blue.

    What is blown out to white in all channels, beyond the size of a label, may be metal under white
    light, and takes away from the certainty of blue.
    """
    if white >= _WHITE_ABOVE:
        why = f"{white:.0%} of the lit picture returns red and green together, which blue light cannot."
        return LampReading(Lamp.WHITE, min(1.0, 0.5 + white / (4 * _WHITE_ABOVE)), why)
    if white < _BLUE_BELOW and only_blue >= 0.5:
        why = f"{only_blue:.0%} of the lit picture returns blue and hardly any red."
        confidence = (0.5 + only_blue / 2) * (1 - 5 * white) * max(0.0, 1 - 5 * max(0.0, blown - 0.05))
        return LampReading(Lamp.BLUE, confidence, why)
    return LampReading(
        Lamp.OTHER, 0.3, "The colours are neither those of blue light nor plainly those of white light."
    )


def _sample(pixels: Pixels) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Choose pixels evenly, (h, w, 3) in grey levels of 255, and say which equal their neighbours."""
    height, width = pixels.shape[:2]
    step = max(1, round((height * width / _SAMPLES) ** 0.5))
    rows, columns = np.arange(0, height, step), np.arange(0, width, step)
    scale = np.float32(255 / np.iinfo(pixels.dtype).max)

    def at(dy: int, dx: int) -> NDArray[np.float32]:
        y, x = np.minimum(rows + dy, height - 1), np.minimum(columns + dx, width - 1)
        return np.asarray(pixels[y[:, None], x] * scale, np.float32)

    here = at(0, 0)
    flat = (abs(at(1, 0) - here).max(axis=-1) <= 2) & (abs(at(0, 1) - here).max(axis=-1) <= 2)
    return here, flat


def _linear(levels: NDArray[np.float32]) -> NDArray[np.float32]:
    v = levels / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
