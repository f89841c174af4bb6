"""Read the lines of a stage micrometer, lying in any direction.

A ruled scale is one wave in the plane of the picture. Its wave vector is found in the spectrum, the picture
is shifted by it to rest (demodulation), and what is left of the phase says, point by point, how far the lines
are from where an even scale would have them (Takeda, Ina & Kobayashi 1982, J. Opt. Soc. Am. 72, 156-160). No
pixel is resampled, so that neither turning nor blur nor uneven light moves a line.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray

from setstone.measure.light import Pixels
from setstone.measure.quantity import combine

#: Fewer lines than this are no scale.
FEWEST_LINES = 10
#: Finest lines that pixels can carry, px from line to line (Nyquist has 2).
FINEST_PX = 2.5
#: How much a wave must stand out of all others of like length, in power.
_STANDS_OUT = 100.0
#: Waves tried, those that stand out most first.
_TRIED = 6
#: The phase stands still when it turns by less than this from one place to the next, rad.
_STILL = 1e-4
#: The lines are where the wave is stronger than this share of its typical strength.
_CORE = 0.5
#: The phase of a place is compared with that of a square around it of so many periods.
_AROUND = 7.0
#: What is nearer than this to the rim of the picture is left out, periods.
_RIM = 1.5
#: Lines left out at each end of the scale.
_END_LINES = 2
#: Lines that tell of the period in a part of the field.
_FEWEST_IN_PART = 6
#: Scatter of single lines, as a share of their distance, above which they are not ruled: of lines blurred by a
#: third of their distance it is 0.006, of numerals taken for lines nearly 0.02.
_RULED = 0.01
#: Lines that differ in strength by this share, every n-th from the others, are not one spacing.
_UNEQUAL = 0.5
#: A line is longer than others when it is longer by this share.
_LONGER = 1.25
#: What sampling by pixels may do to the place of a line even without noise, px: overtones fold onto the wave.
_U_END_PX = 0.01
#: Lines share the light of a Gaussian window of one period's sigma: correlation exp(-k²/4) at k lines, by
#: which the standard error of a slope grows by sqrt(1 + 2 Σ exp(-k²/4)).
_NEIGHBOURS = float(np.sqrt(1 + 2 * np.exp(-(np.arange(1, 6) ** 2) / 4).sum()))

Plane = NDArray[np.float32]
Vector = NDArray[np.float64]


@dataclass(frozen=True)
class Bend:
    """How the scale changes along the lines: perspective (linear), barrel or pincushion (quadratic).

    Parameters
    ----------
    linear, quadratic : float
        Change of the local scale between the middle and the ends of the lines found, relative.
    u_linear, u_quadratic : float
        Their standard uncertainties.
    """

    linear: float
    u_linear: float
    quadratic: float
    u_quadratic: float


@dataclass(frozen=True, eq=False)
class MicrometerLines:
    """The lines of a scale in one photograph.

    Parameters
    ----------
    period_px : float
        Distance from line to line, square to them, in px.
    u_period_px : float
        Its standard uncertainty from the scatter of the lines, in px.
    angle_deg : float
        Direction in which the lines follow each other, -90 to 90, from the x axis, y down.
    numbers : (N,) int64 array
        Line numbers, counted from the first line found.
    centres : (N, 2) float64 array
        A point on each line, x and y in px.
    residuals_px : (N,) float64 array
        Where each line is, less where an even scale would have it, in px.
    bend : Bend
        What of the residuals is not chance.
    longer_every : int or None
        Every how many lines one is longer than those beside it; None when all seem alike.
    size : (int, int)
        Width and height of the picture, px.
    """

    period_px: float
    u_period_px: float
    angle_deg: float
    numbers: NDArray[np.int64]
    centres: Vector
    residuals_px: Vector
    bend: Bend
    longer_every: int | None = None
    size: tuple[int, int] = (0, 0)

    @property
    def wave_vector(self) -> Vector:
        """Cycles per px along x and y."""
        angle = np.deg2rad(self.angle_deg)
        return np.array([np.cos(angle), np.sin(angle)]) / self.period_px


@dataclass(frozen=True)
class LocalPeriod:
    """Distance from line to line in one part of the picture.

    Parameters
    ----------
    x, y : float
        Where, as shares of width and height from the upper left corner.
    change : float
        Of the period against that of all lines, relative.
    u : float
        Its standard uncertainty.
    """

    x: float
    y: float
    change: float
    u: float


def local_periods(lines: MicrometerLines, parts: int = 5) -> tuple[LocalPeriod, ...]:
    """Say how the period changes over the field, in as many parts as there are lines for.

    Parameters
    ----------
    lines : MicrometerLines
    parts : int, optional
        At most.

    Returns
    -------
    tuple of LocalPeriod
        Along the lines; empty where fewer than two parts have `_FEWEST_IN_PART` lines.
    """
    parts = min(parts, len(lines.numbers) // _FEWEST_IN_PART)
    if parts < 2 or min(lines.size) <= 0:
        return ()
    normal = lines.wave_vector * lines.period_px
    found = []
    for part in np.array_split(np.argsort(lines.numbers), parts):
        n = lines.numbers[part] - lines.numbers[part].mean()
        along = lines.centres[part] @ normal
        slope, offset = np.polyfit(n, along, 1)
        left = along - (slope * n + offset)
        u = _NEIGHBOURS * float(np.sqrt(left @ left / (len(n) - 2) / (n @ n))) / lines.period_px
        x, y = (lines.centres[part].mean(axis=0) + 0.5) / lines.size
        found.append(LocalPeriod(float(x), float(y), float(slope) / lines.period_px - 1, u))
    return tuple(found)


def find_micrometer(pixels: Pixels) -> MicrometerLines | None:
    """Find the evenly ruled lines in a photograph.

    Of several spacings that run through the picture (every line, every fifth, every tenth) the closest counts.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        RGB as encoded; dark lines on bright ground or bright ones on dark.

    Returns
    -------
    MicrometerLines or None
        None where no scale of at least `FEWEST_LINES` lines is seen.
    """
    darkness = _darkness(pixels)
    if float((darkness * darkness * darkness).mean()) < 0:  # bright lines (and dust) on dark ground
        darkness = -darkness
    level = 1 / float(np.iinfo(pixels.dtype).max)
    whole = _Box(0, 0, darkness.shape[1], darkness.shape[0])
    waves = _standing_out(darkness)
    # Of lines out of focus sometimes only the second or third overtone stands out, in the long ones.
    for wave in (*waves, *(w / n for w in waves for n in (3, 2))):
        found = _ruled(darkness, wave, whole, level)
        if found is not None:
            lines, box = found
            lines = _closest(darkness, lines, box, level)
            return replace(lines, longer_every=_longer_every(darkness, lines), size=(whole.x1, whole.y1))
    return None


@dataclass(frozen=True)
class _Box:
    """Columns x0 to x1 and rows y0 to y1 of the picture."""

    x0: int
    y0: int
    x1: int
    y1: int


def _darkness(pixels: Pixels) -> Plane:
    """Share of the light missing against the neighbourhood, free of uneven lighting and of black margins."""
    grey = pixels.mean(axis=2, dtype=np.float32) / np.float32(np.iinfo(pixels.dtype).max)
    height, width = grey.shape
    size = (max(1, width // 8), max(1, height // 8))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    sigma = max(size) / 25
    lit = _lit(small)
    ground = cv2.GaussianBlur(small * lit, (0, 0), sigma) / (cv2.GaussianBlur(lit, (0, 0), sigma) + 1e-6)
    ground = cv2.resize(ground, (width, height), interpolation=cv2.INTER_LINEAR)
    darkness = 1 - grey / np.maximum(ground, 0.05 * float(ground.max()) + 1e-6)
    if not lit.all():
        darkness *= cv2.resize(lit, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(darkness, np.float32)


def _lit(small: Plane) -> Plane:
    """1 inside the field of view, 0 in a black margin such as that of a round field stop, soft between."""
    black = (small <= 0.04 * float(small.max())).astype(np.uint8)
    black = cv2.morphologyEx(black, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    _, labels = cv2.connectedComponents(np.pad(black, 1, constant_values=1))
    margin = (labels == labels[0, 0])[1:-1, 1:-1]
    if not 0 < margin.mean() < 0.7:  # else the ground is dark and the lines are bright
        return np.ones_like(small)
    margin = cv2.dilate(margin.astype(np.uint8), np.ones((5, 5), np.uint8))
    return np.asarray(np.clip(cv2.GaussianBlur(1 - margin.astype(np.float32), (0, 0), 2) * 2 - 1, 0, 1))


def _standing_out(darkness: Plane) -> list[Vector]:
    """Wave vectors (cycles per px) that stand out most from all waves of 0.5 to 1.5 times their frequency.

    Among comb and overtones this is, as a rule, the closest spacing of lines that runs through: the wider
    ones of every fifth and tenth line have fewer waves to stand out from, and overtones have their comb.
    """
    height, width = darkness.shape
    taper = np.outer(_tapered(height), _tapered(width))
    shape = [scipy.fft.next_fast_len(n, real=True) for n in (height, width)]
    power = np.abs(scipy.fft.rfft2(darkness * taper, shape)) ** 2
    fy = scipy.fft.fftfreq(shape[0]).astype(np.float32)[:, None]
    fx = scipy.fft.rfftfreq(shape[1]).astype(np.float32)[None, :]
    radius = np.hypot(fy, fx)
    ring = (radius * max(shape)).astype(np.int32)
    total = np.concatenate([[0], np.cumsum(np.bincount(ring.ravel(), power.ravel()))])
    count = np.concatenate([[0], np.cumsum(np.bincount(ring.ravel()))])
    rings = np.arange(len(total) - 1)
    low, high = rings // 2, np.minimum(rings + rings // 2 + 1, len(rings))
    mean = ((total[high] - total[low]) / np.maximum(1, count[high] - count[low])).astype(np.float32)
    contrast = power / (mean[ring] + np.float32(1e-30))
    contrast[(radius < FEWEST_LINES / max(height, width)) | (radius > 1 / FINEST_PX)] = 0
    waves: list[Vector] = []
    while len(waves) < _TRIED:
        row, column = (int(i) for i in np.unravel_index(int(np.argmax(contrast)), contrast.shape))
        if contrast[row, column] < _STANDS_OUT:
            break
        waves.append(np.array([fx[0, column], fy[row, 0]], np.float64))
        # What lies within a twentieth of it is the same wave.
        contrast[np.hypot(fx - fx[0, column], fy - fy[row, 0]) < 0.05 * radius[row, column]] = 0
    return waves


def _tapered(n: int) -> Plane:
    """Window that falls to zero over the outer twentieth on each side."""
    distance = np.minimum(np.arange(n), np.arange(n)[::-1]) / max(1.0, n / 20)
    return np.asarray(np.sin(np.pi / 2 * np.clip(distance, 0, 1)) ** 2, np.float32)


def _ruled(darkness: Plane, wave: Vector, box: _Box, level: float) -> tuple[MicrometerLines, _Box] | None:
    """Lines that follow each other as a wave does, and where they are; None when there are none."""
    found = _at_rest(darkness, wave, box)
    if found is None:
        return None
    field, box = found
    lines = _lines(field, level)
    if lines is None:
        return None
    strengths = _strengths(darkness, lines)
    every = _every(strengths, lines.numbers)
    if every > 1:
        return _ruled(darkness, lines.wave_vector / every, box, level)
    return lines, box


def _closest(darkness: Plane, lines: MicrometerLines, box: _Box, level: float) -> MicrometerLines:
    """Look for lines between the lines: the short ones, where only the long ones stood out."""
    for parts in (10, 5, 2):
        if lines.period_px / parts > FINEST_PX:
            finer = _ruled(darkness, lines.wave_vector * parts, box, level)
            if finer is not None and round(lines.period_px / finer[0].period_px) == parts:
                return finer[0]
    return lines


@dataclass(frozen=True, eq=False)
class _Field:
    """The picture with one wave brought to rest, reduced.

    z is (h, w) complex: amplitude and phase of the wave around each point; x and y are the places, px.
    """

    z: NDArray[np.complex64]
    x: Vector
    y: Vector
    wave: Vector

    @property
    def _steady(self) -> Plane:
        """Amplitude of the wave as far as its phase is the same around: numerals are as dark as lines, but restless."""
        side = 2 * round(_AROUND / 2 / float(np.hypot(*self.wave)) / (self.x[1] - self.x[0])) + 1
        size = np.abs(self.z)
        real, imaginary, all_of_it = (
            cv2.blur(cv2.blur(np.ascontiguousarray(part), (side, side)), (side, side))
            for part in (self.z.real, self.z.imag, size)
        )
        return np.asarray(size * np.hypot(real, imaginary) / (all_of_it + np.float32(1e-30)), np.float32)

    @property
    def core(self) -> NDArray[np.bool_] | None:
        """The largest place where the wave is strong, short of the rim, where it is cut off."""
        size = self._steady
        rim = int(_RIM / float(np.hypot(*self.wave)) / (self.x[1] - self.x[0]))
        inside = np.zeros_like(size)
        inner = np.s_[rim : size.shape[0] - rim, rim : size.shape[1] - rim]
        inside[inner] = size[inner]
        typical = float((inside**3).sum() / ((inside**2).sum() + 1e-30))
        _, labels, stats, _ = cv2.connectedComponentsWithStats((inside > _CORE * typical).astype(np.uint8))
        if len(stats) < 2:
            return None
        return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])), np.bool_)


def _at_rest(darkness: Plane, wave: Vector, box: _Box) -> tuple[_Field, _Box] | None:
    """Demodulate, and correct the wave vector until its phase stands still where the lines are."""
    for _ in range(5):
        field = _demodulated(darkness, wave, box)
        core = None if field is None else field.core
        if field is None or core is None:
            return None
        box = _around(core, field, darkness.shape)
        across, down = core[:, :-1] & core[:, 1:], core[:-1] & core[1:]
        z = field.z
        turn = np.angle([np.vdot(z[:, :-1][across], z[:, 1:][across]), np.vdot(z[:-1][down], z[1:][down])])
        wave = wave + turn / (2 * np.pi * (field.x[1] - field.x[0]))
        if float(np.hypot(*turn)) < _STILL:
            break
    field = _demodulated(darkness, wave, box)
    return None if field is None else (field, box)


def _around(core: NDArray[np.bool_], field: _Field, shape: tuple[int, ...]) -> _Box:
    """The box of the core with room for its windows and for the long lines."""
    room = 5 / float(np.hypot(*field.wave))
    rows, columns = np.flatnonzero(core.any(axis=1)), np.flatnonzero(core.any(axis=0))
    return _Box(
        max(0, int(field.x[columns[0]] - room)),
        max(0, int(field.y[rows[0]] - room)),
        min(shape[1], int(field.x[columns[-1]] + room) + 1),
        min(shape[0], int(field.y[rows[-1]] + room) + 1),
    )


def _demodulated(darkness: Plane, wave: Vector, box: _Box) -> _Field | None:
    period = 1 / float(np.hypot(*wave))
    # The mean over such a block has its zeros where overtones would fold onto the wave.
    step = max(1, int(period / 4))
    width, height = (box.x1 - box.x0) // step, (box.y1 - box.y0) // step
    if min(width, height) < 4:
        return None
    x, y = box.x0 + np.arange(width * step), box.y0 + np.arange(height * step)
    turn_x = np.exp(-2j * np.pi * wave[0] * x).astype(np.complex64)
    turn_y = np.exp(-2j * np.pi * wave[1] * y).astype(np.complex64)[:, None]
    cut = darkness[box.y0 : box.y0 + height * step, box.x0 : box.x0 + width * step]
    # In strips: a complex copy of the whole picture would be by far the largest array.
    z = np.empty((height, width), np.complex64)
    rows = max(1, 256 // step)
    for top in range(0, height, rows):
        strip = np.s_[top * step : (top + rows) * step]
        turned = cut[strip] * turn_x * turn_y[strip]
        z[top : top + rows] = turned.reshape(-1, step, width, step).mean(axis=(1, 3))
    # A window of one period's sigma lets through exp(-2π²) of the mean darkness and of the first overtone.
    smooth = [
        cv2.GaussianBlur(np.ascontiguousarray(part), (0, 0), period / step) for part in (z.real, z.imag)
    ]
    places = [axis[::step].astype(np.float64) + (step - 1) / 2 for axis in (x, y)]
    return _Field((smooth[0] + 1j * smooth[1]).astype(np.complex64), places[0], places[1], wave)


def _lines(field: _Field, level: float) -> MicrometerLines | None:
    """Lines from the phase of the field: each at the mean phase of what is nearer to it than to another.

    `level` is one grey level as a share of white.
    """
    core = field.core
    if core is None:
        return None
    period = 1 / float(np.hypot(*field.wave))
    normal = field.wave * period
    rows, columns = np.nonzero(core)
    places = np.column_stack([field.x[columns], field.y[rows]])
    z = field.z[core]
    first = float(np.angle(z.sum()))
    number = np.round(places @ field.wave + first / (2 * np.pi)).astype(np.int64)
    keep = _alike(places @ np.array([-normal[1], normal[0]]) / period, number, z)
    places, number, z = places[keep], number[keep], z[keep]
    low = int(number.min())
    index = number - low
    count = np.bincount(index)
    # The outermost lines lack a neighbour whose side they share, and seem to lie further out.
    whole = np.flatnonzero(count > 0.5 * np.median(count[count > 0]))[_END_LINES:-_END_LINES]
    if len(whole) < FEWEST_LINES:
        return None
    mean = (np.bincount(index, z.real) + 1j * np.bincount(index, z.imag))[whole]
    ahead = np.unwrap(np.angle(mean * np.exp(-1j * first))) / (2 * np.pi)
    weight = np.abs(z)
    total = np.bincount(index, weight)[whole]
    middle = np.column_stack([np.bincount(index, weight * c)[whole] / total for c in places.T])
    even = middle @ field.wave + first / (2 * np.pi)
    # Along the wave, from the middle of what was averaged to where the phase is a whole turn.
    centres = middle + ((whole + low - ahead - even) * period)[:, None] * normal
    # A wave of few grey levels is moved by their steps, alike over long stretches: phase is step / amplitude.
    amplitude = 2 * float(np.median(weight))
    u_end_px = combine(_U_END_PX, period / (2 * np.pi) * level / float(np.sqrt(12)) / amplitude)
    return _regressed(whole, centres, normal, u_end_px)


def _alike(height: Vector, number: NDArray[np.int64], z: NDArray[np.complex64]) -> NDArray[np.bool_]:
    """Leave out heights along the lines where the phase is restless: numerals stand there.

    `height` is along the lines, in periods.
    """
    level = np.floor(2 * (height - height.min())).astype(np.int64)
    phase = np.angle(z * np.exp(-1j * np.angle(z.sum())))
    if np.ptp(number) < FEWEST_LINES:
        return np.ones(len(z), np.bool_)
    off = phase - np.polyval(np.polyfit(number, phase, 1), number)
    count = np.bincount(level)
    restless = np.sqrt(np.bincount(level, off**2) / np.maximum(1, count))
    usable = count > 0.5 * count.max()
    calm = usable & (restless < 1.5 * restless[usable].min())
    return np.asarray(calm[level], np.bool_)


def _strengths(darkness: Plane, lines: MicrometerLines, height: float = 0.0) -> Vector:
    """How much each line stands out of the gaps beside it, `height` px along it from its centre."""
    normal = lines.wave_vector * lines.period_px
    offsets = np.linspace(-0.5, 0.5, 17) * lines.period_px
    start = lines.centres + height * np.array([-normal[1], normal[0]])
    x, y = ((start[:, i, None] + offsets * normal[i]).astype(np.float32) for i in (0, 1))
    profile = cv2.remap(darkness, x, y, cv2.INTER_LINEAR)
    line, gap = profile[:, 5:12].mean(axis=1), (profile[:, :3] + profile[:, -3:]).mean(axis=1) / 2
    return np.asarray(line - gap, np.float64)


def _every(strengths: Vector, numbers: NDArray[np.int64]) -> int:
    """Say that only every n-th of what was counted is a line, when the wave was an overtone; else 1."""
    for n in (5, 4, 3, 2):
        turning = np.exp(2j * np.pi * numbers / n)
        if np.ptp(numbers) >= 2 * n and abs((strengths * turning).mean()) > _UNEQUAL * abs(strengths.mean()):
            return n
    return 1


def _longer_every(darkness: Plane, lines: MicrometerLines) -> int | None:
    """Every how many lines one is longer, out of 10, 5 and 2."""
    heights = np.arange(-10, 10.01, 0.25) * lines.period_px
    strong = np.array([_strengths(darkness, lines, float(h)) for h in heights])
    lengths = (strong > 0.5 * np.median(_strengths(darkness, lines))).sum(axis=0)
    for n in (2, 5, 10):
        if np.ptp(lines.numbers) < 2 * n:
            continue
        classes = [lengths[lines.numbers % n == c] for c in range(n)]
        if min(len(c) for c in classes) == 0:
            continue
        by_class = np.array([np.median(c) for c in classes])
        longest = int(np.argmax(by_class))
        if by_class[longest] > _LONGER * np.delete(by_class, longest).max():
            return n
    return None


def _regressed(
    numbers: NDArray[np.int64], centres: Vector, normal: Vector, u_end_px: float
) -> MicrometerLines | None:
    """Even scale through the lines, without those that dirt has moved."""
    along = centres @ normal
    middle = float(numbers.mean())
    keep = np.ones(len(numbers), np.bool_)
    for _ in range(5):
        # A cubic: distortion moves the lines at the ends and is no dirt.
        smooth = np.polynomial.Polynomial.fit(numbers[keep], along[keep], 3)
        left = along - smooth(numbers)
        spread = 1.4826 * float(np.median(np.abs(left[keep]))) + 1e-9
        now = np.abs(left) < 5 * spread
        if now.sum() < FEWEST_LINES or (now == keep).all():
            break
        keep = now
    number = numbers[keep]
    slope, offset = np.polyfit(number - middle, along[keep], 1)
    if float(left[keep].std()) > _RULED * slope:
        return None
    left = along[keep] - (slope * (number - middle) + offset)
    n = number - number.mean()
    angle = float(np.rad2deg(np.arctan2(normal[1], normal[0])))
    return MicrometerLines(
        period_px=float(slope),
        u_period_px=combine(_standard_error(n, left), u_end_px * float(np.sqrt(2)) / float(np.ptp(n))),
        angle_deg=(angle + 90) % 180 - 90,
        numbers=number - int(number.min()),
        centres=centres[keep],
        residuals_px=left,
        bend=_bend(n, along[keep]),
    )


def _standard_error(numbers: Vector, left: Vector) -> float:
    """Standard error of a slope whose residuals hang together (Newey & West 1987, Econometrica 55, 703)."""
    moment = numbers * left
    reach = min(max(6, len(left) // 4), len(left) - 1)
    variance = float(moment @ moment)
    for lag in range(1, reach + 1):
        variance += 2 * (1 - lag / (reach + 1)) * float(moment[lag:] @ moment[:-lag])
    independent = _NEIGHBOURS**2 * float(left @ left) / len(left) * float(numbers @ numbers)
    return float(np.sqrt(max(variance, independent))) / float(numbers @ numbers)


def _bend(numbers: Vector, along: Vector) -> Bend:
    """Fit a cubic to the lines: its second and third terms as changes of the local scale."""
    s = numbers / np.abs(numbers).max()
    basis = np.vander(s, 4)[:, ::-1]
    found, *_ = np.linalg.lstsq(basis, along, rcond=None)
    left = along - basis @ found
    variance = float(left @ left) / max(1, len(s) - 4) * _NEIGHBOURS**2
    u = np.sqrt(np.diag(np.linalg.inv(basis.T @ basis)) * variance)
    per = abs(float(found[1]))
    return Bend(
        linear=float(2 * found[2] / per),
        u_linear=float(2 * u[2] / per),
        quadratic=float(3 * found[3] / per),
        u_quadratic=float(3 * u[3] / per),
    )
