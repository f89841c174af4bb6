"""Paths of light through a cut stone: refraction, total reflection, Fresnel, absorption, scattering sheets.

One path serves both lamps: where it goes does not depend on the light, only what it meets at its end does.
The fissures' glow is not traced path by path: the light that falls on each sheet is gathered once.
"""

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from rendering.cuts import CROWN, GIRDLE, PAVILION, Stone, Values
from rendering.flaws import Body, Fissure

#: Longest path, in reflections.
BOUNCES = 12
#: Columns of what a path brings back: red, green, blue under white light; blue light; fissure and inclusion seen
#: directly; fissure and inclusion seen by reflection.
RED, GREEN, BLUE, LAMP, FISSURE, INCLUSION, FISSURE_GHOST, INCLUSION_GHOST = range(8)


class Solid(NamedTuple):
    """Everything of a stone that paths meet, as arrays."""

    normals: Values  # crown first
    offsets: Values
    sides: NDArray[np.float32]  # (4, P): the same, for quick loops
    crowns: int
    parts: NDArray[np.int64]
    index: float
    absorption: Values  # red, green, blue, per mm
    scatter: float  # per mm
    haze: float  # share of the light that haze sends on
    wear: float  # mm, width of rounded edges
    back: int  # 0 open, 1 foil, 2 black, 3 dull metal
    tint: Values  # of the back, red, green, blue
    mean_light: Values  # red, green, blue, lamp: within the stone
    corners: Values
    along: Values
    rises: Values
    opacity: Values
    white: float  # share of the white light falling on a fissure that it sends on; the rest goes through
    owner: NDArray[np.int64]
    glow: Values  # (S, 4)
    bounds: Values  # (F, 4): sphere around each fissure
    firsts: NDArray[np.int64]  # (F + 1,)
    centres: Values
    shapes: Values
    bubbles: NDArray[np.bool_]
    radii: Values


def solid(
    stone: Stone, fissures: list[Fissure], bodies: list[Body], *, index: float, absorption: Values, scatter: float,
    wear: float, back: int, tint: Values, white: float,
) -> Solid:  # fmt: skip
    """Lay out a stone with its flaws for `trace`."""
    parts = [f.sheets() for f in fissures]
    counts = [len(p[0]) for p in parts]
    empty = np.zeros((0, 3))
    corners, along, rises = (np.concatenate([empty, *(p[k] for p in parts)]) for k in range(3))
    bounds = []
    for corner, edge, rise in parts:
        points = np.concatenate([corner, corner + edge, corner + rise, corner + edge + rise])
        middle = points.mean(axis=0)
        bounds.append((*middle, np.linalg.norm(points - middle, axis=1).max()))
    order = np.argsort(stone.parts, kind="stable")
    normals, offsets = stone.normals[order], stone.offsets[order]
    return Solid(
        normals=normals, offsets=offsets, parts=stone.parts[order], crowns=int((stone.parts == CROWN).sum()),
        sides=np.ascontiguousarray(np.column_stack([normals, offsets]).T.astype(np.float32)), index=index, absorption=absorption,
        scatter=scatter, haze=0.9, wear=wear, back=back, tint=tint, mean_light=np.zeros(4),
        corners=corners, along=along, rises=rises,
        white=white, opacity=np.repeat([f.opacity for f in fissures], counts) if fissures else np.zeros(0),
        owner=np.repeat(np.arange(len(fissures)), counts) if fissures else np.zeros(0, np.int64),
        glow=np.zeros((len(corners), 4)), bounds=np.array(bounds).reshape(-1, 4),
        firsts=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        centres=np.array([b.centre for b in bodies]).reshape(-1, 3),
        shapes=np.array([b.shape for b in bodies]).reshape(-1, 3, 3),
        bubbles=np.array([b.bubble for b in bodies], np.bool_),
        radii=np.array([b.diameter_um / 1000 for b in bodies], np.float64),
    )  # fmt: skip


