"""Every word the drawings and the hand-out show, kept apart from their layout, one file a language."""

import tomllib
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any


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


@cache
def english() -> Texts:
    """Return the English texts."""
    return Texts(tomllib.loads(files("setstone.annotate").joinpath("texts", "en.toml").read_text("utf-8")))
