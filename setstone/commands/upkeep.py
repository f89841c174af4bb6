"""Commands that verify a book, repair it, back it up and bring it back."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from setstone.commands.common import HERE, LOGIN, BookOption, ByOption, JsonOption, open_book, say, show


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(check)
    app.command()(backup)
    app.command()(restore)


def check(
    repair: Annotated[
        bool, typer.Option("--repair", help="Make anew what can be; originals and entries are never changed.")
    ] = False,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Verify the whole book: database, references, photographs, signatures; exit status 1 where something is wrong.

    Example: setstone check
    """
    from setstone.record.verifying import check_book, repair_book

    with open_book(book) as opened:
        done = repair_book(opened, by=by) if repair else ()
        found = check_book(opened)

    def human() -> None:
        for sentence in done:
            say(sentence)
        for trouble in found.troubles:
            say(f"{trouble.what} {trouble.remedy}")
        say(
            f"{'Wrong: ' + str(len(found.troubles)) if found.troubles else 'The book is whole'}; looked at: stones {found.stones}, "
            f"photographs {found.photographs}, examinations {found.examinations}, signatures {found.signatures}, "
            f"lines of the journal {found.journal_lines}."
        )

    show(as_json, {**asdict(found), "whole": not found.troubles, "done": list(done)}, human)
    if found.troubles:
        raise typer.Exit(1)


def backup(
    to: Annotated[Path, typer.Argument(metavar="FILE", help="File to make, ending in .zip.")],
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Write the book to one file, as it stands at one moment; others may go on working in it.

    Example: setstone backup quay-2026-11-26.zip
    """
    from setstone.record.backing_up import back_up

    with open_book(book) as opened:
        lost = back_up(opened, to)

    def human() -> None:
        say(f"Backed up the book to '{to}'; 'setstone restore' brings it back.")
        if lost:
            say(
                f"Not in it, because they are lost in the book: {', '.join(lost)}. Add the originals again, and back up anew."
            )

    show(as_json, {"backup": str(to), "lost": list(lost)}, human)
    if lost:
        raise typer.Exit(1)


def restore(
    source: Annotated[Path, typer.Argument(metavar="FILE", help="The backup.")],
    where: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Folder to make, which must be empty or not exist.")
    ],
    as_json: JsonOption = False,
) -> None:
    """Bring a book back from its backup: all of it or, when it is not whole, nothing.

    Example: setstone restore quay-2026-11-26.zip quay-book-again
    """
    from setstone.record.backing_up import restore as bring_back

    bring_back(source, where)
    show(as_json, {"book": str(where)}, lambda: say(f"Brought the book back to '{where}'."))
