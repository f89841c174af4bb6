"""Work on a stone as a person types it into a form."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from setstone.record.errors import BookError
from setstone.record.vocabulary import WorkKind
from setstone.record.work import Known, work_cautions


@dataclass(frozen=True)
class TypedWork:
    """What stands in the form.

    Parameters
    ----------
    kind : WorkKind
    adhesive, solvent, remark : str
    done : str
        When, as ``2026-03-02 14:30`` or ``2026-03-02`` in local time; empty for just now.
    done_by : str
        Who did it; empty for the one who enters it.
    """

    kind: WorkKind
    adhesive: str = ""
    solvent: str = ""
    remark: str = ""
    done: str = ""
    done_by: str = ""

    def values(self) -> dict[str, Any]:
        """What goes into the book, by the names of `add_work`.

        Raises
        ------
        BookError
            When the time is not understood, with how to write it.

        Examples
        --------
        >>> TypedWork(WorkKind.SET, adhesive="acrylic copolymer").values()["adhesive"]
        'acrylic copolymer'
        """
        return {
            "kind": self.kind,
            "adhesive": self.adhesive,
            "solvent": self.solvent,
            "remark": self.remark,
            "done": moment(self.done),
            "done_by": self.done_by,
        }

    def cautions(self, claimed_as: str, known: Known) -> tuple[str, ...]:
        """What may harm a stone claimed as this, of which this is known, or whoever works on it."""
        return work_cautions(claimed_as, self.kind, known, solvent=self.solvent.strip())


def moment(text: str) -> datetime | None:
    """Understand a time as it is typed; None for an empty one.

    Parameters
    ----------
    text : str
        ``2026-03-02 14:30`` or ``2026-03-02``, local unless its zone is given.

    Returns
    -------
    datetime or None
        Aware.

    Raises
    ------
    BookError
        When it is not understood.

    Examples
    --------
    >>> moment("2026-03-02 14:30+01:00").isoformat()
    '2026-03-02T14:30:00+01:00'
    """
    text = text.strip()
    if not text:
        return None
    try:
        found = datetime.fromisoformat(text)
        return found if found.tzinfo is not None else found.astimezone()
    except (ValueError, OverflowError, OSError) as error:
        raise BookError(
            f"'{text}' is no time; write it as 2026-03-02 14:30, or 2026-03-02 for the day."
        ) from error
