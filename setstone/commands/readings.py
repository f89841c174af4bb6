"""Commands for readings and remarks."""

from typing import Annotated

import typer

from setstone.commands.common import (
    HERE,
    LOGIN,
    BookOption,
    ByOption,
    JsonOption,
    StoneArgument,
    open_book,
    say,
    show,
)

reading_commands = typer.Typer(help="Results of instruments on a stone.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.add_typer(reading_commands, name="reading")
    app.command()(remark)


@reading_commands.command("add")
def add(
    stone: StoneArgument,
    test: Annotated[str, typer.Argument(help="Which test: 'refractometer', 'thermal conductivity tester' …")],
    value: Annotated[str, typer.Argument(help="The value as read: '1.762-1.770'.")],
    unit: Annotated[str, typer.Option(help="Its unit, where it has one.")] = "",
    uncertainty: Annotated[str, typer.Option(help="Its uncertainty or the instrument's resolution.")] = "",
    instrument: Annotated[str, typer.Option(help="Which instrument.")] = "",
    is_set: Annotated[
        bool, typer.Option("--set/--unset", help="Whether the stone was in its setting.")
    ] = True,
    remark: Annotated[str, typer.Option(help="Anything worth knowing about it.")] = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Enter a reading: a reading is not a verdict on what the stone is.

    Example: setstone reading add lid-3 refractometer 1.762-1.770 --uncertainty 0.002 --unset
    """
    from setstone.commands import as_json as j
    from setstone.commands import screen

    with open_book(book) as opened:
        entry = opened.add_reading(
            opened.stone(stone),
            test=test,
            value=value,
            unit=unit,
            uncertainty=uncertainty,
            instrument=instrument,
            stone_is_set=is_set,
            remark=remark,
            by=by,
        )
    show(as_json, j.reading(entry), lambda: screen.print_readings([entry], []))


@reading_commands.command("list")
def list_readings(stone: StoneArgument, book: BookOption = HERE, as_json: JsonOption = False) -> None:
    """List the readings and remarks of a stone."""
    from setstone.commands import as_json as j
    from setstone.commands import screen

    with open_book(book) as opened:
        of = opened.stone(stone)
        entries, remarks = opened.readings(of), opened.remarks(of)
    show(
        as_json,
        {"readings": [j.reading(r) for r in entries], "remarks": [j.remark(r) for r in remarks]},
        lambda: screen.print_readings(entries, remarks),
    )


def remark(
    stone: StoneArgument,
    text: Annotated[str, typer.Argument(help="The remark.")],
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Enter a remark on a stone.

    Example: setstone remark lid-5 "old glue at the lower edge, yellow and crazed"
    """
    from setstone.commands import as_json as j

    with open_book(book) as opened:
        entry = opened.add_remark(opened.stone(stone), text, by=by)
    show(as_json, j.remark(entry), lambda: say("Kept the remark."))
