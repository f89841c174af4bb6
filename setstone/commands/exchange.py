"""Commands that write a whole book as files and start one from them."""

from pathlib import Path
from typing import Annotated

import typer

from setstone.commands.common import HERE, LOGIN, BookOption, ByOption, JsonOption, open_book, say, show


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command("export")(export)
    app.command("import")(import_)


def export(
    to: Annotated[Path, typer.Argument(help="Folder to make, or a file whose name ends in .zip.")],
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Write the whole book: JSON Lines and the photographs, for other programs and for 'setstone import'.

    Example: setstone export quay-book.zip
    """
    from setstone.record.exporting import export_book

    with open_book(book) as opened:
        path = export_book(opened, to)
    show(as_json, {"export": str(path)}, lambda: say(f"Wrote the whole book to '{path}'."))


def import_(
    source: Annotated[Path, typer.Argument(metavar="EXPORT", help="Folder or .zip of an export.")],
    where: Annotated[
        str,
        typer.Argument(
            metavar="FOLDER",
            help="Folder to make, which must be empty or not exist; or 'postgresql://USER@HOST/DATABASE?folder=FOLDER'.",
        ),
    ],
    by: ByOption = LOGIN,
    as_json: JsonOption = False,
) -> None:
    """Start a new book from an export: all of it or, when it is not whole, nothing.

    Example: setstone import quay-book.zip quay-book-again
    """
    from setstone.record.importing import import_book

    with import_book(source, where, by=by) as made:
        name, count = str(made.place), len(made.progress())
    show(
        as_json,
        {"book": name, "stones": count},
        lambda: say(f"Started the book '{name}' with {count} {'stone' if count == 1 else 'stones'}."),
    )
