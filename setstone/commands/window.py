"""The command that opens the window."""

import os
import signal
import sys
from importlib.util import find_spec
from typing import Annotated

import typer

from setstone.annotate.errors import AnnotateError
from setstone.commands.common import read_only

#: One of them tells where a screen is, on systems that are neither Windows nor macOS.
_SCREENS = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")


def register(app: typer.Typer) -> None:
    """Add this command to the command line."""
    app.command("open")(open_)


def open_(
    book: Annotated[
        str | None,
        typer.Argument(
            help="Folder of the book, or its address 'postgresql://USER@HOST/DATABASE?folder=FOLDER'.",
            show_default="the one opened last",
        ),
    ] = None,
    by: Annotated[
        str,
        typer.Option(
            "--by",
            envvar="SETSTONE_OPERATOR",
            help="Who works at the window.",
            show_default="as set there, or your login name",
        ),
    ] = "",
) -> None:
    """Open the window: photographs, examination and review with mouse and keyboard.

    Example: setstone open quay-book
    """
    from setstone.record.book import Book

    if any(find_spec(name) is None for name in ("napari", "qtpy", "superqt", "filelock")):
        raise AnnotateError('The window is not installed; install it with: pip install "setstone[gui]"')
    if sys.platform not in ("win32", "darwin") and not any(os.environ.get(name) for name in _SCREENS):
        raise AnnotateError("There is no screen to open a window on; work at the computer itself.")
    if book is not None:
        Book.open(
            book, read_only=read_only.get()
        ).close()  # what is wrong with it is told here, not in a window
    from setstone.annotate.panels.window import run

    # Every step is in the book at once, and Qt cannot be left from a signal's handler.
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    run(book, by, read_only=read_only.get())