@njit(cache=True)
def sky_light(dx: float, dy: float, dz: float, v: Values, out: Values) -> None:  # pragma: no cover
    """White light (red, green, blue) and blue light from a direction.

    `v`: 0 dark polar angle; 1-4 white: ambient, ring strength, ring polar, ring width; 5 LEDs in the ring;
    6-10 blue: ambient, strength, polar, width, LEDs; 11 azimuth of the first LED; 12 height of the setting's wall;
    13-15 its colour; 16 its brightness under blue; 17 claws; 18 azimuth of the first; 19 their half width; 20 their height;
    21 beads; 22 gradient of the ambient; 23 sharpness of blue LEDs.
    """
    polar = np.arccos(min(1.0, max(-1.0, dz)))
    azimuth = np.arctan2(dy, dx)
    low = np.pi / 2 - polar
    claw = False
    if v[17] > 0 and low < v[20]:
        turn = (azimuth - v[18]) / (2 * np.pi) * v[17]
        claw = abs(turn - np.round(turn)) * 2 * np.pi / v[17] < v[19]
    if low < v[12] or claw:
        shade = 0.55 + 0.3 * np.cos(v[21] * azimuth) * np.cos(9.0 * low) + 0.6 * max(0.0, low)
        for c in range(3):
            out[c] = v[13 + c] * shade
        out[3] = v[16] * shade
        return
    white = v[1] * (1 + v[22] * np.cos(azimuth - v[11]) * np.sin(polar))
    blue = v[6]
    if polar < v[0]:
        white *= 0.06
        blue *= 0.06
    d = (polar - v[3]) / v[4]
    if abs(d) < 3:
        ring = v[2] * np.exp(-0.5 * d * d * d * d)
        if v[5] > 0:
            ring *= 0.15 + 0.85 * (0.5 + 0.5 * np.cos(v[5] * azimuth)) ** 4
        white += ring
    d = (polar - v[8]) / v[9]
    if abs(d) < 3:
        ring = v[7] * np.exp(-0.5 * d * d * d * d)
        if v[10] > 0:
            turn = (azimuth - v[11]) / (2 * np.pi) * v[10]
            off = (turn - np.round(turn)) * 2 * np.pi / v[10]
            ring *= np.exp(-0.5 * (off / v[23]) ** 4)
        blue += ring
    out[0] = white
    out[1] = white
    out[2] = white
    out[3] = blue


@njit(cache=True)
def fresnel(cosine: float, ratio: float) -> float:  # pragma: no cover
    """Share of unpolarized light reflected; `ratio` is the index before over the index behind."""
    s2 = ratio * ratio * (1 - cosine * cosine)
    if s2 >= 1:
        return 1.0
    ct = np.sqrt(1 - s2)
    s = (ratio * cosine - ct) / (ratio * cosine + ct)
    p = (cosine - ratio * ct) / (cosine + ratio * ct)
    return 0.5 * (s * s + p * p)


@njit(cache=True)
def grainy(x: float, y: float, z: float, scale: float) -> float:  # pragma: no cover
    """A pattern in 0..1 that depends on the place only, smooth over about `scale` mm."""
    a = np.sin(x / scale * 1.7 + 1.3 * np.sin(y / scale * 1.1 + 0.7)) + np.sin(
        y / scale * 2.3 + 1.9 * np.sin(z / scale)
    )
    b = np.sin((x + y) / scale * 0.9 + 2.1 * np.sin((z - x) / scale * 0.6))
    return 0.5 + (a + b) / 6


@njit(cache=True, fastmath=True)
def nearness(
    sides: NDArray[np.float32], o: Values, d: Values, out: NDArray[np.float32]
) -> None:  # pragma: no cover
    """One over the distance to each side along a ray; the greatest is met first. Flat loops that vectorize."""
    dx, dy, dz = np.float32(d[0]), np.float32(d[1]), np.float32(d[2])
    ox, oy, oz = np.float32(o[0]), np.float32(o[1]), np.float32(o[2])
    for i in range(len(out)):
        g = sides[0, i] * dx + sides[1, i] * dy + sides[2, i] * dz
        r = sides[3, i] - sides[0, i] * ox - sides[1, i] * oy - sides[2, i] * oz
        out[i] = g / max(r, np.float32(1e-7))


