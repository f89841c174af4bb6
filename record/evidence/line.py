"""A reading typed as one line, as fast as a hand leaves the instrument: ``1.762-1.770 unset``.

The test stands before the value or behind it, or is left out where the value tells it. With it, in any order: ``unset``
or ``set``, ``table`` or ``pavilion``, ``± 0.002``, ``3 directions``, ``water 22 °C``, ``liquid 1.79``, ``check 2/8``
(`checks` says how), ``finding 3``; and a remark behind ``#``.
"""

import re
from dataclasses import dataclass
from typing import Any

from setstone.record.errors import BookError
from setstone.record.evidence.checks import PATTERN, typed_check
from setstone.record.evidence.figures import NUMBER, parse_numbers
from setstone.record.evidence.readings import ReadingKind, Typed, Understood, reading_kind
from setstone.record.evidence.understand import INDEX, NEVER_MADE, REFRACTION, WORDS, understand
from setstone.record.text import key

_OPTIONS: dict[str, re.Pattern[str]] = {
    name: re.compile(pattern, re.IGNORECASE)
    for name, pattern in {
        "unset": r"\b(?:unset|loose)\b",
        "set": r"\bset\b",
        "part": r"\b(?:on\s+)?(?:the\s+)?(table|pavilion)\b",
        "directions": r"\b(?:in\s+)?(\d+)\s*directions?\b",
        "water_c": rf"\bwater\s*({NUMBER})\s*°?\s*c\b",
        "liquid": rf"\bliquid\s*({NUMBER})",
        "check": rf"\bcheck(?:ed)?\s+({PATTERN})",
        "uncertainty": rf"(?:±|\+/?-)\s*((?:resolution\s*)?{NUMBER}(?:\s*\(?k\s*=\s*{NUMBER}\)?)?)",
        "finding": r"\bfinding\s+(\d+)(?:\s*\(([^)]*)\))?",
    }.items()
}
#: Words that alone tell their test, where no other test has them.
_TELLING = {
    word: kind
    for kind in (
        ReadingKind.THERMAL,
        ReadingKind.POLARISCOPE,
        ReadingKind.OPTIC_CHARACTER,
        ReadingKind.COLOUR,
        ReadingKind.OBSERVATION,
    )
    for word in WORDS[kind]
    if sum(word in words for words in WORDS.values()) == 1
} | dict.fromkeys(REFRACTION, ReadingKind.POLARISCOPE)
#: No reading is longer, in characters.
LONGEST = 500


@dataclass(frozen=True)
class Line:
    """A line and what was understood of it.

    Parameters
    ----------
    typed : Typed
    understood : Understood
    findings : tuple of (occasion or None, number)
    remark : str
    """

    typed: Typed
    understood: Understood
    findings: tuple[tuple[str | None, int], ...]
    remark: str

    @property
    def says(self) -> str:
        """What was understood, to be shown to who typed it."""
        state = "set" if self.typed.is_set else "unset"
        why = f"; not weighed: {self.understood.unused}" if self.understood.unused else ""
        marked = f"; marked: {self.understood.unchecked}" if self.understood.unchecked else ""
        return f"{self.understood.says} ({state}){why}{marked}"


def read_line(text: str, *, is_set: bool = True) -> Line:
    """Read a line.

    Parameters
    ----------
    text : str
    is_set : bool, optional
        Whether the stone is in its setting, where the line does not say.

    Returns
    -------
    Line

    Raises
    ------
    BookError
        With one sentence on how to write it.

    Examples
    --------
    >>> read_line("1,762/1.770 table check 1.517/1.517").says.split("; ")[1:]
    ['birefringence 0.008 ± 0.005 (k = 2)', 'a glass of known index read as it should (set)']
    >>> read_line("4,00 unset").says
    'density 4.00 g/cm³ ± 0.02 (assumed) (unset); marked: no check on a check weight stands beside it'
    >>> read_line("long wave strong red").says
    'fluorescence, long wave: strong (red) (set)'
    >>> read_line("DR").says
    'polariscope reaction: double, looked at in 1 direction (set)'
    """
    text, _, remark = text.partition("#")
    if len(text) > LONGEST:
        raise BookError(f"A reading has at most {LONGEST} characters; write what is more as a remark.")
    found: dict[str, str] = {}
    findings: list[tuple[str | None, int]] = []
    for name, pattern in _OPTIONS.items():
        for match in pattern.finditer(text):
            if name == "finding":
                findings.append(((match[2] or "").strip() or None, int(match[1])))
            else:
                _take(found, name, match[1].lower() if pattern.groups else name)
        text = pattern.sub(" ", text)
    if "set" in found and "unset" in found:
        raise BookError("The reading says both 'set' and 'unset'; say which of them holds.")
    words = text.rstrip(" ,;").split()  # a comma before 'finding 3'
    test, value = _parted(words)
    details: dict[str, Any] = {"part": found["part"]} if "part" in found else {}
    if "check" in found:
        details["check"] = typed_check(reading_kind(test), found["check"])
    details |= {k: float(found[k].replace(",", ".")) for k in ("water_c", "liquid") if k in found}
    if "directions" in found:
        details["directions"] = int(found["directions"])
    typed = Typed(
        test,
        value,
        uncertainty=found.get("uncertainty", ""),
        is_set=False if "unset" in found else True if "set" in found else is_set,
        details=details,
    )
    return Line(typed, understand(typed), tuple(findings), remark.strip())


def _take(found: dict[str, str], name: str, value: str) -> None:
    """Keep what the line says of a name; said otherwise before, it is asked and not guessed."""
    before = found.setdefault(name, value)
    if before != value:
        raise BookError(f"The reading says both '{before}' and '{value}'; say which of them holds.")


def _parted(words: list[str]) -> tuple[str, str]:
    """Part a test's name, before or behind it, from the value, or tell the test by the value."""
    parts = [(words[:n], words[n:]) for n in range(len(words) - 1, 0, -1)]
    for name_words, value_words in (*parts, *((last, first) for first, last in reversed(parts))):
        name = " ".join(name_words).rstrip(":=")
        if reading_kind(name) is not None or key(name) in NEVER_MADE:
            return name, " ".join(value_words)
    value = " ".join(words)
    if not value:
        raise BookError("Nothing is typed; write a reading, as '1.762-1.770' or 'density 4.00 unset'.")
    kind = _told_by(value)
    if kind is None:
        raise BookError(
            f"'{value}' alone does not tell its test; write both, as 'refractometer 1.762-1.770', 'density 4.00 unset', "
            "'long wave weak' or 'loupe needle'."
        )
    return kind.value, value


def _told_by(value: str) -> ReadingKind | None:
    if re.match(r"\s*[>≥]", value) or key(value) in ("over the limit", "otl"):
        return ReadingKind.REFRACTOMETER
    numbers = parse_numbers(re.sub(r"\s*(g/cm³|g/cm3|g/cc)$", "", value))
    if numbers is not None:
        # What can be no index is a density.
        of_index = all(INDEX[0] <= n <= INDEX[1] for n in numbers) and "g" not in value
        return ReadingKind.REFRACTOMETER if of_index else ReadingKind.DENSITY
    if re.fullmatch(rf"{NUMBER}\s*(g|ct)\s*[/;]\s*{NUMBER}\s*(g|ct)", value.strip()):
        return ReadingKind.DENSITY
    name = key(value)
    return next((_TELLING[n] for n in (name, name.removesuffix("s")) if n in _TELLING), None)
