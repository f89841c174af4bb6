"""What all readings of a stone say together: published cases, every row of the table, simulation."""

from collections.abc import Sequence

import numpy as np
import pytest

from setstone.measure.quantity import Quantity
from setstone.record.evidence.materials import Kind, Material, Refraction, materials
from setstone.record.evidence.ranking import Evidence, Ranked, origin_note, rank, weighed_items
from setstone.record.evidence.readings import Edges, OverLimit, ReadingKind, Typed, Understood, Word
from setstone.record.evidence.understand import understand

MATERIALS = {m.id: m for m in materials()}
CHECKED = {"check": {"simulant": "low", "diamond": "high"}}


def typed(test: str, value: str, **details: object) -> Evidence:
    is_set = bool(details.pop("is_set", True))
    if test == "thermal":
        details |= CHECKED
    return Evidence(understand(Typed(test, value, is_set=is_set, details=details)))


def consistent(evidence: Sequence[Evidence]) -> list[Ranked]:
    return [r for r in rank(evidence) if r.consistent]


def leading(evidence: Sequence[Evidence]) -> set[str]:
    return {r.material.id for r in consistent(evidence) if r.rank == 1}


def test_nothing_read_says_nothing() -> None:
    assert rank([]) == ()
    assert rank([typed("spectroscope", "lines in the red")]) == ()


def test_a_missing_reading_changes_nothing() -> None:
    index = typed("refractometer", "1.762-1.770")
    assert rank([index]) == rank([index, typed("spectroscope", "lines in the red")])


# Worked cases of the reference notes on which materials remain (in the notes with their sources: the properties'
# tables named in each row of the table; Hughes & Koivula 2005 on curved striae).
def test_ruby_readings_leave_natural_flame_fusion_and_filled() -> None:
    seen = [
        typed("refractometer", "1.762-1.770"),
        typed("polariscope", "double"),
        typed("thermal", "moderate"),
    ]
    assert {"ruby", "sapphire", "corundum_flame_fusion", "ruby_flux", "ruby_lead_glass"} <= leading(seen)
    seen.append(typed("microscope", "curved striae"))
    assert "corundum_flame_fusion" in leading(seen)
    natural = next(r for r in rank(seen) if r.material.id == "ruby")
    assert not natural.consistent
    assert natural.excluded_by[0].says == "seen: curved striae"


def test_flame_fusion_spinel_shows_at_its_index_and_strain() -> None:
    seen = [typed("refractometer", "1.728"), typed("polariscope", "tabby")]
    assert "spinel_flame_fusion" in leading(seen)


def test_diamond_moissanite_and_laboratory_grown_stay_together_until_doubling_is_tested() -> None:
    """Nassau, McClure, Elen & Shigley 1997, Gems & Gemology 33(4): moissanite reads as diamond."""
    seen = [typed("refractometer", ">1.81"), typed("thermal", "high")]
    assert {"diamond", "diamond_lab", "moissanite"} <= leading(seen)
    looked = leading([*seen, typed("doubling", "none", directions=3)])
    assert {"diamond", "diamond_lab"} <= looked
    assert "moissanite" not in looked
    assert "moissanite" in {r.material.id for r in consistent([*seen, typed("doubling", "none")])}
    assert "diamond" not in {r.material.id for r in consistent([*seen, typed("doubling", "strong")])}


def test_over_the_limit_low_and_single_leaves_the_singly_refracting_ones() -> None:
    seen = [
        typed("refractometer", ">1.81"),
        typed("thermal", "low"),
        typed("polariscope", "single", directions=3),
    ]
    left = {r.material.id for r in consistent(seen)}
    assert {
        "cubic_zirconia",
        "yag",
        "ggg",
        "strontium_titanate",
        "demantoid",
        "glass_lead",
    } <= left
    # A small, dirty or touched diamond reads low too: it is less probable, not excluded.
    diamond = next(r for r in consistent(seen) if r.material.id == "diamond")
    assert diamond.relative < 0.1
    assert diamond.speaks_against is not None
    assert "thermal" in diamond.speaks_against.says


