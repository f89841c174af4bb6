"""How it is said in words on which of two occasions a line is seen."""

import numpy as np
import pytest

from setstone.measure.candidates import Candidate
from setstone.measure.changes import Change, Where
from setstone.record.changing import Changed
from setstone.record.entries import CandidateEntry

LINE = Candidate("line", np.array([(10.0, 10.0), (60.0, 30.0)]), "blue", 0.8, (), 20.0)


def said(
    *, damage: bool, comparable: float = 1.0, chance: float = 0.0, perhaps_reflection: bool = False
) -> str:
    change = Change(
        Where.AFTER,
        of_after=True,
        index=0,
        share=0.1,
        comparable=comparable,
        possible_damage=damage,
        perhaps_reflection=perhaps_reflection,
        chance=chance,
    )
    return Changed(change, CandidateEntry(1, LINE, "program", None), "after").says


def test_what_could_be_seen_whole_and_has_no_chance_is_not_spoken_of() -> None:
    assert said(damage=False) == "10% of it lies along lines proposed or seen before"


@pytest.mark.parametrize(("chance", "words"), [(0.624, "62%"), (0.999, "99%"), (0.001, "1%")])
def test_a_chance_is_never_told_as_certain(chance: float, words: str) -> None:
    assert said(damage=True, chance=chance).endswith(f"; {words} likely to be a new fissure")


def test_what_could_not_be_seen_and_what_may_be_a_reflection_is_said() -> None:
    told = said(damage=False, comparable=0.8, chance=0.7, perhaps_reflection=True)
    assert "80% of it could have been seen there" in told
    assert told.endswith("perhaps the damage, seen in another facet")


def test_a_finding_of_a_person_is_given_no_chance() -> None:
    assert "likely" not in said(damage=True, chance=1.0)
