"""Times of the book: aware, in UTC."""

from datetime import UTC, date, datetime


def now() -> datetime:
    """Return the present moment in UTC."""
    return datetime.now(UTC)


def in_utc(moment: datetime) -> datetime:
    """Return a moment in UTC; one without a time zone, as cameras write it, is taken as local time."""
    return moment.astimezone(UTC)


def day_of(moment: datetime) -> date:
    """Return the day of a moment where this machine stands."""
    return moment.astimezone().date()
