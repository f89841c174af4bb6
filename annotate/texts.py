"""Every word the drawings and the hand-out show, kept apart from their layout, one file a language."""

import tomllib
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any

from setstone.annotate.errors import AnnotateError
from setstone.annotate.phrases import Said, phrases
from setstone.record.vocabulary import OCCASIONS


class Texts:
    """The texts of one language, asked for by their dotted name.

    Parameters
    ----------
    tables : mapping
        As read from a file of texts.

    Examples
    --------
    >>> english()("light.blue")
    'blue light'
    """

    def __init__(self, tables: Mapping[str, Any]) -> None:
        self._tables = tables

    def __call__(self, name: str, **values: object) -> str:
        """Return a text with its ``{placeholders}`` filled in; a missing name is a KeyError."""
        found = self.part(name)
        if not isinstance(found, str):
            raise KeyError(name)
        return found.format_map(values)

    def said(self, sentence: str) -> Said:
        """Say what the record says in English in this language, where every word of it is known."""
        return self._known(sentence, colour=False)

    def colour(self, name: str) -> Said:
        """Say the name of a colour in the ISCC-NBS system in this language."""
        return self._known(name, colour=True)

    def occasion(self, name: str) -> str:
        """Name an occasion: the usual ones in this language, any other as it was typed."""
        return self.said(name).text if name in OCCASIONS else name

    def _known(self, english: str, *, colour: bool) -> Said:
        if self("language") == "en" or not english:
            return Said(english)
        known = phrases(self("language"), self("decimal"))[colour](english)
        return Said(english, "en") if known is None else Said(known)

    def saying(self, name: str, **sentences: str) -> Said:
        """Fill a text with what the record says: in this language, or all of it in English."""
        parts = {key: self.said(sentence) for key, sentence in sentences.items()}
        if any(part.language for part in parts.values()):
            return Said(english()(name, **sentences), "en")
        return Said(self(name, **{key: part.text for key, part in parts.items()}))

    @property
    def tables(self) -> Mapping[str, Any]:
        """All texts, unfilled."""
        return self._tables

    def number(self, figures: str) -> str:
        """Write figures with the decimal sign of this language."""
        return figures.replace(".", self("decimal"))

    def date(self, moment: datetime) -> str:
        """Write a day as this language does, for example ``"14 March 2026"``."""
        month = self.part("months")[moment.month - 1]
        return self("date", day=moment.day, month=month, year=moment.year)

    def part(self, name: str) -> Any:
        """Return a text, a list of texts or a table of texts, unfilled."""
        found: Any = self._tables
        for key in name.split("."):
            found = found[key]
        return found


#: Languages the hand-out can be written in: a file of texts each, named as BCP 47 does, and what it calls itself.
LANGUAGES = {"en": "English", "de": "Deutsch", "fr": "Français"}


@cache
def texts_in(language: str) -> Texts:
    """Return the texts of one of the `LANGUAGES`; an AnnotateError for any other."""
    if language not in LANGUAGES:
        raise AnnotateError(
            f"There are no texts in the language '{language}'; choose one of {', '.join(LANGUAGES)}."
        )
    file = files("setstone.annotate").joinpath("texts", f"{language}.toml")
    return Texts(tomllib.loads(file.read_text("utf-8")))


def english() -> Texts:
    """Return the English texts."""
    return texts_in("en")