@njit(cache=True)
def leaving(
    x: float,
    y: float,
    d: Values,
    nx: float,
    ny: float,
    nz: float,
    cosine: float,
    part: int,
    s: Solid,
    v: Values,
    light: Values,
) -> None:  # pragma: no cover
    """Light from beyond a side, where a path goes out."""
    if part == CROWN:
        root = np.sqrt(max(0.0, 1 - s.index * s.index * (1 - cosine * cosine)))
        k = root - s.index * cosine
        sky_light(s.index * d[0] + k * nx, s.index * d[1] + k * ny, s.index * d[2] + k * nz, v, light)
    elif part == GIRDLE:
        for c in range(3):
            light[c] = 0.25 * v[13 + c]
        light[3] = 0.25 * v[16]
    elif s.back == 3:
        for c in range(3):
            light[c] = 0.3 * s.tint[c]
        light[3] = 0.08
    elif s.back == 0:
        shade = 0.7 + 0.5 * grainy(x, y, 0.0, 0.35)
        for c in range(3):
            light[c] = v[1] * 0.8 * s.tint[c] * shade
        light[3] = v[6] * 1.2 * shade
    else:
        for c in range(3):
            light[c] = 0.02
        light[3] = 0.006


@njit(cache=True)
def inside_path(
    o: Values, d: Values, s: Solid, v: Values, gathering: bool, out: Values, share: float = 1.0
) -> None:  # pragma: no cover
    """Follow one ray from a point inside the stone to its end and add what it sees to `out` (8 columns)."""
    light, through, work = np.zeros(4), np.full(4, share), np.empty(len(s.offsets), np.float32)
    way = 0.0
    seen = False
    bounces = 0
    while True:
        nearness(s.sides, o, d, work)
        face = np.argmax(work)
        reach = 1 / work[face] if work[face] > 1e-9 else 1e9
        kind, which = 0, -1
        if s.scatter > 0:
            t = -np.log(np.random.random()) / s.scatter
            if t < reach:
                reach = t
                kind = 1
        if not gathering:
            for f in range(len(s.bounds)):
                bx, by, bz = s.bounds[f, 0] - o[0], s.bounds[f, 1] - o[1], s.bounds[f, 2] - o[2]
                along = bx * d[0] + by * d[1] + bz * d[2]
                if bx * bx + by * by + bz * bz - along * along > s.bounds[f, 3] ** 2:
                    continue
                for q in range(s.firsts[f], s.firsts[f + 1]):
                    ax, ay, az = s.along[q]
                    rx, ry, rz = s.rises[q]
                    px, py, pz = d[1] * rz - d[2] * ry, d[2] * rx - d[0] * rz, d[0] * ry - d[1] * rx
                    det = ax * px + ay * py + az * pz
                    if abs(det) < 1e-12:
                        continue
                    tx, ty, tz = o[0] - s.corners[q, 0], o[1] - s.corners[q, 1], o[2] - s.corners[q, 2]
                    u = (tx * px + ty * py + tz * pz) / det
                    if u < 0 or u > 1:
                        continue
                    qx, qy, qz = ty * az - tz * ay, tz * ax - tx * az, tx * ay - ty * ax
                    w = (d[0] * qx + d[1] * qy + d[2] * qz) / det
                    if w < 0 or w > 1:
                        continue
                    t = (rx * qx + ry * qy + rz * qz) / det
                    if 1e-6 < t < reach:
                        reach = t
                        kind = 2
                        which = q
            for b in range(len(s.radii)):
                bx, by, bz = s.centres[b, 0] - o[0], s.centres[b, 1] - o[1], s.centres[b, 2] - o[2]
                along = bx * d[0] + by * d[1] + bz * d[2]
                if bx * bx + by * by + bz * bz - along * along > s.radii[b] ** 2:
                    continue
                m = s.shapes[b]
                ex = m[0, 0] * bx + m[0, 1] * by + m[0, 2] * bz
                ey = m[1, 0] * bx + m[1, 1] * by + m[1, 2] * bz
                ez = m[2, 0] * bx + m[2, 1] * by + m[2, 2] * bz
                fx = m[0, 0] * d[0] + m[0, 1] * d[1] + m[0, 2] * d[2]
                fy = m[1, 0] * d[0] + m[1, 1] * d[1] + m[1, 2] * d[2]
                fz = m[2, 0] * d[0] + m[2, 1] * d[1] + m[2, 2] * d[2]
                a = fx * fx + fy * fy + fz * fz
                h = ex * fx + ey * fy + ez * fz
                disc = h * h - a * (ex * ex + ey * ey + ez * ez - 1)
                if disc <= 0:
                    continue
                t = (h - np.sqrt(disc)) / a
                if 1e-6 < t < reach:
                    reach = t
                    kind = 3
                    which = b
        way += reach
        x, y, z = o[0] + reach * d[0], o[1] + reach * d[1], o[2] + reach * d[2]
        if kind == 1:
            for c in range(4):
                light[c] = s.haze * s.mean_light[c]
            break
        if kind == 2:
            patch = 0.2 + 1.2 * grainy(x, y, z, 0.018)
            if np.random.random() < s.opacity[which] * patch:
                if not seen:
                    out[FISSURE if bounces == 0 else FISSURE_GHOST] += 1
                    seen = True
                if np.random.random() < 0.15:
                    ax, ay, az = s.along[which]
                    rx, ry, rz = s.rises[which]
                    nx, ny, nz = ay * rz - az * ry, az * rx - ax * rz, ax * ry - ay * rx
                    size = np.sqrt(nx * nx + ny * ny + nz * nz)
                    g = 2 * (d[0] * nx + d[1] * ny + d[2] * nz) / (size * size)
                    d[0] -= g * nx
                    d[1] -= g * ny
                    d[2] -= g * nz
                    o[0], o[1], o[2] = x, y, z
                    bounces += 1
                    if bounces > BOUNCES:
                        break
                    continue
                for c in range(3):
                    light[c] = 0.85 * s.white * s.glow[which, c]
                light[3] = 0.95 * s.glow[which, 3]
                break
            o[0], o[1], o[2] = x + 1e-6 * d[0], y + 1e-6 * d[1], z + 1e-6 * d[2]
            continue
        if kind == 3:
            m = s.shapes[which]
            ex = (
                m[0, 0] * (x - s.centres[which, 0])
                + m[0, 1] * (y - s.centres[which, 1])
                + m[0, 2] * (z - s.centres[which, 2])
            )
            ey = (
                m[1, 0] * (x - s.centres[which, 0])
                + m[1, 1] * (y - s.centres[which, 1])
                + m[1, 2] * (z - s.centres[which, 2])
            )
            ez = (
                m[2, 0] * (x - s.centres[which, 0])
                + m[2, 1] * (y - s.centres[which, 1])
                + m[2, 2] * (z - s.centres[which, 2])
            )
            nx = m[0, 0] * ex + m[1, 0] * ey + m[2, 0] * ez
            ny = m[0, 1] * ex + m[1, 1] * ey + m[2, 1] * ez
            nz = m[0, 2] * ex + m[1, 2] * ey + m[2, 2] * ez
            size = np.sqrt(nx * nx + ny * ny + nz * nz)
            nx, ny, nz = nx / size, ny / size, nz / size
            cosine = -(nx * d[0] + ny * d[1] + nz * d[2])
            if not s.bubbles[which]:
                if not seen:
                    out[INCLUSION if bounces == 0 else INCLUSION_GHOST] += 1
                for c in range(4):
                    light[c] = 0.02 * s.mean_light[c]
                break
            if fresnel(cosine, s.index) >= 1 or np.random.random() < fresnel(cosine, s.index):
                d[0] += 2 * cosine * nx
                d[1] += 2 * cosine * ny
                d[2] += 2 * cosine * nz
                o[0], o[1], o[2] = x, y, z
                bounces += 1
            else:
                o[0], o[1], o[2] = (
                    x + 2 * s.radii[which] * cosine * d[0],
                    y + 2 * s.radii[which] * cosine * d[1],
                    z + 2 * s.radii[which] * cosine * d[2],
                )
            if bounces > BOUNCES:
                break
            continue
        nx, ny, nz = s.normals[face]
        cosine = nx * d[0] + ny * d[1] + nz * d[2]
        mirror = fresnel(cosine, s.index)
        part = s.parts[face]
        if mirror < 1:
            # What leaves here ends here; what stays goes on, weaker: no dice, no noise.
            if part == PAVILION and s.back == 1:
                for c in range(3):
                    through[c] *= mirror + (1 - mirror) * 0.82 * s.tint[c]
                through[3] *= mirror + (1 - mirror) * 0.75 * s.tint[2]
            else:
                leaving(x, y, d, nx, ny, nz, cosine, part, s, v, light)
                for c in range(3):
                    out[c] += (1 - mirror) * light[c] * through[c] * np.exp(-s.absorption[c] * way)
                    through[c] *= mirror
                out[LAMP] += (1 - mirror) * light[3] * through[3] * np.exp(-s.absorption[2] * way)
                through[3] *= mirror
            light[:] = 0
            if through[3] < 0.01:
                return
        d[0] -= 2 * cosine * nx
        d[1] -= 2 * cosine * ny
        d[2] -= 2 * cosine * nz
        if part == GIRDLE:
            d[0] += 0.15 * np.random.normal()
            d[1] += 0.15 * np.random.normal()
            d[2] += 0.15 * np.random.normal()
            size = np.sqrt(d[0] ** 2 + d[1] ** 2 + d[2] ** 2)
            d[0], d[1], d[2] = d[0] / size, d[1] / size, d[2] / size
            if nx * d[0] + ny * d[1] + nz * d[2] > 0:
                return
        o[0], o[1], o[2] = x, y, z
        bounces += 1
        if bounces > BOUNCES:
            break
    for c in range(3):
        out[c] += light[c] * through[c] * np.exp(-s.absorption[c] * way)
    out[LAMP] += light[3] * through[3] * np.exp(-s.absorption[2] * way)