def test_over_the_limit_low_and_strongly_doubling_leaves_zircon_and_rutile() -> None:
    seen = [typed("refractometer", ">1.81"), typed("thermal", "low"), typed("doubling", "strong")]
    assert leading(seen) == {"zircon_high", "zircon_medium", "rutile_synthetic"}


def test_unlike_table_and_pavilion_are_a_doublet() -> None:
    seen = [
        typed("refractometer", "1.78", part="table"),
        typed("refractometer", "1.55", part="pavilion"),
    ]
    assert leading(seen) == {"doublet_garnet_glass"}
    assert all(r.material.kind is Kind.COMPOSITE for r in consistent(seen))


def test_quartz_and_beryl_are_not_told_apart_by_birefringence_alone() -> None:
    """0.009 and 0.006 with √2 × 0.002: reference notes, worked by JCGM 100:2008, 5.1.2."""
    quartz, beryl = MATERIALS["quartz"], MATERIALS["beryl_other"]
    seen = Understood(ReadingKind.REFRACTOMETER, Edges(1.572, 1.5795, 0.002), "")
    assert next(r for r in rank([Evidence(seen)]) if r.material == beryl).consistent
    assert abs(quartz.birefringence.middle - 0.006) < 2 * 0.002 * 2**0.5


def test_filled_ruby_of_a_laboratory_note_agrees() -> None:
    """GIA lab note, Gems & Gemology Spring 2021: 1.761-1.769, SG 4.01, a filled laboratory-grown stone."""
    seen = [typed("refractometer", "1.761-1.769"), typed("density", "4.01", is_set=False)]
    assert {"corundum_flame_fusion", "ruby_lead_glass", "ruby"} <= {r.material.id for r in consistent(seen)}


def middle(material: Material) -> list[Evidence]:
    """Readings from the middle of the published ranges, by an instrument in order."""
    half = material.birefringence.middle / 2
    index = material.index.middle
    edges = Edges(index - half, index + half, 0.0012)
    found: list[tuple[ReadingKind, Edges | OverLimit | Quantity | Word]] = [
        (ReadingKind.REFRACTOMETER, OverLimit(1.81) if index - half > 1.805 else edges)
    ]
    if material.pavilion is not None:
        below = material.pavilion.middle
        edges = Edges(below - half, below + half, 0.0012, part="pavilion")
        found.append((ReadingKind.REFRACTOMETER, edges))
    if material.density is not None and "density" not in material.avoid:
        found.append((ReadingKind.DENSITY, Quantity(material.density.middle, 0.006, "g/cm³")))
    word = {
        Refraction.SINGLE: "single",
        Refraction.STRAINED: "single",
        Refraction.EITHER: "single",
        Refraction.DOUBLE: "double",
        Refraction.AGGREGATE: "aggregate",
    }[material.refraction]
    found.append((ReadingKind.POLARISCOPE, Word(word)))
    heat = "high" if "high" in material.thermal else "moderate" if "moderate" in material.thermal else "low"
    found.append((ReadingKind.THERMAL, Word(heat)))
    return [Evidence(Understood(kind, value, str(kind))) for kind, value in found]


@pytest.mark.parametrize("material", MATERIALS.values(), ids=lambda m: m.id)
def test_every_material_comes_out_on_top_with_its_own_readings(material: Material) -> None:
    ranked = consistent(middle(material))
    own = next(r for r in ranked if r.material == material)
    tied = [r.material for r in ranked if r.rank == own.rank]
    assert own.rank == 1, [(r.rank, r.material.id, round(r.relative, 4)) for r in ranked[:8]]
    # Whoever shares the first place has these readings within its own published ranges.
    for other in tied:
        assert other.index.low - 0.005 <= material.index.middle <= other.index.high + 0.005 or (
            material.index.middle > 1.8 and other.index.high > 1.8
        )


@pytest.mark.parametrize("kind", [ReadingKind.UV_LONG, ReadingKind.UV_SHORT])
@pytest.mark.parametrize("word", ["inert", "weak", "moderate", "strong"])
def test_no_fluorescence_parts_natural_from_laboratory_grown(kind: ReadingKind, word: str) -> None:
    """Strong red is no proof of natural, inert none of the contrary (reference notes, false beliefs)."""
    found = {r.material.id: r.relative for r in rank([Evidence(Understood(kind, Word(word), ""))])}
    for material in MATERIALS.values():
        if material.kind is Kind.LABORATORY_GROWN:
            for other in MATERIALS.values():
                if other.group == material.group and other.kind is Kind.NATURAL:
                    assert found[material.id] == found[other.id]


