"""What a person looks for among all stones."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from setstone.record.book import Book
from setstone.record.errors import BookError

#: Times offered first; any day, or two, may be typed.
TODAY, WEEK, MONTH, YEAR = "today", "last 7 days", "last 30 days", "last 365 days"
PERIODS = (TODAY, WEEK, MONTH, YEAR)
_DAYS = dict(zip(PERIODS, (0, 7, 30, 365), strict=True))


@dataclass(frozen=True)
class Search:
    """What the stones looked for have in common; what is empty does not matter.

    Parameters
    ----------
    text : str
        Words that all occur somewhere in what the book says of the stone.
    species : str
        What it is claimed to be, or what its readings are most consistent with.
    contradicted : bool
        Whether its record holds contradictions.
    changed : str
        When something was last entered on it, as `period` understands it.
    """

    text: str = ""
    species: str = ""
    contradicted: bool = False
    changed: str = ""

    def stones(self, book: Book) -> frozenset[int] | None:
        """Numbers of the stones that are like that; None when all are, because nothing is looked for.

        Raises
        ------
        BookError
            When the time is not understood.
        """
        since, until = period(self.changed)
        text, species = self.text.strip(), self.species.strip()
        if not (text or species or self.contradicted or since or until):
            return None
        return book.matching(text, species=species, contradicted=self.contradicted, since=since, until=until)


def period(text: str, today: date | None = None) -> tuple[datetime | None, datetime | None]:
    """Understand a time of days as it is chosen or typed.

    Parameters
    ----------
    text : str
        One of `PERIODS`, a day ``2026-03-02``, from a day on ``2026-03-02 to``, up to a day ``to 2026-03-02``, or from
        one to another ``2026-03-02 to 2026-03-09``; empty for any time.
    today : date, optional
        Another day than today.

    Returns
    -------
    since, until : datetime or None
        Aware, local; `until` itself no more.

    Raises
    ------
    BookError
        When it is not understood.

    Examples
    --------
    >>> since, until = period("2026-03-02")
    >>> since.date().isoformat(), until.date().isoformat()
    ('2026-03-02', '2026-03-03')
    >>> period("")
    (None, None)
    """
    text = " ".join(text.split()).casefold()
    if not text:
        return None, None
    today = today or datetime.now().astimezone().date()
    if text in _DAYS:
        return _begin(today - timedelta(days=_DAYS[text])), None
    first, to, last = f" {text} ".partition(" to ")
    try:
        since = date.fromisoformat(first.strip()) if first.strip() else None
        until = date.fromisoformat(last.strip()) if last.strip() else None
        if not to:
            until = since
        if since is None and until is None:
            raise ValueError
        return (
            None if since is None else _begin(since),
            None if until is None else _begin(until + timedelta(days=1)),
        )
    except (ValueError, OverflowError, OSError) as error:
        raise BookError(
            f"'{text}' is no time; write a day as 2026-03-02, or two as 2026-03-02 to 2026-03-09."
        ) from error


def _begin(day: date) -> datetime:
    """Begin of a day, local."""
    return datetime.combine(day, time()).astimezone()
