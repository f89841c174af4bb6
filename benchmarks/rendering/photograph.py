"""From traced light to a pair of photographs with the truth about them."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from rendering import trace as t
from rendering.cuts import CROWN, CUTS, Random, Stone, Values, cut_stone
from rendering.flaws import Body, Fissure, growth, make_body, make_fissure
from rendering.setting_again import SetAgain, leaning
from rendering.surface import Grid, soil

#: Refractive index and absorption per mm of red, green and blue of some colours of stones; made up to look right.
MATERIALS = {
    "ruby": (1.762, (0.04, 0.9, 0.55)), "sapphire": (1.762, (1.0, 0.56, 0.09)), "yellow sapphire": (1.762, (0.02, 0.07, 0.5)),
    "diamond": (2.417, (0.005, 0.007, 0.012)), "brown diamond": (2.417, (0.12, 0.2, 0.4)), "emerald": (1.58, (0.38, 0.05, 0.24)),
    "aquamarine": (1.577, (0.25, 0.08, 0.04)), "amethyst": (1.544, (0.2, 0.4, 0.12)), "citrine": (1.544, (0.03, 0.1, 0.45)),
    "rock crystal": (1.544, (0.003, 0.003, 0.003)), "garnet": (1.76, (0.06, 0.45, 0.42)), "spinel": (1.718, (0.05, 0.3, 0.2)),
    "topaz": (1.62, (0.02, 0.05, 0.13)), "peridot": (1.67, (0.2, 0.06, 0.4)), "tourmaline": (1.63, (0.3, 0.1, 0.22)),
    "glass": (1.52, (0.01, 0.009, 0.014)), "green glass": (1.52, (0.4, 0.06, 0.27)), "lead glass": (1.63, (0.009, 0.013, 0.044)),
}  # fmt: skip
HAZE = {"none": (0.0, 0.0), "slight": (0.04, 0.07), "medium": (0.1, 0.16), "strong": (0.2, 0.26)}
METALS = {"gold": (0.83, 0.66, 0.36), "silver": (0.8, 0.8, 0.78), "rose gold": (0.85, 0.6, 0.5)}
FISSURE, INCLUSION, FISSURE_GHOST, INCLUSION_GHOST, SETTING = 1, 2, 4, 8, 128
SAMPLES = 4


@dataclass(frozen=True, eq=False)
class Rendered:
    """A pair of photographs and what is true of them, in the keys of the computed test stones."""

    white: NDArray[np.uint8]
    blue: NDArray[np.uint8]
    labels: NDArray[np.uint8]
    truth: dict[str, Any]


def render(
    name: str,
    seed: int,
    *,
    depth: float | None = None,
    visit: int = 0,
    glue: float | None = None,
    again: SetAgain | None = None,
    fineness: float = 1.0,
    worn: bool = False,
) -> Rendered:
    """Make up a stone in its setting and photograph it under both lamps.

    Parameters
    ----------
    name : str
    seed : int
        The same number gives the same stone.
    depth : float, optional
        Optical depth of its haze across the girdle, instead of one drawn at random; all else stays.
    visit : int
        Another day: the same stone in another setting, turned, under other lamps and another camera.
    glue : float, optional
        Width of the film of old glue on its rim as a share of the diameter, 0 for none, instead of one
        drawn at random; all else stays.
    again : SetAgain, optional
        After the work, at the same microscope: how it was set again and what happened to it.
    fineness : float
        Pixels across the stone, as a share of what the camera usually has: fewer are sooner rendered.
    worn : bool
        Whether its surface may be worn and scratched, and bear dust and fibres (`rendering.surface`); all else stays.
    """
    rng = np.random.default_rng(seed)
    cut = CUTS[seed % len(CUTS)]
    width = float(np.exp(rng.uniform(np.log(1.3), np.log(6))))
    stone = cut_stone(cut, width, rng)
    material = str(rng.choice(list(MATERIALS)))
    index, absorption = MATERIALS[material]
    # The depth of colour goes with the size: nobody sets a black stone.
    absorb = np.array(absorption) * rng.uniform(0.7, 1.3) * (3 / width) ** 0.8
    haze = str(rng.choice(list(HAZE), p=[0.8, 0.08, 0.07, 0.05]))
    clean = rng.random() < 0.2
    fissures = (
        []
        if clean
        else [f for f in (make_fissure(stone, width, rng) for _ in range(int(rng.integers(1, 5)))) if f]
    )
    bodies = (
        []
        if clean
        else [b for b in (make_body(stone, width, rng) for _ in range(int(rng.integers(0, 5)))) if b]
    )
    if "glass" in material and rng.random() < 0.5:
        bodies += [b for b in (make_body(stone, width, rng, bubble=True) for _ in range(4)) if b]
    back = int(rng.choice([0, 1, 2, 3], p=[0.15, 0.71, 0.05, 0.09]))
    drawn = 3 * float(rng.uniform(*HAZE[haze]))
    if again:
        chance = np.random.default_rng((seed, 7, again.time))
        new = [make_fissure(stone, width, chance) for _ in range(again.fissures)]
        new += [growth(stone, fissures, width, chance)] if again.grown else []
        fissures += [one for one in new if one]
        bodies = bodies[1:] if again.without_inclusion else bodies
        stone, fissures, bodies = leaning(stone, fissures, bodies, again.lean_deg)
    if depth is not None:
        haze = next((word for word, (_, most) in HAZE.items() if depth <= 3 * most), "strong")
    s = t.solid(
        stone, fissures, bodies, index=index, absorption=absorb,
        scatter=(drawn if depth is None else depth) / width, back=back,
        wear=float(rng.choice([0, 0.002, 0.005, 0.009])) * width / 3,
        white=float(rng.uniform(0.2, 0.75)), tint=np.array([1, 1, 1]) if rng.random() < 0.8 else np.array(METALS["gold"]),
    )  # fmt: skip
    if visit:
        rng = np.random.default_rng((seed, visit))
    metal = str(rng.choice(list(METALS)))
    sky = _sky(rng, np.array(METALS[metal]))
    diameter_px = fineness * rng.uniform(560, 900)
    pixel = width / diameter_px
    reach = 2.3 * np.abs(stone.outline).max() / pixel
    size = round(min(1300.0 * fineness, reach * 1.12))
    x0, y0 = size / 2 + rng.normal(0, 6, 2)
    turn = rng.uniform(0, 2 * np.pi)
    aperture, focus = rng.uniform(0.002, 0.012), rng.uniform(-0.1, 0.2) * width
    if again:
        rng = np.random.default_rng((seed, 8, again.time))
        pixel /= again.zoom
        size = round(size * again.zoom)
        x0, y0 = size / 2 + rng.normal(0, 6, 2)
        turn += np.radians(again.turn_deg)
        sky[11] += np.radians(again.turn_deg)  # lamps stay where they are, the stone is turned
    t.gather(s, sky, 80, seed)
    light = t.trace(
        s,
        sky,
        x0,
        y0,
        pixel,
        turn,
        size,
        SAMPLES,
        aperture,
        focus,
        size,
        seed if again is None else seed + 100_000 * (1 + again.time),
    )

    def project(points: Values) -> Values:
        c, q = np.cos(turn), np.sin(turn)
        return np.stack(
            [
                x0 + (c * points[:, 0] + q * points[:, 1]) / pixel,
                y0 - (-q * points[:, 0] + c * points[:, 1]) / pixel,
            ],
            axis=1,
        )

    outline = project(stone.outline)
    seen = _setting(light, outline, sky, metal, bool(sky[17]), rng)
    smeared, film_rng = rng.random() < 0.3, rng if glue is None else np.random.default_rng((seed, visit, 1))
    if smeared if glue is None else glue > 0:
        _glue(light, outline, seen, film_rng, glue)
    if worn:
        column, row = np.meshgrid(np.arange(size) - x0, y0 - np.arange(size))
        c, q = pixel * np.cos(turn), pixel * np.sin(turn)
        time = 0 if again is None else 1 + again.time
        soil(
            light,
            stone,
            Grid(c * column - q * row, q * column + c * row, pixel),
            seen,
            wear=np.random.default_rng((seed, 20)),
            dirt=np.random.default_rng((seed, 21, visit, time)),
        )
    white = _exposed(light[..., :3], seen, rng, np.ones(3), (0.35, 0.85), 97)
    leak = np.array([rng.uniform(0.03, 0.14), rng.uniform(0.1, 0.4), 1])
    blue = _exposed(np.repeat(light[..., 3:4], 3, 2), seen, rng, leak, (0.25, 1.6), rng.uniform(90, 97))
    labels = _labels(light, seen)
    truth = {
        "case": name, "kind": "stone", "split": "rendered", "um_per_px": pixel * 1000,
        "tags": [cut, material, metal, f"back_{back}", "clean" if not fissures and not bodies else "flawed"],
        "colour": {"material": material, "refractive_index": index, "milky": haze, "scatter_per_mm": s.scatter},
        "images": {
            f"{lamp}": {"image": f"{lamp}.jpg", "lamp": lamp, "width": size, "height": size, "um_per_px": pixel * 1000, "scale_bar": None}
            for lamp in ("white", "blue")
        },
        "stone": _stone_truth(stone, outline, seen, pixel),
        "fissures": [_fissure_truth(k + 1, f, stone, index, project, white, blue, seen) for k, f in enumerate(fissures)],
        "inclusions": [
            _body_truth(k + 1, b, stone, index, project, pixel, white, seen) for k, b in enumerate(b for b in bodies if not b.bubble)
        ],
        "bubbles": [p[0].round(2).tolist() for b in bodies if b.bubble for _, p in _views(stone, index, b.centre[None], project)],
        "labels": "labels.png",
    }  # fmt: skip
    return Rendered(white, blue, labels, truth)


def _sky(rng: Random, metal: Values) -> Values:
    v = np.zeros(24)
    v[0] = np.radians(rng.uniform(6, 16))
    dome = rng.random() < 0.4
    v[1] = rng.uniform(0.6, 1) if dome else rng.uniform(0.3, 0.7)
    v[2] = 0 if dome else rng.uniform(0.5, 1.6)
    v[3], v[4] = np.radians(rng.uniform(28, 62)), np.radians(rng.uniform(5, 14))
    v[5] = 0 if rng.random() < 0.5 else rng.integers(6, 16)
    v[6], v[7] = float(np.exp(rng.uniform(np.log(0.001), np.log(0.014)))), rng.uniform(1.5, 4)
    v[8], v[9] = np.radians(rng.uniform(48, 80)), np.radians(rng.uniform(4, 10))
    v[10] = rng.choice([0, 2, 3, 4, 6, 8])
    v[11] = rng.uniform(0, 2 * np.pi)
    v[12] = np.radians(rng.uniform(3, 16))
    v[13:16] = metal * rng.uniform(0.25, 0.8)
    v[16] = float(np.exp(rng.uniform(np.log(0.005), np.log(0.15))))
    v[17] = rng.choice([0, 0, 3, 4, 6])
    v[18], v[19], v[20] = rng.uniform(0, 2 * np.pi), rng.uniform(0.06, 0.14), np.radians(rng.uniform(20, 40))
    v[21] = rng.integers(20, 70)
    v[22] = rng.uniform(0, 0.4)
    v[23] = np.radians(rng.uniform(8, 25))
    return v


def _setting(
    light: Values, outline: Values, sky: Values, metal: str, claws: bool, rng: Random
) -> NDArray[np.bool_]:
    """Draw the setting around and over the stone; where the stone can still be seen."""
    height, width = light.shape[:2]
    stone = np.zeros((height, width), np.uint8)
    cv2.fillPoly(stone, [np.rint(outline * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    inner = cv2.distanceTransform(stone, cv2.DIST_L2, 5)
    outer = cv2.distanceTransform(1 - stone, cv2.DIST_L2, 5)
    diameter = float(np.ptp(outline[:, 0]))
    cover = rng.uniform(0.0, 0.02) * diameter
    seen = inner > cover
    if claws:
        centre = outline.mean(axis=0)
        for k in range(int(sky[17])):
            a = sky[18] + 2 * np.pi * k / sky[17] + rng.normal(0, 0.05)
            way = np.array([np.cos(a), np.sin(a)])
            rim = centre + way * float(((outline - centre) @ way).max())
            tip = rim - way * diameter * rng.uniform(0.03, 0.08)
            mask = np.zeros((height, width), np.uint8)
            cv2.line(
                mask,
                np.rint(tip).astype(int).tolist(),
                np.rint(rim + way * 0.1 * diameter).astype(int).tolist(),
                1,
                round(diameter * rng.uniform(0.04, 0.07)),
            )
            seen &= mask == 0
    edge = cv2.distanceTransform((~seen).astype(np.uint8), cv2.DIST_L2, 5) / diameter
    grain = cv2.GaussianBlur(rng.normal(0, 1, (height, width)).astype(np.float32), (0, 0), 1.5)
    shade = 0.45 + 0.35 * np.cos(edge * rng.uniform(60, 140)) + 0.4 * grain
    shade = np.where(outer > 0.12 * diameter, 0.5 + 0.6 * cv2.GaussianBlur(grain, (0, 0), 6), shade)
    hidden = ~seen
    tint = np.array([*METALS[metal], sky[16] * 3])
    light[hidden, :4] = np.clip(shade, 0.03, None)[hidden, None] * tint * np.array([0.5, 0.5, 0.5, 1])
    light[hidden, 4:8] = 0
    return np.asarray(seen)


def _glue(light: Values, outline: Values, seen: NDArray[np.bool_], rng: Random, reach: float | None) -> None:
    """Lay old glue over the rim of the stone: a yellow, scattering film that has crazed."""
    height, width = seen.shape
    diameter = float(np.ptp(outline[:, 0]))
    depth = cv2.distanceTransform(seen.astype(np.uint8), cv2.DIST_L2, 5) / diameter
    noise = cv2.GaussianBlur(rng.normal(0, 1, (height, width)).astype(np.float32), (0, 0), 0.035 * diameter)
    noise /= noise.std()
    drawn = rng.uniform(0.01, 0.06)
    film = (
        np.clip(((drawn if reach is None else reach) * (1 + 0.9 * noise) - depth) / 0.012, 0, 1)
        * seen
        * rng.uniform(0.4, 0.95)
    )
    cell = rng.uniform(0.012, 0.035) * diameter
    n = round(height * width / cell**2)
    seeds = np.full((height, width), 255, np.uint8)
    seeds[rng.integers(0, height, n), rng.integers(0, width, n)] = 0
    _, owner = cv2.distanceTransformWithLabels(seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    crack = (cv2.morphologyEx(owner.astype(np.float32), cv2.MORPH_GRADIENT, np.ones((2, 2))) > 0).astype(
        np.float32
    )
    crack = cv2.GaussianBlur(crack, (0, 0), rng.uniform(0.5, 0.9)) * film
    level = light[seen, :4].mean(axis=0)
    glue = np.array([0.9, 0.75, 0.4, 0.8]) * level * rng.uniform(0.5, 1.2)
    light[..., :4] += film[..., None] * (glue - light[..., :4]) + crack[..., None] * level * np.array(
        [-0.3, -0.3, -0.3, rng.uniform(0.3, 2.5)]
    )
    np.maximum(light, 0, out=light)


def _exposed(
    light: Values,
    seen: NDArray[np.bool_],
    rng: Random,
    channels: Values,
    brightest: tuple[float, float],
    percentile: float,
) -> NDArray[np.uint8]:
    """Blur, expose, add the noise of a camera, encode as sRGB (IEC 61966-2-1) and compress."""
    level = float(np.percentile(light[seen].max(axis=1), percentile))
    light = light * channels * (rng.uniform(*brightest) / max(level, 1e-4))
    light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.45, 0.95))
    electrons = rng.uniform(1500, 12000)
    light = np.clip(light, 0, 1.5)
    light = light + rng.normal(0, 1, light.shape) * np.sqrt(
        light / electrons + rng.uniform(0.0006, 0.002) ** 2
    )
    light = np.clip(light, 0, 1)
    encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    pixels = np.rint(255 * encoded).astype(np.uint8)
    _, packed = cv2.imencode(
        ".jpg",
        pixels[..., ::-1],
        [
            cv2.IMWRITE_JPEG_QUALITY,
            int(rng.integers(86, 97)),
            cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
            cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
        ],
    )
    return np.ascontiguousarray(cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1])


def _labels(light: Values, seen: NDArray[np.bool_]) -> NDArray[np.uint8]:
    labels = np.where(seen, 0, SETTING).astype(np.uint8)
    for column, bit, least in (
        (t.FISSURE, FISSURE, 0.1), (t.INCLUSION, INCLUSION, 0.5),
        (t.FISSURE_GHOST, FISSURE_GHOST, 0.2), (t.INCLUSION_GHOST, INCLUSION_GHOST, 0.4),
    ):  # fmt: skip
        labels[light[..., column] >= least] |= bit
    return labels


def _stone_truth(stone: Stone, outline: Values, seen: NDArray[np.bool_], pixel: float) -> dict[str, Any]:
    ways = np.linspace(0, np.pi, 180, endpoint=False)
    widths = np.ptp(outline @ np.stack([np.cos(ways), np.sin(ways)]), axis=0)
    contours, _ = cv2.findContours(seen.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    visible = max(contours, key=cv2.contourArea)[:, 0]
    return {
        "cut": stone.cut, "outline_px": outline.round(2).tolist(), "visible_outline_px": visible.tolist(),
        "visible_fraction": float(seen.sum() / cv2.contourArea(outline.astype(np.float32))),
        "diameter_px": float(widths.mean()), "centre_px": outline.mean(axis=0).round(2).tolist(),
        "diameter_mm": {k: float(f(widths) * pixel) for k, f in (("min", np.min), ("mean", np.mean), ("max", np.max))},
    }  # fmt: skip


def _views(
    stone: Stone, index: float, points: Values, project: Any
) -> list[tuple[NDArray[np.bool_], Values]]:
    """How points inside are seen straight from above through each facet: which of them, and where in the picture."""
    views = []
    for k in np.flatnonzero((stone.parts == CROWN) & (stone.normals[:, 2] > 0.05)):
        n = stone.normals[k]
        cosine = n[2]
        way = np.array([0, 0, -1.0]) / index + (cosine / index - np.sqrt(1 - (1 - cosine**2) / index**2)) * n
        back = (points @ n - stone.offsets[k]) / (n @ way)
        entry = points - back[:, None] * way
        seen = (entry @ stone.normals.T <= stone.offsets + 1e-9).all(axis=1)
        if seen.any():
            views.append((seen, project(entry)))
    return views


def _fissure_truth(
    number: int, fissure: Fissure, stone: Stone, index: float, project: Any,
    white: NDArray[np.uint8], blue: NDArray[np.uint8], seen: NDArray[np.bool_],
) -> dict[str, Any]:  # fmt: skip
    pieces = []
    for branch, line in enumerate(fissure.branches):
        at = np.linspace(0, len(line) - 1, 8 * len(line))
        fine = np.stack([np.interp(at, np.arange(len(line)), line[:, k]) for k in range(3)], axis=1)
        for shown, places in _views(stone, index, fine, project):
            inside = seen[
                np.clip(np.rint(places[:, 1]).astype(int), 0, seen.shape[0] - 1),
                np.clip(np.rint(places[:, 0]).astype(int), 0, seen.shape[1] - 1),
            ]
            run = np.concatenate([[0], (shown & inside).astype(int), [0]])
            starts, ends = np.flatnonzero(np.diff(run) > 0), np.flatnonzero(np.diff(run) < 0)
            for a, b in zip(starts, ends, strict=True):
                if b - a >= 2 and np.hypot(*np.diff(places[a:b], axis=0).T).sum() >= 5:
                    pieces.append(
                        {
                            "line_px": places[a:b].round(2).tolist(),
                            "branch": branch,
                            **{
                                lamp: _contrast(places[a:b], picture)
                                for lamp, picture in (("white", white), ("blue", blue))
                            },
                        }
                    )
    return {
        "id": number,
        "kind": fissure.kind,
        "level": fissure.level,
        "grown": fissure.grown,
        "pieces": pieces,
    }


def _contrast(path: Values, picture: NDArray[np.uint8]) -> dict[str, Any]:
    """How far a line stands out: grey levels above its flanks, 5 to 9 px away."""
    at = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    path = np.stack([np.interp(np.arange(0, at[-1], 1.0), at, path[:, k]) for k in range(2)], axis=1)
    way = np.gradient(path, axis=0)
    normal = np.stack([-way[:, 1], way[:, 0]], axis=1) / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    off = np.arange(-9, 10)
    points = path[:, None] + off[None, :, None] * normal[:, None]
    grey = (
        picture.max(axis=2).astype(np.float32)
        if picture[..., 2].sum() > 2 * picture[..., 0].sum()
        else picture.mean(axis=2).astype(np.float32)
    )
    values = map_coordinates(grey, [points[..., 1], points[..., 0]], order=1, mode="nearest")
    centre = values[:, np.abs(off) <= 2].max(axis=1)
    flanks = values[:, np.abs(off) >= 5]
    rise = centre - flanks.mean(axis=1)
    spread = max(float(flanks.std(axis=1).mean() + 0.5 * flanks.mean(axis=1).std()), 1.0)
    contrast, share = float(np.median(rise)), float((rise > 3 + 0.35 * spread).mean())
    cnr = contrast / spread
    return {
        "contrast": contrast, "cnr": cnr, "seen_fraction": share,
        "visible": bool(contrast > 5 and cnr > 0.5 and share > 0.5 and at[-1] > 12),
    }  # fmt: skip


def _body_truth(
    number: int,
    body: Body,
    stone: Stone,
    index: float,
    project: Any,
    pixel: float,
    white: NDArray[np.uint8],
    seen: NDArray[np.bool_],
) -> dict[str, Any]:
    sightings = []
    size = body.diameter_um / 1000 / pixel
    grey = white.mean(axis=2)
    y, x = np.mgrid[: grey.shape[0], : grey.shape[1]]
    for _, places in _views(stone, index, body.centre[None], project):
        px, py = places[0]
        far = np.hypot(x - px, y - py)
        core, ring = far <= 0.3 * size + 0.5, (far > 0.75 * size + 1.5) & (far < 1.1 * size + 4)
        if not (core & seen).any():
            continue
        contrast = float(np.median(grey[ring]) - np.median(grey[core]))
        cnr = contrast / max(float(grey[ring].std()), 1.0)
        sightings.append(
            {
                "x": round(float(px), 2),
                "y": round(float(py), 2),
                "diameter_px": round(size, 2),
                "main": False,
                "white": {"contrast": contrast, "cnr": cnr, "visible": bool(contrast > 7 and cnr > 0.9)},
            }
        )
    if sightings:
        max(sightings, key=lambda one: one["white"]["cnr"])["main"] = True
    return {"id": number, "diameter_um": body.diameter_um, "sightings": sightings}