NATURAL = [m for m in materials() if m.kind is Kind.NATURAL]
GROWN = {m.group for m in materials() if m.kind is Kind.LABORATORY_GROWN}


@pytest.mark.parametrize("material", [m for m in NATURAL if m.group in GROWN], ids=lambda m: m.id)
def test_nothing_read_or_seen_ranks_natural_above_laboratory_grown(material: Material) -> None:
    """Inclusions, colour and fluorescence prove no stone natural (reference notes, false beliefs; 16 CFR 23.12, CIBJO)."""
    readings = middle(material)
    seen = [
        *((ReadingKind.OBSERVATION, s) for s in sorted(material.signs)),
        *((ReadingKind.COLOUR, c) for c in sorted(material.colours)),
        *((ReadingKind.PLEOCHROISM, p) for p in sorted(material.pleochroism)),
    ]
    for kind, word in [(ReadingKind.COLOUR, next(iter(material.colours))), *seen]:
        ranked = rank([*readings, Evidence(Understood(kind, Word(word), word))])
        own = next(r for r in ranked if r.material == material)
        grown = max(
            r.relative
            for r in ranked
            if r.material.group == material.group and r.material.kind is Kind.LABORATORY_GROWN
        )
        assert grown * 3 >= own.relative, word


def test_wherever_there_is_a_natural_and_a_grown_one_the_note_says_so() -> None:
    for material in MATERIALS.values():
        if material.kind in (Kind.NATURAL, Kind.LABORATORY_GROWN):
            note = origin_note(material.group)
            assert any(words in note for words in ("separable", "cannot be told", "confirmed"))
    assert origin_note("cubic zirconia") == ""


def ends(material: Material) -> list[list[Evidence]]:
    """Index and density at both ends of the published ranges."""
    found = []
    for low, density in ((True, "low"), (False, "high")):
        b = material.birefringence.low if low else material.birefringence.high
        n = material.index.low if low else material.index.high - b
        value = OverLimit(1.81) if n > 1.80 else Edges(n, n + b, 0.001)
        seen = [Evidence(Understood(ReadingKind.REFRACTOMETER, value, ""))]
        if material.density is not None:
            rho = Quantity(getattr(material.density, density), 0.01, "g/cm³")
            seen.append(Evidence(Understood(ReadingKind.DENSITY, rho, "")))
        found += [seen, seen[:1], seen[1:]]
    return [e for e in found if e]


@pytest.mark.parametrize("material", [m for m in NATURAL if m.group in GROWN], ids=lambda m: m.id)
def test_no_note_speaks_for_natural_at_the_ends_of_the_ranges(material: Material) -> None:
    """No workshop reading tells natural from laboratory-grown (reference notes, false beliefs; 16 CFR 23.12)."""
    for seen in ends(material):
        left = consistent(seen)
        kinds = {r.material.kind for r in left if r.material.group == material.group}
        note = origin_note(material.group, left)
        if Kind.NATURAL in kinds:
            assert note == "natural or laboratory-grown: not separable by these readings"


def test_the_note_speaks_for_laboratory_grown_where_only_that_is_left() -> None:
    left = consistent([typed("refractometer", "1.762-1.770"), typed("microscope", "curved striae")])
    assert "laboratory-grown: have it confirmed" in origin_note("corundum", left)


def test_the_same_reading_twice_is_no_surer_than_once() -> None:
    for again in (
        typed("polariscope", "double"),
        typed("fluorescence", "strong"),
        typed("microscope", "silk"),
        typed("density", "3.99", is_set=False),
    ):
        once = {r.material.id: r.relative for r in rank([again])}
        twice = {r.material.id: r.relative for r in rank([again, again])}
        assert once == pytest.approx(twice)


