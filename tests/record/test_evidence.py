"""What single readings say of a material, against published constants, worked examples and simulation."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from setstone.measure.quantity import Quantity
from setstone.record.errors import BookError
from setstone.record.evidence.figures import parse_numbers
from setstone.record.evidence.hydrostatic import hydrostatic_density, water_density
from setstone.record.evidence.likelihood import (
    agreement,
    density_under,
    edges_density,
    pooled,
    probability_above,
)
from setstone.record.evidence.materials import Kind, Material, Range, claimed, materials, signs
from setstone.record.evidence.readings import Edges, OverLimit, Typed
from setstone.record.evidence.understand import understand
from setstone.record.evidence.weights import weigh_density, weigh_index

MATERIALS = {m.id: m for m in materials()}


def test_the_table_covers_all_kinds_and_every_row_has_a_source() -> None:
    assert len(MATERIALS) >= 40
    assert {m.kind for m in MATERIALS.values()} == set(Kind)
    for material in MATERIALS.values():
        assert material.source, material.id
        assert material.standing in ("read", "from memory"), material.id
        for limits in (material.index, material.birefringence, material.density, material.hardness):
            assert limits is None or limits.low <= limits.high, material.id


@pytest.mark.parametrize(
    ("name", "index"),
    [
        # Sodium D line; CRC Handbook of Chemistry and Physics, from memory: ordinary ray where there are two.
        ("diamond", 2.417),
        ("quartz", 1.5443),
        ("fluorite", 1.4338),
    ],
)
def test_handbook_indices_lie_in_the_ranges(name: str, index: float) -> None:
    assert MATERIALS[name].index.wider(0.002).low <= index <= MATERIALS[name].index.wider(0.002).high


def test_natural_and_laboratory_grown_diamond_share_index_and_density() -> None:
    natural, grown = MATERIALS["diamond"], MATERIALS["diamond_lab"]
    assert (natural.index, natural.density) == (grown.index, grown.density)


def test_water_has_its_published_density() -> None:
    # Tanaka et al. 2001, Metrologia 38:301; 0.99821 at 20 °C and 0.99705 at 25 °C.
    assert water_density(20) == pytest.approx(0.99821, abs=1e-5)
    assert water_density(25) == pytest.approx(0.99705, abs=1e-5)


def test_weighing_as_worked_by_hand() -> None:
    # 0.5302 g in air, 0.3975 g in water: 3.9955 times 0.99821 (Archimedes; worked by hand).
    found = hydrostatic_density(0.5302, 0.3975, u_weighing=0.0002 / math.sqrt(3), celsius=20)
    assert found.value == pytest.approx(3.9883, abs=2e-4)
    assert found.u == pytest.approx(0.0044, abs=2e-4)


@given(st.floats(1.4, 1.9), st.floats(0.0005, 0.02), st.floats(0.001, 0.1))
def test_probability_of_a_reading_agrees_with_simulation(low: float, u: float, width: float) -> None:
    rng = np.random.default_rng(0)
    # Trapezoid with a top half as wide as its base (JCGM 100:2008, 4.3.9): the sum of two rectangular ones.
    wide, narrow = rng.uniform(-0.375, 0.375, 40000), rng.uniform(-0.125, 0.125, 40000)
    truth = low + width * (0.5 + wide + narrow)
    reading = low + 0.6 * width + 0.3 * u
    simulated = np.mean(np.exp(-0.5 * ((reading - truth) / u) ** 2) / (u * math.sqrt(2 * math.pi)))
    assert density_under(reading, u, Range(low, low + width)) == pytest.approx(simulated, rel=0.08)
    above = np.mean(truth + rng.normal(0, u, truth.size) > low + width / 2)
    assert probability_above(low + width / 2, u, Range(low, low + width)) == pytest.approx(above, abs=0.02)


@pytest.mark.parametrize(("reading", "u"), [(1.72, 0.002), (1.708, 0.002), (1.7405, 0.004), (1.715, 0.0002)])
def test_probability_of_a_reading_against_a_general_library(reading: float, u: float) -> None:
    """The trapezoid of scipy.stats folded with its normal distribution by numerical integration."""
    low, high = 1.708, 1.737
    truth = stats.trapezoid(0.25, 0.75, loc=low, scale=high - low)
    expected, _ = integrate.quad(
        lambda x: truth.pdf(x) * stats.norm.pdf(reading, x, u),
        low,
        high,
        points=[np.clip(reading, low, high), low + 0.25 * (high - low), low + 0.75 * (high - low)],
        limit=400,
    )
    assert density_under(reading, u, Range(low, high)) == pytest.approx(expected, rel=1e-6, abs=1e-12)
    above, _ = integrate.quad(
        lambda x: truth.pdf(x) * stats.norm.sf(reading, x, u), low, high, points=[1.71525, 1.72975], limit=400
    )
    assert probability_above(reading, u, Range(low, high)) == pytest.approx(above, rel=1e-5, abs=1e-9)


def test_the_density_of_two_edges_is_one_in_all() -> None:
    """Summed over a grid finer than its narrowest feature."""
    step, u = 0.0005, 0.0015
    low = np.arange(1.74, 1.80, step)
    total = sum(
        edges_density(n, n + b, u, Range(1.755, 1.781), Range(0.007, 0.011), whole=0.9)
        for n in low
        for b in np.arange(-0.01, 0.022, step)
    )
    assert total * step**2 == pytest.approx(1.0, abs=0.01)


def test_a_reading_in_the_range_agrees_and_one_two_sigma_off_does_so_in_one_of_twenty() -> None:
    assert agreement(1.80, 0.01, Range(1.70, 1.90)) == 1
    assert agreement(1.90 + 1.96 * 0.01, 0.01, Range(1.70, 1.90)) == pytest.approx(0.05, abs=1e-3)


def test_two_readings_on_one_instrument_are_no_surer_than_the_better() -> None:
    value, u = pooled([1.76, 1.77], [0.002, 0.004])
    assert value == pytest.approx(1.762)
    assert u == 0.002


@pytest.mark.parametrize("material", MATERIALS.values(), ids=lambda m: m.id)
def test_every_material_agrees_with_its_own_middle_readings(material: Material) -> None:
    half = material.birefringence.middle / 2
    middle = material.index.middle
    seen = (
        OverLimit(1.81)
        if middle - half > 1.81
        else Edges(round(middle - half, 4), round(middle + half, 4), 0.002)
    )
    if material.pavilion is None:
        assert weigh_index([seen], [material])[0].agreement > 0.05
    if material.density is not None:
        assert weigh_density(Quantity(material.density.middle, 0.02, "g/cm³"), material).agreement > 0.3


def test_ruby_readings_exclude_glass_and_quartz_but_no_corundum() -> None:
    seen = [Edges(1.762, 1.770, 0.002)]
    assert weigh_index(seen, [MATERIALS["ruby"]])[0].agreement > 0.5
    assert weigh_index(seen, [MATERIALS["quartz"]])[0].agreement < 1e-6
    grown = [m for m in MATERIALS.values() if m.group == MATERIALS["ruby"].group]
    assert len(grown) > 1
    assert {round(weigh_index(seen, [m])[0].likelihood, 9) for m in grown if m.pavilion is None} == {
        round(weigh_index(seen, [MATERIALS["ruby"]])[0].likelihood, 9)
    }


@pytest.mark.parametrize(
    ("typed", "numbers"),
    [("1.762-1.770", (1.762, 1.770)), ("1.762/1.770", (1.762, 1.770)), ("4,00", (4.0,)), ("about 4", None)],
)
def test_numbers_are_read_as_people_type_them(typed: str, numbers: tuple[float, ...] | None) -> None:
    assert parse_numbers(typed) == numbers


def test_it_says_what_it_understood() -> None:
    assert understand(Typed("refractometer", ">1.81")).says == "over the limit: no edge below 1.81"
    assert "birefringence 0.008" in understand(Typed("refractometer", "1,762/1.770")).says


@pytest.mark.parametrize("test", ["hardness", "scratch test"])
def test_no_stone_is_scratched(test: str) -> None:
    with pytest.raises(BookError, match="never made"):
        understand(Typed(test, "9"))


def test_unknown_observations_are_refused_with_a_way_out() -> None:
    with pytest.raises(BookError, match="remark"):
        understand(Typed("loupe", "sparkly bits"))


def test_signs_have_sources_and_claims_find_their_materials() -> None:
    assert len(signs()) >= 40
    assert all(sign.source for sign in signs().values())
    assert "ruby" in {m.id for m in claimed("Ruby, heated")}
