"""Checks of an instrument on something known, made around a reading.

A thermal tester is checked on both its reference stones before, and may be again afterwards; a refractometer on a
glass or stone of known index; a balance on a check weight. They are typed beside the reading and kept with it:
``check 2/8``, ``check 2/8 again 2/7``, ``check 1.517/1.516 on 2026-03-02``, ``check 1.0000g/0.9999g``.
"""

import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from setstone.measure.quantity import Quantity
from setstone.measure.units import converted
from setstone.record.errors import BookError
from setstone.record.evidence.figures import NUMBER, parse_numbers
from setstone.record.evidence.readings import ReadingKind

#: What each instrument is checked on.
CHECKED_ON: Mapping[ReadingKind, str] = {
    ReadingKind.THERMAL: "both reference stones",
    ReadingKind.REFRACTOMETER: "a glass of known index",
    ReadingKind.DISTANT_VISION: "a glass of known index",
    ReadingKind.DENSITY: "a check weight",
}
#: How a check of each is typed.
_EXAMPLES = {
    ReadingKind.THERMAL: "'check 2/8' (simulant and diamond as read), or 'check 2/8 again 2/8'",
    ReadingKind.REFRACTOMETER: "'check 1.517/1.516' (index of the glass, and as read)",
    ReadingKind.DISTANT_VISION: "'check 1.52/1.51' (index of the glass, and as read)",
    ReadingKind.DENSITY: "'check 1.0000g/0.9999g' (the weight, and as read)",
}
#: Days a check of refractometer or balance holds (common practice, no source).
VALID_DAYS = 31

_READ = rf"(?:{NUMBER}(?:\s*(?:g|ct|mg)\b)?|[a-z]+)"
_PAIR = rf"{_READ}\s*[/;]\s*{_READ}"
#: A check as part of a line.
PATTERN = rf"{_PAIR}(?:\s+again\s+{_PAIR})?(?:\s+on\s+[\d-]+)?"
_WHOLE = re.compile(
    rf"({_READ})\s*[/;]\s*({_READ})(?:\s+again\s+({_READ})\s*[/;]\s*({_READ}))?(?:\s+on\s+([\d-]+))?",
    re.IGNORECASE,
)


def typed_check(kind: ReadingKind | None, text: str) -> dict[str, Any]:
    """Read a check as typed.

    Parameters
    ----------
    kind : ReadingKind or None
        Of the reading it stands beside.
    text : str
        Without the word 'check'.

    Returns
    -------
    dict
        Of a thermal tester ``simulant`` and ``diamond`` and, where it was checked again afterwards, ``again`` with both;
        else ``known``, ``read`` and, where a date was typed, ``on`` (ISO 8601). Texts as typed.

    Raises
    ------
    BookError
        When it is no check, or the instrument has none.

    Examples
    --------
    >>> typed_check(ReadingKind.REFRACTOMETER, "1,517/1.516 on 2026-03-02")
    {'known': '1,517', 'read': '1.516', 'on': '2026-03-02'}
    """
    if kind is None or kind not in CHECKED_ON:
        raise BookError(
            "A check stands beside a reading of thermal tester, refractometer or balance; leave it out here."
        )
    found = _WHOLE.fullmatch(text.strip())
    thermal = kind is ReadingKind.THERMAL
    if found is None or (found[5] if thermal else found[3]):
        raise BookError(f"'{text}' is no calibration check of this test; write it as {_EXAMPLES[kind]}.")
    first, second = " ".join(found[1].split()), " ".join(found[2].split())
    if thermal:
        again = {"again": {"simulant": found[3], "diamond": found[4]}} if found[3] else {}
        return {"simulant": first, "diamond": second, **again}
    check = {"known": first, "read": second}
    _pair(kind, check)
    if found[5]:
        try:
            check["on"] = date.fromisoformat(found[5]).isoformat()
        except ValueError as error:
            raise BookError(f"'{found[5]}' is no date of a check; write it as '2026-03-02'.") from error
    return check


def as_typed(check: Mapping[str, Any]) -> str:
    """Write a check as it is typed.

    >>> as_typed({"simulant": "2", "diamond": "8", "again": {"simulant": "2", "diamond": "7"}})
    '2/8 again 2/7'
    """
    if "known" in check:
        return f"{check['known']}/{check['read']}" + (f" on {check['on']}" if check.get("on") else "")
    again = f" again {as_typed(check['again'])}" if check.get("again") else ""
    return f"{check.get('simulant', '')}/{check.get('diamond', '')}{again}"


def trust(
    kind: ReadingKind, check: Mapping[str, Any], day: date | None, limits: float, *, relative: bool
) -> tuple[str, str]:
    """Say how far a check lets a refractometer or a balance be relied on.

    Parameters
    ----------
    kind : ReadingKind
    check : mapping
        As `typed_check` gives it; empty where there was none.
    day : date or None
        Of the reading.
    limits : float
        Limits of error of the reading, which the check must keep; of weighings in g.
    relative : bool
        Whether they are a share of what is read.

    Returns
    -------
    unused, unchecked : str
        Why the reading is not weighed, and why it is marked as not checked; one or both are empty.
    """
    what = CHECKED_ON[kind]
    if "known" not in check:
        return "", f"no check on {what} stands beside it"
    known, read = _pair(kind, check)
    # Read to the last digit of the limits, so that a deviation just as large still keeps them.
    if abs(read - known) > limits * (known if relative else 1.0) * 1.001:
        return f"its check failed: {what} of {check['known']} read {check['read']}", ""
    on = check.get("on")
    if on and day is not None and (day - date.fromisoformat(on)).days > VALID_DAYS:
        return "", f"its check on {what}, of {on}, is more than {VALID_DAYS} days old"
    return "", ""


def _pair(kind: ReadingKind, check: Mapping[str, Any]) -> tuple[float, float]:
    """Take what is known and what was read as numbers: indices, or weights in g."""
    known, read = (_one(kind, str(check[name])) for name in ("known", "read"))
    if known is None or read is None:
        raise BookError(
            f"'{as_typed(check)}' is no calibration check of this test; write it as {_EXAMPLES[kind]}."
        )
    return known, read


def _one(kind: ReadingKind, text: str) -> float | None:
    unit = re.sub(rf"^{NUMBER}\s*", "", text)
    numbers = parse_numbers(text.removesuffix(unit))
    if numbers is None or len(numbers) != 1:
        return None
    if kind is ReadingKind.DENSITY:
        return converted(Quantity(numbers[0], 0.0, unit), "g").value if unit in ("g", "ct", "mg") else None
    return numbers[0] if not unit and 1.3 < numbers[0] < 2.1 else None


def references(check: Mapping[str, Any]) -> tuple[float, float] | None:
    """Take the positions of simulant and diamond on a thermal tester's scale; None for words."""
    found = [parse_numbers(str(check.get(name, ""))) for name in ("simulant", "diamond")]
    if any(f is None or len(f) != 1 for f in found):
        return None
    simulant, diamond = (f[0] for f in found if f)
    return simulant, diamond
