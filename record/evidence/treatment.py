"""Whether a stone was treated: a question apart from what it is, weighed from what was seen under magnification.

No publication gives how often a sign is seen in treated and in untreated stones, so no probability is made up: signs
of different origin are counted, as published identification criteria ask for several at once. For glass-filled
fissures these are a flash effect, bubbles or voids in the filler or a difference in lustre, and fissures that reach the
surface (McClure, Smith, Wang & Hall 2006, Gems & Gemology 42(1), 22-34; McClure & Kammerling 1995, Gems & Gemology
31(2) for diamond; Johnson et al. 1999, Gems & Gemology 35(2) for emerald).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from setstone.record.evidence.materials import signs
from setstone.record.evidence.ranking import Evidence
from setstone.record.evidence.readings import ReadingKind, Word

#: Signs of a filling by what they rest on: light in the fissure, the body of the filler, the surface.
_FILLING: Mapping[str, tuple[str, ...]] = {
    "flash effect": ("flash effect",),
    "bubbles or voids in the filler, or a difference in lustre": (
        "bubbles in a filler",
        "glass-filled cavity",
        "lustre difference",
    ),
    "fissures that reach the surface": ("fissure", "filled fissure", "feather"),
}
#: The others: what the treatment is called, by the question in the table of signs.
_NAMES: Mapping[str, str] = {
    "dyeing": "dye",
    "coating": "a coating",
    "heating": "heating",
    "drilling": "laser drilling",
    "foil backing": "a foil behind the stone",
}
#: Signs that are the treatment itself once they are seen; the others have other causes too (common practice, no
#: source).
_TELLING = ("laser drill hole", "foil", "worn coating", "colour in fissures")


@dataclass(frozen=True)
class Treatment:
    """What observations say on one kind of treatment.

    Parameters
    ----------
    question : str
        ``"filling"``, ``"dyeing"`` …
    verdict : str
        A sentence; it says 'consistent with' at most.
    signs : tuple of str
        What was seen.
    missing : tuple of str
        What to look for before more is said.
    """

    question: str
    verdict: str
    signs: tuple[str, ...]
    missing: tuple[str, ...]


def treatments(evidence: Sequence[Evidence]) -> tuple[Treatment, ...]:
    """Weigh the signs of treatments.

    Parameters
    ----------
    evidence : sequence of Evidence

    Returns
    -------
    tuple of Treatment
        Filling always, since so much depends on it; others where a sign was seen.
    """
    seen = [
        e.understood.value.word
        for e in evidence
        if e.understood.kind is ReadingKind.OBSERVATION and isinstance(e.understood.value, Word)
    ]
    seen = list(dict.fromkeys(seen))
    others = dict.fromkeys(q for s in seen if (q := signs()[s].question) in _NAMES)
    return (_filling(seen), *(_other(question, seen) for question in others))


def _filling(seen: Sequence[str]) -> Treatment:
    of_filling = [s for s in seen if signs()[s].question == "filling"]
    had = {what: [s for s in names if s in seen] for what, names in _FILLING.items()}
    missing = tuple(what for what, found in had.items() if not found)
    shown = tuple(s for s in seen if any(s in found for found in had.values()))
    if not of_filling:
        return Treatment(
            "filling",
            "No sign of a filling is entered; that excludes none.",
            (),
            missing if shown else tuple(_FILLING),
        )
    named = " and ".join(of_filling)
    if not missing:
        return Treatment("filling", f"Consistent with filled fissures: {', '.join(shown)}.", shown, ())
    return Treatment(
        "filling",
        f"{named.capitalize()} alone is a sign of a filling and not enough to speak of one; look for {', '.join(missing)}."
        if len(of_filling) == 1
        else f"{named.capitalize()} are signs of a filling; look for {', '.join(missing)} before speaking of one.",
        shown,
        missing,
    )


def _other(question: str, seen: Sequence[str]) -> Treatment:
    found = tuple(s for s in seen if signs()[s].question == question)
    name = _NAMES[question]
    if len(found) > 1 or any(s in _TELLING for s in found):
        return Treatment(question, f"Consistent with {name}: {', '.join(found)}.", found, ())
    return Treatment(
        question, f"{found[0].capitalize()} can come of {name}; by itself it does not show it.", found, ()
    )
