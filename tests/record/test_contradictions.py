"""What in a record does not go together, treatments, and the next test."""

import numpy as np
import pytest
from scipy.stats import entropy

from setstone.record.evidence.contradictions import composite_signs, contradictions
from setstone.record.evidence.materials import materials
from setstone.record.evidence.next_test import NextTest, next_tests
from setstone.record.evidence.ranking import Evidence, rank
from setstone.record.evidence.readings import Typed, Word
from setstone.record.evidence.treatment import treatments
from setstone.record.evidence.understand import understand
from setstone.record.evidence.weights import weigh_doubling

CHECKED = {"check": {"simulant": "low", "diamond": "high"}}


def typed(test: str, value: str, **details: object) -> Evidence:
    is_set = bool(details.pop("is_set", True))
    if test == "thermal":
        details |= CHECKED
    return Evidence(understand(Typed(test, value, is_set=is_set, details=details)))


def found(*evidence: Evidence, claim: str = "") -> list[str]:
    numbered = [Evidence(e.understood, i) for i, e in enumerate(evidence, start=1)]
    return [c.text for c in contradictions(numbered, rank(numbered), claim=claim)]


def test_a_sound_record_has_none() -> None:
    assert (
        found(
            typed("refractometer", "1.762-1.770"),
            typed("polariscope", "double"),
            typed("density", "4.00", is_set=False),
            typed("thermal", "moderate"),
            claim="ruby",
        )
        == []
    )
    assert found(claim="ruby") == []


def test_a_claim_the_readings_exclude() -> None:
    (text,) = found(typed("refractometer", "1.718"), claim="ruby")
    assert "Claimed as ruby, but not consistent with it: one shadow edge, 1.718" in text


def test_a_claim_whose_colour_is_another() -> None:
    (text,) = found(typed("colour", "blue"), claim="ruby")
    assert "Claimed as ruby, and body colour: blue is not among its colours" in text
    assert found(typed("colour", "red"), claim="ruby") == []
    assert found(typed("colour", "blue")) == []


def test_a_claim_the_table_does_not_hold_is_no_contradiction() -> None:
    assert found(typed("refractometer", "1.718"), claim="family heirloom") == []


@pytest.mark.parametrize(
    "other",
    [
        typed("refractometer", "1.762-1.770"),
        typed("doubling", "strong"),
        typed("pleochroism", "distinct"),
        typed("optic character", "uniaxial -"),
        typed("polariscope", "double"),
    ],
    ids=lambda e: str(e.understood.kind),
)
def test_single_refraction_beside_signs_of_double(other: Evidence) -> None:
    texts = found(typed("polariscope", "single"), other)
    assert any("Single refraction and double refraction do not go together" in t for t in texts)


def test_single_beside_several_signs_of_double_is_one_contradiction() -> None:
    double = [
        typed("refractometer", "1.762-1.770"),
        typed("doubling", "strong"),
        typed("pleochroism", "distinct"),
    ]
    (text,) = found(typed("polariscope", "single"), *double)
    assert all(e.understood.says in text for e in double)


def test_two_edges_within_the_uncertainty_are_no_sign_of_double_refraction() -> None:
    assert found(typed("polariscope", "single"), typed("refractometer", "1.718-1.720")) == []


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (("refractometer", "1.762-1.770"), ("refractometer", "1.782-1.790")),
        (("refractometer", "1.544"), ("refractometer", "1.762-1.770")),
        (("refractometer", ">1.81"), ("refractometer", "1.762-1.770")),
        (("distant vision", "1.54"), ("refractometer", "1.762-1.770")),
        (("thermal", "low"), ("thermal", "high")),
        (("long wave", "inert"), ("long wave", "strong")),
    ],
)
def test_two_readings_of_one_property_that_do_not_agree(one: tuple[str, str], other: tuple[str, str]) -> None:
    assert any("do not agree" in t for t in found(typed(*one), typed(*other)))


def test_readings_no_material_explains_together() -> None:
    (text,) = found(typed("refractometer", "1.54"), typed("thermal", "high"))
    assert "No material of the table is consistent with both" in text


def test_misprinted_densities_are_caught() -> None:
    """A garnet page with the density of beryl, a moissanite text with that of diamond (reference notes, section 8)."""
    assert found(typed("refractometer", "1.76"), typed("density", "2.72", is_set=False), claim="garnet")
    assert found(
        typed("doubling", "strong"), typed("thermal", "high"), typed("density", "3.52", is_set=False)
    )


def test_a_doublet_of_a_laboratory_note_contradicts_nothing() -> None:
    """A. Inns, GIA Laboratory, Carlsbad, October 2010: 4.85 ct, spinel crown on a ruby pavilion, both grown by flame fusion.

    The table of materials holds no such doublet: both pieces are seen, and nothing was misread.
    """
    doublet = [
        typed("refractometer", "1.725", part="table"),
        typed("refractometer", "1.760-1.770", part="pavilion"),
        typed("long wave", "moderate red"),
        typed("short wave", "weak red"),
        *(
            typed("microscope", w)
            for w in ("flat bubbles in a plane", "lustre step", "curved striae", "gas bubble")
        ),
    ]
    first, *others = composite_signs(doublet)
    assert "Table and pavilion do not read alike" in first
    assert others == [
        f"{w}: consistent with a composite stone." for w in ("Flat bubbles in a plane", "Lustre step")
    ]
    assert found(*doublet) == []
    assert "Claimed as ruby, but not consistent with it" in found(*doublet, claim="ruby")[0]


