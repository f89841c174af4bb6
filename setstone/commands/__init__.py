"""The commands: each opens the book, calls one function of the rooms below, and prints."""

import unicodedata

import typer

from setstone import __version__
from setstone.annotate.errors import AnnotateError
from setstone.capture.errors import PhotographError
from setstone.commands import (
    book,
    camera,
    common,
    demo,
    evidence,
    examination,
    exchange,
    identity,
    output,
    package,
    photographs,
    readings,
    setups,
    upkeep,
    versions,
    window,
    work,
)
from setstone.measure.errors import MeasurementError
from setstone.record.errors import BookError

app = typer.Typer(
    name="setstone",
    help="Photograph, measure and record gemstones in their setting, and show the buyer what was found.",
    epilog="Begin with 'setstone demo', which works on sample images; then 'setstone new BOOK'.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for group in (
    demo,
    book,
    photographs,
    setups,
    camera,
    examination,
    readings,
    evidence,
    work,
    identity,
    versions,
    output,
    package,
    exchange,
    upkeep,
    window,
):
    group.register(app)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"setstone {__version__}")
        raise typer.Exit


@app.callback()
def _main(
    version: bool = typer.Option(  # noqa: ARG001 its own callback sees to it
        False, "--version", callback=_version, is_eager=True, help="Print the version and stop."
    ),
    read_only: bool = typer.Option(
        False, "--read-only", envvar="SETSTONE_READ_ONLY", help="Open the book for reading only."
    ),
) -> None:
    """Photograph, measure and record gemstones in their setting, and show the buyer what was found."""
    common.read_only.set(read_only)


def failure(error: Exception) -> str:
    """One plain line for whatever went wrong: no traceback reaches a user, no control character of a name the terminal."""
    return "".join("?" if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in _said(error))


def _said(error: Exception) -> str:
    if isinstance(error, AnnotateError | BookError | MeasurementError | PhotographError):
        return str(error)
    if isinstance(error, OSError) and error.strerror:
        where = f" '{error.filename}'" if error.filename else ""
        return (
            f"The system refuses{where}: {error.strerror}; check the disk, the folder and your rights on it."
        )
    return (
        f"setstone met a fault of its own ({type(error).__name__}: {error}); nothing of this command was kept. "
        "Set SETSTONE_DEBUG=1 to see where, and report it."
    )
