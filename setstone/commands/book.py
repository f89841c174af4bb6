"""Commands that start a book and name its objects and stones."""

from pathlib import Path
from typing import Annotated

import typer

from setstone.commands.common import (
    HERE,
    LOGIN,
    BookOption,
    ByOption,
    JsonOption,
    StoneArgument,
    decimal,
    open_book,
    say,
    show,
    table,
)

object_commands = typer.Typer(help="The antique pieces in the book.", no_args_is_help=True)
stone_commands = typer.Typer(help="The stones of an object.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(new)
    app.add_typer(object_commands, name="object")
    app.add_typer(stone_commands, name="stone")


def new(
    where: Annotated[
        str,
        typer.Argument(
            metavar="FOLDER",
            help="Folder to make, which must be empty or not exist; or 'postgresql://USER@HOST/DATABASE?folder=FOLDER'.",
        ),
    ],
    workshop: Annotated[str, typer.Option(help="Name of the workshop, shown on the hand-out.")] = "",
    by: ByOption = LOGIN,
    as_json: JsonOption = False,
) -> None:
    """Start a book: a folder that holds one database and the photographs.

    Example: setstone new workshop-book --workshop "Workshop on the Quay"
    """
    from setstone.record.book import Book

    with Book.create(where, workshop=workshop, by=by) as made:
        name = where if made.place.server is None else str(made.place)
        show(as_json, {"book": name}, lambda: say(f"Started the book '{name}'."))


@object_commands.command("add")
def add_object(
    name: Annotated[str, typer.Argument(help="What the workshop calls it.")],
    description: Annotated[str, typer.Option(help="Anything worth knowing about it.")] = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Add an antique piece.

    Example: setstone object add "Presentation snuff box"
    """
    from setstone.commands import as_json as j

    with open_book(book) as opened:
        entry = opened.add_object(name, description=description, by=by)
    show(as_json, j.an_object(entry), lambda: say(f"Added '{entry.name}'."))


@object_commands.command("correct")
def correct_object(
    name: Annotated[str, typer.Argument(help="As it is called now.")],
    new_name: Annotated[str | None, typer.Option("--name", help="As it shall be called.")] = None,
    description: Annotated[str | None, typer.Option(help="As it should be.")] = None,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Correct the name or the description of an object; the journal keeps what stood before.

    Example: setstone object correct "Snuff box" --name "Presentation snuff box"
    """
    from setstone.commands import as_json as j

    _require_one(name=new_name, description=description)
    with open_book(book) as opened:
        entry = opened.correct_object(opened.object(name), name=new_name, description=description, by=by)
    show(as_json, j.an_object(entry), lambda: say(f"Corrected '{entry.name}'."))


@object_commands.command("list")
def list_objects(book: BookOption = HERE, as_json: JsonOption = False) -> None:
    """List the objects of the book."""
    from setstone.commands import as_json as j

    with open_book(book) as opened:
        entries = opened.objects()
    show(
        as_json,
        [j.an_object(e) for e in entries],
        lambda: table(
            ("object", "description"),
            [(e.name, e.description) for e in entries],
            "The book holds no objects yet; add one with 'setstone object add NAME'.",
        ),
    )


@object_commands.command("photograph")
def picture_object(
    name: Annotated[str, typer.Argument(metavar="OBJECT", help="The object.")],
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="A photograph of the whole object.")
    ] = None,
    none: Annotated[bool, typer.Option("--none", help="Show none any more; it stays in the book.")] = False,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Keep a photograph of an object as a whole, for the head of the hand-out.

    Example: setstone object photograph "Presentation snuff box" lid.jpg
    """
    from setstone.commands import as_json as j

    if none is (file is not None):
        raise typer.BadParameter("give a photograph, or --none to show none any more.")
    with open_book(book) as opened:
        shown = opened.picture_object(opened.object(name), file, by=by)
    show(
        as_json,
        j.object_photograph(shown),
        lambda: say(
            f"'{name}' shows no photograph of the whole any more."
            if shown is None
            else f"'{name}' shows '{shown.name}'; say where each stone sits with 'setstone stone place'."
        ),
    )


@stone_commands.command("place")
def place_stone(
    stone: StoneArgument,
    right: Annotated[
        float | None,
        typer.Argument(metavar="RIGHT", help="From the left edge, % of the width.", parser=decimal()),
    ] = None,
    down: Annotated[
        float | None,
        typer.Argument(metavar="DOWN", help="From the upper edge, % of the height.", parser=decimal()),
    ] = None,
    none: Annotated[bool, typer.Option("--none", help="Take the place back.")] = False,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Say where a stone sits in the photograph of its object.

    Example: setstone stone place lid-3 62 40
    """
    if (right is None) is not (down is None) or none is (right is not None):
        raise typer.BadParameter("give both distances in percent, or --none to take the place back.")
    at = None if right is None or down is None else (right / 100, down / 100)
    with open_book(book) as opened:
        entry = opened.stone(stone)
        opened.place_stone(entry, at, by=by)
    show(
        as_json,
        {"stone": entry.full_name, "place": None if at is None else {"x": at[0], "y": at[1]}},
        lambda: say(f"{entry.full_name} has {'no place any more' if at is None else 'its place'}."),
    )


@stone_commands.command("add")
def add_stone(
    positions: Annotated[
        list[str], typer.Argument(metavar="POSITION...", help="Where it sits: lid-1, lid-2 …")
    ],
    claimed: Annotated[
        str, typer.Option(help="What the stone is claimed to be: a claim, not a finding.")
    ] = "",
    of: Annotated[str, typer.Option("--object", help="Its object; needed when the book holds several.")] = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Add stones by their position.

    Example: setstone stone add lid-3 --claimed ruby
    """
    from setstone.commands import as_json as j

    with open_book(book) as opened, opened.atomic():
        parent = opened.object(of or None)
        entries = [opened.add_stone(parent, p, claimed_as=claimed, by=by) for p in positions]
    show(
        as_json,
        [j.stone(e) for e in entries],
        lambda: say(f"Added {', '.join(e.position for e in entries)} to '{parent.name}'."),
    )


@stone_commands.command("correct")
def correct_stone(
    stone: StoneArgument,
    position: Annotated[str | None, typer.Option(help="Where it sits, as it should be.")] = None,
    claimed: Annotated[str | None, typer.Option(help="What it is claimed to be, as it should be.")] = None,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Correct the position of a stone or what it is claimed to be; the journal keeps what stood before.

    Example: setstone stone correct lid-3 --claimed spinel
    """
    from setstone.commands import as_json as j

    _require_one(position=position, claimed=claimed)
    with open_book(book) as opened:
        entry = opened.correct_stone(opened.stone(stone), position=position, claimed_as=claimed, by=by)
    show(as_json, j.stone(entry), lambda: say(f"Corrected {entry.full_name}."))


@stone_commands.command("remove")
def remove_stone(
    stone: StoneArgument, by: ByOption = LOGIN, book: BookOption = HERE, as_json: JsonOption = False
) -> None:
    """Take a stone out of the book; all that was done on it is kept, and 'setstone stone restore' brings it back.

    Example: setstone stone remove lid-9
    """
    from setstone.commands import as_json as j

    with open_book(book) as opened:
        entry = opened.stone(stone)
        opened.remove_stone(entry, by=by)
    show(
        as_json,
        j.stone(entry),
        lambda: say(
            f"Took out {entry.full_name}; 'setstone stone restore {entry.position}' brings it back with all that is kept."
        ),
    )


@stone_commands.command("restore")
def restore_stone(
    stone: StoneArgument, by: ByOption = LOGIN, book: BookOption = HERE, as_json: JsonOption = False
) -> None:
    """Bring a stone back that was taken out: the last one, where there were several of that position.

    Example: setstone stone restore lid-9
    """
    from setstone.commands import as_json as j

    with open_book(book) as opened:
        entry = opened.restore_stone(opened.removed_stone(stone), by=by)
    show(as_json, j.stone(entry), lambda: say(f"Brought back {entry.full_name}."))


@stone_commands.command("list")
def list_stones(
    removed: Annotated[
        bool, typer.Option("--removed", help="List those that were taken out instead.")
    ] = False,
    most: Annotated[int, typer.Option(help="How many to list; as JSON all are given.", min=1)] = 200,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """List the stones: what is claimed, how many photographs, how far the work has come."""
    from setstone.commands import as_json as j

    if removed:
        with open_book(book) as opened:
            gone = opened.removed_stones()
        show(
            as_json,
            [j.stone(s) for s in gone],
            lambda: table(
                ("object", "stone", "claimed as"),
                [(s.object_name, s.position, s.claimed_as or "–") for s in gone],
                "No stone was taken out of this book.",
            ),
        )
        return
    with open_book(book) as opened:
        found = opened.search(most=None if as_json else most)

    def human() -> None:
        table(
            ("object", "stone", "claimed as", "photographs", "state", "last entry"),
            [
                (
                    p.stone.object_name,
                    p.stone.position,
                    p.stone.claimed_as or "–",
                    str(p.photographs),
                    str(p.stage),
                    f"{p.changed.astimezone():%Y-%m-%d %H:%M}",
                )
                for p in found.stones
            ],
            "The book holds no stones yet; add one with 'setstone stone add POSITION'.",
        )
        if len(found.stones) < found.total:
            say(f"{found.total} in all; '--most {found.total}' lists them.")

    show(as_json, [j.progress(p) for p in found.stones], human)


def _require_one(**given: str | None) -> None:
    from setstone.record.errors import BookError

    if all(value is None for value in given.values()):
        raise BookError(
            f"Nothing is to be corrected; give {' or '.join(f'--{n}' for n in given)} as it should be."
        )


@stone_commands.command("show")
def show_stone(stone: StoneArgument, book: BookOption = HERE, as_json: JsonOption = False) -> None:
    """Show all that the book holds on one stone."""
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.consistency import read_as

    with open_book(book) as opened:
        entry = opened.stone(stone)
        photographs = opened.photographs(entry)
        examinations = opened.latest_examinations(entry)
        readings, remarks = opened.readings(entry), opened.remarks(entry)
        facts, work = opened.facts(entry), opened.work(entry)
        signature, unchanged = opened.signature(entry), opened.progress([entry.id])[0].signature is not None

    def human() -> None:
        say(f"{entry.object_name}, {entry.position}: claimed as {entry.claimed_as or '(nothing)'}")
        screen.print_photographs(photographs)
        for examination in examinations:
            screen.print_examination(entry, examination)
        screen.print_readings([read_as(r) for r in readings], remarks)
        if facts:
            screen.print_facts(facts)
        if work:
            screen.print_work(work)
        if signature is not None:
            since = "" if unchanged else f"; changed since, 'setstone difference {entry.position}' says what"
            say(f"Signed by {signature.by}, {signature.at.astimezone():%Y-%m-%d %H:%M}{since}.")

    data = {
        **j.stone(entry),
        "photographs": [j.photograph(p) for p in photographs],
        "examinations": [j.examination(e, entry) for e in examinations],
        "readings": [j.reading(r) for r in readings],
        "remarks": [j.remark(r) for r in remarks],
        "facts": [j.fact(f) for f in facts],
        "work": [j.work(w) for w in work],
        "signed": j.signature(signature) if unchanged else None,
    }
    show(as_json, data, human)
