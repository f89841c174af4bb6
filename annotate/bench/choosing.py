"""What is offered first: the occasion of a new photograph, the position of the next stone; the order of stones."""

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import lru_cache

from setstone.capture.photograph import Lamp
from setstone.record.entries import PhotographEntry
from setstone.record.text import key
from setstone.record.vocabulary import OCCASIONS

#: Photographs taken within this time belong to one occasion (common practice, no source).
_SAME_SITTING = timedelta(hours=12)


def likely_occasion(there: Sequence[PhotographEntry], lamp: Lamp, taken: datetime | None) -> str:
    """Tell the occasion of a photograph from those a stone has already.

    Parameters
    ----------
    there : sequence of PhotographEntry
        Of the stone, in the order they were added.
    lamp : Lamp
        Of the new one.
    taken : datetime or None
        When the new one was taken, aware, where its file says so.

    Returns
    -------
    str
        That of a photograph taken in the same sitting; else the last one that lacks this light; else
        the next of the usual occasions.
    """
    for entry in reversed(there):
        if taken is not None and entry.taken is not None and abs(entry.taken - taken) < _SAME_SITTING:
            return entry.occasion
    if not there:
        return OCCASIONS[0]
    last = there[-1].occasion
    if all(entry.lamp is not lamp for entry in there if entry.occasion == last):
        return last
    return OCCASIONS[-1] if last in OCCASIONS else last


@lru_cache(maxsize=20_000)  # a book of thousands of stones has few positions
def in_order(position: str) -> tuple[tuple[int, str], ...]:
    """Key that sorts positions as people count: lid-2 before lid-10.

    >>> sorted(["lid-10", "Lid-2", "lid-1"], key=in_order)
    ['lid-1', 'Lid-2', 'lid-10']
    """
    return tuple(
        (int(part), "") if part.isdecimal() else (0, part)
        for part in re.split(r"(\d+)", key(position))
        if part
    )


def next_position(positions: Sequence[str]) -> str:
    """Position that follows those there are; empty when they do not end in a number.

    >>> next_position(["lid-1", "lid-3", "lid-2"]), next_position(["clasp"])
    ('lid-4', '')
    """
    last = max(positions, key=in_order, default="")
    match = re.fullmatch(r"(.*?)(\d+)", last)
    if match is None:
        return ""
    return f"{match[1]}{int(match[2]) + 1:0{len(match[2])}d}"
