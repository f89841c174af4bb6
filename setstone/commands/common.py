"""What the commands share: the options all of them know, and how results reach the screen."""

import getpass
import json
import math
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from setstone.record.book import Book

BookOption = Annotated[
    str,
    typer.Option(
        "--book",
        "-b",
        envvar="SETSTONE_BOOK",
        help="Folder of the book, or its address 'postgresql://USER@HOST/DATABASE?folder=FOLDER'.",
        show_default="the current folder",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for scripts instead of a table.")]
ByOption = Annotated[
    str,
    typer.Option(
        "--by",
        envvar="SETSTONE_OPERATOR",
        help="Who does this.",
        show_default="your login name",
    ),
]
StoneArgument = Annotated[
    str, typer.Argument(metavar="STONE", help="Position of the stone, as 'lid-3' or 'OBJECT/lid-3'.")
]

HERE = "."


def decimal(least: float = -math.inf, most: float = math.inf) -> Callable[[str | float], float]:
    """Make a reader of numbers between limits, with a decimal point or comma."""

    def read(text: str | float) -> float:  # a default is a number already
        try:
            value = float(str(text).strip().replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise typer.BadParameter(f"'{text}' is no number; write it as '6.52' or '6,52'.")
        if not least <= value <= most:
            limits = f"at least {least:g}" if math.isinf(most) else f"between {least:g} and {most:g}"
            raise typer.BadParameter(f"{text} is out of range; give {limits}.")
        return value

    return read


#: Whether this command line asked for reading only, before the command.
read_only: ContextVar[bool] = ContextVar("read_only", default=False)


def _login() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a machine without accounts
        return ""


LOGIN = _login()


@contextmanager
def open_book(where: str) -> Iterator["Book"]:
    """Open the book a command works on, and say when nothing can be written in it."""
    from setstone.record.book import Book

    asked = read_only.get()
    with Book.open(where, read_only=asked) as book:
        if book.why_read_only and not asked:
            typer.echo(
                f"The book '{book.place}' is open for reading only, because {book.why_read_only}.", err=True
            )
        yield book


def in_local_time(moment: datetime | None) -> datetime | None:
    """Read a time typed without a zone as one of this machine."""
    from setstone.record.errors import BookError

    try:
        return None if moment is None else moment.astimezone()
    except (ValueError, OverflowError) as error:  # the first and last day of the calendar
        raise BookError(f"'{moment}' is no time this machine can place; check the year.") from error


def show(as_json: bool, data: Any, human: Callable[[], None]) -> None:
    """Print `data` as JSON, or let `human` print it for people."""
    if as_json:
        sys.stdout.write(json.dumps(data, indent=2, ensure_ascii=False) + "\n")
    else:
        human()


#: Columns whose figures are not torn from their unit.
_KEPT_WHOLE = {"stone", "occasion", "number", "score", "diameter (k = 2)", "size (k = 2)", "scale (95 %)"}


def table(columns: Sequence[str], rows: Sequence[Sequence[str]], empty: str) -> None:
    """Print a plain table, or the sentence `empty` when there are no rows."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False)
    if not rows:
        console.print(empty)
        return
    drawn = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for column in columns:
        drawn.add_column(column, overflow="fold", no_wrap=column in _KEPT_WHOLE)
    for row in rows:
        drawn.add_row(*(Text(cell) for cell in row))
    console.print(drawn)


def say(text: str) -> None:
    """Print a line to stdout."""
    typer.echo(text)


@contextmanager
def progress(total: int) -> Iterator[Callable[[str], None]]:
    """Show progress on stderr: a bar on a terminal, else a line for each piece of work.

    The function given out is called once as each of the `total` pieces begins, and with a text
    that begins with a blank for the steps inside a piece.
    """
    if not sys.stderr.isatty():
        yield lambda text: None if text.startswith(" ") else typer.echo(text, err=True)
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    left = (TimeRemainingColumn(compact=True, elapsed_when_finished=True), TextColumn("left"))
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), *left)
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=total)
        begun = ""
        done = -1

        def tell(text: str) -> None:
            nonlocal begun, done
            if text.startswith(" "):
                bar.update(task, description=f"{begun}:{text}")
            else:
                begun, done = text, done + 1
                bar.update(task, description=text, completed=done)

        yield tell
