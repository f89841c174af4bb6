"""What a window says of a photograph's fitness to be measured."""

from typing import TYPE_CHECKING

from setstone.capture.ome_writing import read_derivation
from setstone.record.entries import PhotographEntry

if TYPE_CHECKING:
    from setstone.capture.judging import Fitness

_VERDICTS = {
    "fit": "✓ fit to be measured",
    "with care": "! to be used with care",
    "not fit": "✕ not fit to be measured",
}
#: What was noted when the photograph was added, and is not judged anew.
_NOTED = ("file-note", "lamp-uncertain")


def verdict_words(found: "Fitness | None") -> str:
    """Say the verdict with a sign before it; None while it is not known.

    >>> verdict_words(None)
    'not judged yet'
    """
    return "not judged yet" if found is None else _VERDICTS[found.verdict]


def doubts(entry: PhotographEntry, found: "Fitness | None") -> tuple[str, ...]:
    """Sentences: what speaks against a photograph and what to change, the gravest first.

    Parameters
    ----------
    entry : PhotographEntry
    found : Fitness or None
        As judged now; None while it is not known: then what was noted when it was added.
    """
    flags = [flag for flag in entry.flags if read_derivation(flag.text) is None]
    if found is None:
        return tuple(flag.text for flag in flags)
    noted = [flag.text for flag in flags if flag.code in _NOTED]
    return tuple(dict.fromkeys([*(flag.text for flag in found.flags), *noted]))


def made_words(entry: PhotographEntry) -> tuple[str, str]:
    """Say in short and in full how a photograph was made, where it is no single exposure; else two empty texts."""
    for flag in entry.flags:
        made = read_derivation(flag.text)
        if made is not None:
            count = len(made.sources)
            sources = f", from {count} {'photograph' if count == 1 else 'photographs'}" if count else ""
            return f"{made.made_by}{sources}", flag.text
    return "", ""
