"""The gist of a stone's readings, for lists of many stones, and the steps it shares with the full account."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from setstone.record.errors import BookError
from setstone.record.evidence.contradictions import Contradiction, contradictions
from setstone.record.evidence.materials import signs
from setstone.record.evidence.ranking import Evidence, Ranked, rank
from setstone.record.evidence.readings import ReadingKind, Typed, Understood, Word
from setstone.record.evidence.understand import understand

#: Materials under which the readings are less probable than this against the best do not lead: lists only count them.
LEADING = 1 / 20


@dataclass(frozen=True)
class Gist:
    """What a list shows of the readings of a stone.

    Parameters
    ----------
    contradictions : int
        Things in the record that do not go together.
    species : tuple of str
        Names of the materials that lead, under all of which it may be looked for.
    """

    contradictions: int
    species: tuple[str, ...]


def gist(claim: str, typed: Iterable[Typed], seen: Iterable[str]) -> Gist:
    """Weigh readings and findings in few words.

    Parameters
    ----------
    claim : str
        What the stone is claimed to be.
    typed : iterable of Typed
        Readings that hold.
    seen : iterable of str
        Kinds of the findings in its pictures.

    Returns
    -------
    Gist
    """
    evidence = (
        *(Evidence(understood(t)) for t in typed),
        *(e for w in dict.fromkeys(seen) if (e := sign(w))),
    )
    return _gist(claim, evidence)


def understood(typed: Typed) -> Understood:
    """Understand a reading; one that was entered before readings were checked is kept and not weighed.

    Parameters
    ----------
    typed : Typed

    Returns
    -------
    Understood
    """
    try:
        return understand(typed)
    except BookError as error:
        return Understood(None, None, typed.value, f"not understood: {error}")


def sign(word: str, where: str = "") -> Evidence | None:
    """Take a finding in a picture as something seen; None for a word that is not in the vocabulary.

    Parameters
    ----------
    word : str
    where : str, optional
        Which finding, for people.

    Returns
    -------
    Evidence or None
    """
    if word not in signs():
        return None
    says = f"seen: {word}" + (f" ({where})" if where else "")
    return Evidence(Understood(ReadingKind.OBSERVATION, Word(word), says))


@lru_cache(maxsize=512)
def ranked(evidence: tuple[Evidence, ...]) -> tuple[Ranked, ...]:
    """Rank as `rank` does, once for the same evidence."""
    return rank(evidence)


@lru_cache(maxsize=512)
def contradicting(evidence: tuple[Evidence, ...], claim: str) -> tuple[Contradiction, ...]:
    """Find contradictions as `contradictions` does, once for the same evidence."""
    return contradictions(evidence, ranked(evidence), claim=claim)


@lru_cache(maxsize=512)
def _gist(claim: str, evidence: tuple[Evidence, ...]) -> Gist:
    order = ranked(evidence)
    leading = [r.material for r in order if r.consistent and r.relative >= LEADING]
    names = dict.fromkeys(name for m in leading for name in (m.name, *m.aliases))
    return Gist(len(contradicting(evidence, claim)), tuple(names))