@njit(cache=True)
def gather(s: Solid, v: Values, rays: int, seed: int) -> None:  # pragma: no cover
    """Fill in the light that falls on the sheets and the mean light in the stone."""
    np.random.seed(seed)
    out = np.zeros(8)
    o, d = np.zeros(3), np.zeros(3)
    for q in range(-1, len(s.corners)):
        out[:] = 0
        n = rays if q >= 0 else 40 * rays
        for _ in range(n):
            while True:
                d[0], d[1], d[2] = np.random.normal(), np.random.normal(), np.random.normal()
                size = np.sqrt(d[0] ** 2 + d[1] ** 2 + d[2] ** 2)
                if size > 1e-6:
                    break
            d /= size
            if q >= 0:
                u, w = np.random.random(), np.random.random()
                for k in range(3):
                    o[k] = s.corners[q, k] + u * s.along[q, k] + w * s.rises[q, k]
            else:
                o[0], o[1], o[2] = 0.3 * np.random.normal(), 0.3 * np.random.normal(), -0.05
                reach = np.abs(s.offsets).min()
                o *= 0.6 * reach
            inside_path(o, d, s, v, True, out)
        for c in range(3):
            (s.glow[q] if q >= 0 else s.mean_light)[c] = out[c] / n
        (s.glow[q] if q >= 0 else s.mean_light)[3] = out[LAMP] / n


