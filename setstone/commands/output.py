"""Commands that give results out: annotated pictures, the hand-out, the journal."""

from pathlib import Path
from typing import Annotated

import typer

from setstone.commands.common import HERE, BookOption, JsonOption, StoneArgument, open_book, say, show, table


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(pictures)
    app.command()(handout)
    app.command()(journal)


def pictures(
    stones: Annotated[
        list[str] | None,
        typer.Argument(metavar="[STONE...]", help="Which stones.", show_default="all examined"),
    ] = None,
    to: Annotated[Path, typer.Option(help="Folder for the pictures.")] = Path("pictures"),
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Write the annotated pictures: PNG with numbered findings, and the overlay as SVG."""
    from setstone.annotate.pictures import write_pictures

    written: list[Path] = []
    with open_book(book) as opened:
        for stone in [opened.stone(s) for s in stones] if stones else opened.stones():
            for entry in opened.latest_examinations(stone):
                written += write_pictures(entry, stone, opened.photographs(stone), to)
    show(
        as_json,
        [str(p) for p in written],
        lambda: say(
            f"Wrote {len(written)} files to '{to}'."
            if written
            else "Nothing to draw: examine a stone first with 'setstone examine'."
        ),
    )


def handout(
    to: Annotated[Path, typer.Option(help="File to write.")] = Path("hand-out.html"),
    stones: Annotated[
        list[str] | None,
        typer.Argument(metavar="[STONE...]", help="Which stones.", show_default="all examined"),
    ] = None,
    language: Annotated[str, typer.Option(help="Language of the hand-out: en, de or fr.")] = "en",
    names: Annotated[bool, typer.Option("--names", help="Name those who did the work.")] = False,
    pdf: Annotated[bool, typer.Option("--pdf", help="Write it as PDF for paper and archives too.")] = False,
    paper: Annotated[str, typer.Option(help="Paper of the PDF: a4 or letter.")] = "a4",
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Write the buyer's hand-out: one HTML file that needs no network, and a PDF beside it when asked for.

    Example: setstone handout --to hand-out.html --language de --pdf
    """
    from setstone.annotate.handout import write_handout
    from setstone.annotate.pdf import paper_named, write_pdf

    paper_named(paper)  # before anything is written

    with open_book(book) as opened:
        chosen = [opened.stone(s) for s in stones] if stones else list(opened.stones())
        path = write_handout(opened, chosen, to, language=language, names=names)
        written = {"handout": str(path)}
        if pdf:
            beside = to.with_suffix(".pdf")
            write_pdf(opened, chosen, beside, paper=paper, language=language, names=names)
            written["pdf"] = str(beside)
    show(as_json, written, lambda: say("\n".join(f"Wrote '{name}'." for name in written.values())))


def journal(
    stone: Annotated[StoneArgument | None, typer.Argument(help="Only this stone.")] = None,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """List every change: who, when, what. Nothing in it is ever erased."""
    from setstone.commands import as_json as j

    with open_book(book) as opened:
        entries = opened.journal(None if stone is None else opened.stone(stone))
    show(
        as_json,
        [j.journal(e) for e in entries],
        lambda: table(
            ("when", "by", "what", "of"),
            [(f"{e.at.astimezone():%Y-%m-%d %H:%M:%S}", e.by, e.action, e.subject) for e in entries],
            "Nothing has been written in this book yet.",
        ),
    )