def test_unlike_facets_are_a_composite_and_no_contradiction() -> None:
    """Garnet-topped doublets: F. B. Wade 1918, A Text-Book of Precious Stones."""
    facets = [typed("refractometer", "1.78", part="table"), typed("refractometer", "1.55", part="pavilion")]
    (sign,) = composite_signs(facets)
    assert "Table and pavilion do not read alike" in sign
    assert "consistent with a composite stone" in sign
    assert found(*facets) == []
    alike = [
        typed("refractometer", "1.762-1.770", part="table"),
        typed("refractometer", "1.763-1.771", part="pavilion"),
    ]
    assert composite_signs(alike) == ()
    assert composite_signs([typed("loupe", "join line")]) == (
        "Join line: consistent with a composite stone.",
    )


def test_one_sign_of_filling_is_not_enough_three_of_different_kind_are() -> None:
    """Minimum evidence after McClure, Smith, Wang & Hall 2006, Gems & Gemology 42(1), 22-34."""
    (none,) = treatments([])
    assert none.verdict == "No sign of a filling is entered; that excludes none."
    (alone,) = treatments([typed("loupe", "flash effect")])
    assert "not enough" in alone.verdict
    assert len(alone.missing) == 2
    seen = [typed("loupe", s) for s in ("flash effect", "bubbles in a filler", "fissure")]
    (full,) = treatments(seen)
    assert full.verdict.startswith("Consistent with filled fissures")


def test_fissures_alone_are_no_sign_of_filling() -> None:
    (found,) = treatments([typed("loupe", "fissure"), typed("loupe", "gas bubble")])
    assert found.signs == ()


def test_other_treatments_have_their_own_lines() -> None:
    by = {
        t.question: t.verdict
        for t in treatments([typed("loupe", "laser drill hole"), typed("loupe", "broken silk")])
    }
    assert by["drilling"].startswith("Consistent with laser drilling")
    assert "by itself it does not show it" in by["heating"]


def test_signs_of_filling_say_nothing_on_the_species() -> None:
    index = typed("refractometer", "1.762-1.770")
    without = {r.material.id: r.relative for r in rank([index])}
    filled = {r.material.id: r.relative for r in rank([index, typed("loupe", "flash effect")])}
    assert without == filled


def advised(*evidence: Evidence, is_set: bool = True) -> tuple[NextTest, ...]:
    return next_tests(evidence, rank(evidence), materials(), is_set=is_set)


def test_diamond_or_moissanite_doubling_settles_it_while_set_and_density_when_unset() -> None:
    """Birefringence 0.043 and densities 3.52 and 3.22: Nassau et al. 1997, Gems & Gemology 33(4)."""
    seen = (typed("refractometer", ">1.81"), typed("thermal", "high"))
    first = advised(*seen)[0]
    assert first.test == "doubling"
    assert "moissanite" in first.why.lower()
    assert any("three directions" in c for c in first.cautions)
    density = next(t for t in advised(*seen) if t.test == "density")
    assert not density.possible
    assert advised(*seen, is_set=False)[0].test == "density"


def test_no_test_is_possible_that_the_setting_forbids() -> None:
    for test in advised():
        assert test.possible == (test.test != "density")


def test_with_nothing_read_a_measuring_test_tells_most() -> None:
    assert advised()[0].test == "refractometer"
    assert any("toxic" in c for c in advised()[0].cautions)


def test_what_was_tested_is_not_advised_again() -> None:
    names = {
        t.test for t in advised(typed("refractometer", "1.544-1.553"), typed("density", "2.65", is_set=False))
    }
    assert not names & {"refractometer", "density"}


def test_single_seen_in_one_direction_is_advised_again_in_three() -> None:
    seen = typed("refractometer", "1.76")
    assert "polariscope" in {t.test for t in advised(seen, typed("polariscope", "single"))}
    assert "polariscope" not in {t.test for t in advised(seen, typed("polariscope", "single", directions=3))}


def test_the_pavilion_is_advised_where_a_doublet_is_possible() -> None:
    """Read one crown and one pavilion facet (reference notes, 2.4)."""
    tests = advised(typed("refractometer", "1.78", part="table"), is_set=False)
    assert "refractometer, pavilion" in {t.test for t in tests}


def test_nothing_separates_what_nothing_can() -> None:
    """Natural and laboratory-grown diamond: essentially the same properties (ISO 18323:2015, definition)."""
    tests = advised(
        typed("refractometer", ">1.81"), typed("thermal", "high"), typed("density", "3.52", is_set=False)
    )
    for test in tests:
        assert "laboratory-grown" not in test.why


def test_expected_gain_never_exceeds_what_is_open() -> None:
    """Information cannot exceed the entropy of the shares (Shannon 1948); 76 rows hold 6.2 bits."""
    for test in advised():
        assert 0 < test.gain_bits < 6.25


def test_expected_gain_against_the_mutual_information_of_a_general_library() -> None:
    """Lindley's measure is the mutual information of material and result: H(X) + H(Y) - H(X, Y) (Cover & Thomas 2006)."""
    seen = (typed("refractometer", ">1.81"), typed("thermal", "high"))
    ranked = rank(seen)
    left = [r for r in ranked if r.consistent and r.share >= 0.002]
    shares = np.array([r.share for r in left]) / sum(r.share for r in left)
    looked = [
        [weigh_doubling(Word(w, thorough=True), r.material).likelihood for w in ("none", "slight", "strong")]
        for r in left
    ]
    joint = shares[:, None] * np.array(looked) / np.sum(looked, axis=1, keepdims=True)
    expected = (
        entropy(joint.sum(axis=1), base=2)
        + entropy(joint.sum(axis=0), base=2)
        - entropy(joint.ravel(), base=2)
    )
    found = next(t for t in advised(*seen) if t.test == "doubling")
    assert found.gain_bits == pytest.approx(expected, rel=0.02)


def test_the_same_record_gets_the_same_advice() -> None:
    seen = typed("refractometer", "1.76")
    assert advised(seen) == advised(seen)