@njit(cache=True)
def trace(
    s: Solid,
    v: Values,
    x0: float,
    y0: float,
    pixel: float,
    turn: float,
    width: int,
    samples: int,
    aperture: float,
    focus: float,
    height: int,
    seed: int,
) -> Values:  # pragma: no cover
    """Photograph the stone from above; (height, width, 9): see the column names, last the share of stone."""
    np.random.seed(seed)
    picture = np.zeros((height, width, 9))
    o, d = np.zeros(3), np.zeros(3)
    sky = np.zeros(4)
    ct, st = np.cos(turn), np.sin(turn)
    for row in range(height):
        for column in range(width):
            out = picture[row, column]
            for _ in range(samples):
                # The picture's y runs down; the stone's up.
                px = (column + np.random.random() - 0.5 - x0) * pixel
                py = -(row + np.random.random() - 0.5 - y0) * pixel
                fx, fy = ct * px - st * py, st * px + ct * py
                while True:
                    ax, ay = 2 * np.random.random() - 1, 2 * np.random.random() - 1
                    if ax * ax + ay * ay <= 1:
                        break
                d[0], d[1], d[2] = aperture * ax, aperture * ay, -1.0
                d /= np.sqrt(d[0] ** 2 + d[1] ** 2 + 1)
                o[0], o[1], o[2] = fx - (10 - focus) / -d[2] * d[0], fy - (10 - focus) / -d[2] * d[1], 10.0
                enter, leave, face = -1e9, 1e9, -1
                for i in range(len(s.offsets)):
                    g = s.normals[i, 0] * d[0] + s.normals[i, 1] * d[1] + s.normals[i, 2] * d[2]
                    r = (
                        s.offsets[i]
                        - s.normals[i, 0] * o[0]
                        - s.normals[i, 1] * o[1]
                        - s.normals[i, 2] * o[2]
                    )
                    if abs(g) < 1e-12:
                        if r < 0:
                            enter = 1e9
                        continue
                    t = r / g
                    if g < 0:
                        if t > enter:
                            enter = t
                            face = i
                    elif t < leave:
                        leave = t
                if enter >= leave or face < 0:
                    continue
                out[8] += 1
                o[0], o[1], o[2] = o[0] + enter * d[0], o[1] + enter * d[1], o[2] + enter * d[2]
                nx, ny, nz = s.normals[face]
                if s.wear > 0:
                    # A worn edge is rounded: the normal turns over to the neighbour's, here more, there less.
                    for i in range(s.crowns):
                        if i == face:
                            continue
                        gap = (
                            s.offsets[i]
                            - s.normals[i, 0] * o[0]
                            - s.normals[i, 1] * o[1]
                            - s.normals[i, 2] * o[2]
                        )
                        worn = s.wear * 1.6 * max(0.0, grainy(o[0], o[1], o[2], 0.09) - 0.3)
                        c = nx * s.normals[i, 0] + ny * s.normals[i, 1] + nz * s.normals[i, 2]
                        bend = worn * np.sqrt(max(0.0, 1 - c * c))
                        if gap < bend and bend > 1e-9:
                            w = 0.5 * (1 - gap / bend) + 0.25 * (np.random.random() - 0.5)
                            nx += w * (s.normals[i, 0] - nx)
                            ny += w * (s.normals[i, 1] - ny)
                            nz += w * (s.normals[i, 2] - nz)
                            size = np.sqrt(nx * nx + ny * ny + nz * nz)
                            nx, ny, nz = nx / size, ny / size, nz / size
                cosine = -(nx * d[0] + ny * d[1] + nz * d[2])
                if cosine <= 1e-3:
                    continue
                share = fresnel(cosine, 1 / s.index)
                sky_light(d[0] + 2 * cosine * nx, d[1] + 2 * cosine * ny, d[2] + 2 * cosine * nz, v, sky)
                for c in range(4):
                    out[c] += share * sky[c]
                ratio = 1 / s.index
                k = ratio * cosine - np.sqrt(1 - ratio * ratio * (1 - cosine * cosine))
                for c in range(3):
                    n = nx if c == 0 else ny if c == 1 else nz
                    d[c] = ratio * d[c] + k * n
                for c in range(3):
                    o[c] += 1e-7 * d[c]
                inside_path(o, d, s, v, False, out, 1 - share)
            out /= samples
    return picture
