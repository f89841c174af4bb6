"""Ridge responses against another library, exact lines and steps."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import erf
from skimage.filters import sato

from setstone.measure.ridges import oriented_response, ridge_response


def texture(shape: tuple[int, int] = (240, 211), seed: int = 3) -> NDArray[np.float32]:
    rng = np.random.default_rng(seed)
    yy, xx = np.mgrid[: shape[0], : shape[1]]
    waves = 30 * np.sin(xx / 7 + yy / 31) + 20 * np.sin(yy / 5 - xx / 19)
    return (100 + waves + rng.normal(0, 4, shape)).astype(np.float32)


@pytest.mark.parametrize("bright", [True, False])
@pytest.mark.parametrize("sigmas", [(1.5, 2.5), (2.0, 3.0, 4.0, 5.0)])
def test_response_equals_that_of_scikit_image(bright: bool, sigmas: tuple[float, ...]) -> None:
    # Source: scikit-image's sato (Sato et al. 1998), a general-purpose library.
    ours = ridge_response(texture(), sigmas, bright=bright).response
    theirs = sato(texture(), sigmas=sigmas, black_ridges=not bright, mode="reflect")
    inner = (slice(12, -12), slice(12, -12))
    assert np.corrcoef(ours[inner].ravel(), theirs[inner].ravel())[0, 1] >= 0.99


def line_picture(angle: float, sigma: float, shape: tuple[int, int] = (121, 121)) -> NDArray[np.float32]:
    yy, xx = np.mgrid[: shape[0], : shape[1]]
    across = -(xx - shape[1] // 2) * math.sin(angle) + (yy - shape[0] // 2) * math.cos(angle)
    return (20 + 50 * np.exp(-0.5 * (across / sigma) ** 2)).astype(np.float32)


@pytest.mark.parametrize("degrees", [0, 17, 45, 90, 101, 160])
@pytest.mark.parametrize("response", [ridge_response, oriented_response])
def test_direction_is_along_the_line(response, degrees: int) -> None:  # type: ignore[no-untyped-def]
    found = response(line_picture(math.radians(degrees), 1.5), [1.0, 1.6]).angle[60, 60]
    off = (math.degrees(float(found)) - degrees + 90) % 180 - 90
    # The oriented response knows sixteen directions, 11.25 degrees apart.
    assert abs(off) <= 11.25 / 2 + 0.5


def test_a_step_is_no_line() -> None:
    xx = np.mgrid[:80, :120][1]
    step = (60 + 40 * erf((xx - 59.3) / 1.2)).astype(np.float32)
    assert oriented_response(step, [1.0, 1.6]).response.max() < 0.01
    assert ridge_response(step, [1.0, 1.6]).response.max() > 1  # which is why the other exists


def test_a_point_grows_no_rays() -> None:
    yy, xx = np.mgrid[:61, :61]
    point = (200 * np.exp(-0.5 * ((xx - 30) ** 2 + (yy - 30) ** 2))).astype(np.float32)
    response = oriented_response(point, [1.0]).response
    assert response[30, 37] < 0.02 * response[30, 30]


def test_bands_leave_no_seam() -> None:
    tall = texture((600, 64))
    whole = oriented_response(tall, [1.0, 1.6]).response
    # Rows 200..400 hold the border between two bands; cut out, they lie within one.
    part = oriented_response(tall[200:400], [1.0, 1.6]).response
    np.testing.assert_allclose(whole[230:370], part[30:-30], atol=1e-4)


def test_dark_lines_are_bright_ones_upside_down() -> None:
    picture = texture()
    dark = oriented_response(picture, [1.2], bright=False)
    turned = oriented_response(-picture, [1.2])
    np.testing.assert_array_equal(dark.response, turned.response)