def test_two_edges_and_their_birefringence_are_one_reading() -> None:
    found = rank([typed("refractometer", "1.762-1.770", part="table"), typed("ri", "1.763-1.771")])
    ruby = next(r for r in found if r.material.id == "ruby")
    assert ruby.speaks_for is not None
    assert "birefringence" in ruby.speaks_for.says


def test_readings_drawn_from_a_material_seldom_exclude_it() -> None:
    """Monte Carlo: true values anywhere in the published ranges, readings scattered with their uncertainty."""
    rng = np.random.default_rng(5)
    out = total = 0
    for material in MATERIALS.values():
        if material.refraction is not Refraction.DOUBLE or material.pavilion or material.density is None:
            continue
        for _ in range(6):
            b = rng.uniform(material.birefringence.low, material.birefringence.high)
            n = rng.uniform(material.index.low, max(material.index.low, material.index.high - b))
            if n + b > 1.80:
                continue
            u = 0.0015
            low, high = sorted((n + rng.normal(0, u), n + b + rng.normal(0, u)))
            rho = rng.uniform(material.density.low, material.density.high) + rng.normal(0, 0.01)
            seen = [
                Evidence(Understood(ReadingKind.REFRACTOMETER, Edges(low, high, u), "")),
                Evidence(Understood(ReadingKind.DENSITY, Quantity(rho, 0.01, "g/cm³"), "")),
            ]
            total += 1
            out += not next(r for r in rank(seen) if r.material == material).consistent
    assert total > 120
    assert out / total < 0.03


def test_true_material_is_first_or_tied_more_often_the_better_the_readings() -> None:
    rng = np.random.default_rng(6)

    def first(u: float) -> float:
        hits = total = 0
        for material in MATERIALS.values():
            if (
                material.refraction is not Refraction.DOUBLE
                or material.pavilion
                or material.index.high > 1.80
            ):
                continue
            for _ in range(3):
                b = rng.uniform(material.birefringence.low, material.birefringence.high)
                n = rng.uniform(material.index.low, max(material.index.low, material.index.high - b))
                low, high = sorted((n + rng.normal(0, u), n + b + rng.normal(0, u)))
                seen = Evidence(Understood(ReadingKind.REFRACTOMETER, Edges(low, high, u), ""))
                hits += next(r for r in rank([seen]) if r.material == material).relative > 1 / 20
                total += 1
        return hits / total

    assert first(0.001) > 0.85


def test_the_example_of_the_documentation_worked_by_hand() -> None:
    """docs/consistency.md: trapezoids (JCGM 100:2008, 4.3.9) read off with a pocket calculator."""
    seen = [
        typed("refractometer", "1.722"),
        typed("polariscope", "single"),
        typed("density", "3.63", is_set=False),
    ]
    index, _, density = (item.under for item in weighed_items(seen))
    place = {m.id: i for i, m in enumerate(materials())}
    assert index[place["spinel"]].likelihood == pytest.approx(46.0, rel=0.002)
    assert index[place["glass_lead"]].likelihood == pytest.approx(4.12, rel=0.002)
    assert index[place["pyrope"]].agreement == pytest.approx(0.0005, abs=5e-5)
    assert density[place["spinel"]].likelihood == pytest.approx(8.89, rel=0.002)
    assert density[place["glass_lead"]].likelihood == pytest.approx(0.374, rel=0.002)
    found = {r.material.id: r for r in rank(seen)}
    assert found["glass_lead"].relative == pytest.approx(0.0022, rel=0.01)
    assert found["spinel"].rank == found["spinel_flux"].rank == 1
    assert found["pyrope"].excluded_by[0].says.startswith("one shadow edge, 1.722")


def test_laboratory_grown_is_never_excluded_while_the_natural_counterpart_is_not() -> None:
    # The natural ranges of beryl reach beyond what is published of grown ones.
    for index in ("1.562", "1.590-1.598", "1.600"):
        for density in ("2.68", "2.90"):
            ranked = rank([typed("refractometer", index), typed("density", density, is_set=False)])
            natural = {r.material.group for r in ranked if r.consistent and r.material.kind is Kind.NATURAL}
            out = {
                r.material.group
                for r in ranked
                if not r.consistent and r.material.kind is Kind.LABORATORY_GROWN
            }
            assert not natural & out
