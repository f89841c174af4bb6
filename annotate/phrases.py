"""Sentences of the record in the language of a page.

The record speaks English: sentences put together from fixed words, published terms and figures. A file for each other
language, ``texts/record.LANGUAGE.toml``, holds the sentences with gaps and the terms that stand in them:

- ``{what}`` stands for anything that is itself known: a term, another sentence, or a list of them;
- ``{#n}`` for a number, which gets the decimal sign of the language;
- ``{=text}`` for what a person typed, which stays as it is.

A sentence that is not known to its last word stays English, and says so: nothing is translated by half.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

_GAP = re.compile(r"\{([=#]?)(\w+)\}")
_FIGURES = r"[-+−]?\d(?:[\d.,]*\d)?(?:e[-+]?\d+)?"
#: What joins several parts, the loosest first.
_JOINTS = ("; ", " and ", " or ", ", ")


@dataclass(frozen=True)
class Said:
    """What the record says, as it stands on a page.

    Parameters
    ----------
    text : str
    language : str
        Empty for that of the page; ``"en"`` where it stays in the English of the record.
    """

    text: str
    language: str = ""


class Phrases:
    """The sentences and terms of the record in one language.

    Parameters
    ----------
    sentences, terms : mapping
        From English.
    decimal : str
        Decimal sign.

    Examples
    --------
    >>> german = Phrases({"seen: {sign}": "gesehen: {sign}"}, {"needle": "Nadel"}, ",")
    >>> german("seen: needle")
    'gesehen: Nadel'
    >>> german("seen: thread") is None
    True
    """

    def __init__(self, sentences: Mapping[str, str], terms: Mapping[str, str], decimal: str) -> None:
        self._terms = terms
        self._decimal = decimal
        self._sentences = [
            (_pattern(english), [(gap[1], gap[2]) for gap in _GAP.finditer(english)], said)
            for english, said in sentences.items()
        ]

    def __call__(self, text: str) -> str | None:
        """Translate a text; None where it is not known to its last word."""
        if text in self._terms:
            return self._terms[text]
        lowered = text[:1].lower() + text[1:]
        if lowered in self._terms:
            known = self._terms[lowered]
            return known[:1].upper() + known[1:]
        for pattern, gaps, said in self._sentences:
            found = pattern.fullmatch(text)
            if found is None:
                continue
            parts = {
                name: self._part(kind, part) for (kind, name), part in zip(gaps, found.groups(), strict=True)
            }
            if None not in parts.values():
                return said.format_map(parts)
        return self._list(text)

    def _part(self, kind: str, part: str) -> str | None:
        if kind == "=":
            return part
        if kind == "#":
            return re.sub(r"(?<=\d)\.(?=\d)", self._decimal, part)
        return self(part)

    def _list(self, text: str) -> str | None:
        """Translate several parts, each of which is known."""
        for joint in _JOINTS:
            parts = self._parts(text.split(joint), joint) if joint in text else None
            if parts is not None:
                word = joint.strip()
                return joint.replace(word, self._terms.get(word, word)).join(parts)
        return None

    def _parts(self, pieces: Sequence[str], joint: str) -> list[str] | None:
        said = []
        while pieces:
            # A term may hold the joint itself.
            count = next((n for n in range(len(pieces), 1, -1) if joint.join(pieces[:n]) in self._terms), 1)
            part = self(joint.join(pieces[:count]))
            if part is None:
                return None
            said.append(part)
            pieces = pieces[count:]
        return said


def _pattern(english: str) -> re.Pattern[str]:
    """Make a regular expression of a sentence, with a group for each gap."""
    whole, end = "", 0
    for gap in _GAP.finditer(english):
        group = _FIGURES if gap[1] == "#" else ".+?"
        whole += f"{re.escape(english[end : gap.start()])}({group})"
        end = gap.end()
    return re.compile(whole + re.escape(english[end:]), re.DOTALL)


@cache
def phrases(language: str, decimal: str) -> tuple[Phrases, Phrases]:
    """Return the phrases of a language other than English, and those for names of colours."""
    file = files("setstone.annotate").joinpath("texts", f"record.{language}.toml")
    tables = tomllib.loads(file.read_text("utf-8"))
    record, colours = (Phrases(t["sentences"], t["terms"], decimal) for t in (tables, tables["colours"]))
    return record, colours
