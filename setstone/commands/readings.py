"""Commands for readings and remarks."""

from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

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
)

if TYPE_CHECKING:
    from setstone.record.consistency import ReadAs

reading_commands = typer.Typer(help="Results of instruments on a stone.", no_args_is_help=True)

NumberArgument = Annotated[int, typer.Argument(metavar="NUMBER", help="Number of the reading.")]
UnitOption = Annotated[str | None, typer.Option(help="Its unit, where it has one.")]
UncertaintyOption = Annotated[
    str | None,
    typer.Option(help="Its limits of error or the instrument's resolution: '0.002', '0.002 (k = 2)'."),
]
InstrumentOption = Annotated[str | None, typer.Option(help="Which instrument.")]
SetOption = Annotated[
    bool | None,
    typer.Option(
        "--set/--unset", help="Whether the stone was in its setting.", show_default="as it was said last"
    ),
]
RemarkOption = Annotated[str | None, typer.Option(help="Anything worth knowing about it.")]
PartOption = Annotated[str | None, typer.Option(help="Where the index was read: 'table' or 'pavilion'.")]
LiquidOption = Annotated[
    float | None,
    typer.Option(help="Index of the contact liquid.", show_default="1.81", parser=decimal()),
]
DirectionsOption = Annotated[
    int | None, typer.Option(help="In how many directions the stone was looked through.", min=1)
]
WaterOption = Annotated[float | None, typer.Option(help="Temperature of the water, °C.", parser=decimal())]
CheckOption = Annotated[
    str | None,
    typer.Option(
        help="Check of the instrument: thermal tester, simulant/diamond '2/8', and afterwards '2/8 again 2/7'; "
        "refractometer, a glass as known/read '1.517/1.516'; balance, a weight '1.0000g/0.9999g'; with the date "
        "'… on 2026-03-02' where it was not that day."
    ),
]
TakenOption = Annotated[
    str | None, typer.Option(help="When it was read: '2026-03-02 14:30'.", show_default="now")
]
FindingsOption = Annotated[
    list[str] | None,
    typer.Option(
        "--finding", help="Finding in the pictures that shows it: '3', or '3 before'; may be repeated."
    ),
]
ReasonOption = Annotated[str, typer.Option(help="Why.")]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.add_typer(reading_commands, name="reading")
    app.command()(remark)


@reading_commands.command("add")
def add(
    stone: StoneArgument,
    test: Annotated[
        str,
        typer.Argument(
            help="Which test: 'refractometer', 'thermal tester' … or the whole reading as one line."
        ),
    ],
    value: Annotated[str, typer.Argument(help="The value as read: '1.762-1.770', '>1.81', '4,00'.")] = "",
    unit: UnitOption = None,
    uncertainty: UncertaintyOption = None,
    instrument: InstrumentOption = None,
    is_set: SetOption = None,
    remark: RemarkOption = None,
    part: PartOption = None,
    liquid: LiquidOption = None,
    directions: DirectionsOption = None,
    water_c: WaterOption = None,
    check: CheckOption = None,
    taken: TakenOption = None,
    findings: FindingsOption = None,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Enter a reading and say what was understood: a reading is not a verdict on what the stone is.

    Example: setstone reading add lid-3 refractometer 1.762-1.770 --uncertainty 0.002 --unset

    As one line: setstone reading add lid-3 "1.762-1.770 unset table"
    """
    from setstone.commands import as_json as j
    from setstone.record.consistency import read_as

    changes = _changes(
        unit=unit,
        uncertainty=uncertainty,
        instrument=instrument,
        stone_is_set=is_set,
        remark=remark,
        details=_details(part, liquid, directions, water_c, check),
        taken=_moment(taken),
        findings=_findings(findings),
    )
    with open_book(book) as opened:
        of = opened.stone(stone)
        if value:
            changes.setdefault("stone_is_set", opened.is_set(of))
            entry = opened.add_reading(of, test=test, value=value, by=by, **changes)
        else:
            entry = opened.add_line(of, test, by=by, **changes)
    understood = read_as(entry)
    show(as_json, j.read_as(understood), lambda: _say_understood(understood))


@reading_commands.command("correct")
def correct(
    stone: StoneArgument,
    number: NumberArgument,
    value: Annotated[str | None, typer.Option(help="The value as it should be.")] = None,
    test: Annotated[str | None, typer.Option(help="Which test it was.")] = None,
    unit: UnitOption = None,
    uncertainty: UncertaintyOption = None,
    instrument: InstrumentOption = None,
    is_set: Annotated[
        bool | None, typer.Option("--set/--unset", help="Whether the stone was in its setting.")
    ] = None,
    remark: RemarkOption = None,
    part: PartOption = None,
    liquid: LiquidOption = None,
    directions: DirectionsOption = None,
    water_c: WaterOption = None,
    check: CheckOption = None,
    taken: TakenOption = None,
    findings: FindingsOption = None,
    no_findings: Annotated[
        bool, typer.Option("--no-findings", help="It belongs to no finding in the pictures.")
    ] = False,
    reason: ReasonOption = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Put a corrected reading in the place of one; the former stays in the book.

    Example: setstone reading correct lid-3 2 --value 1.761-1.769 --reason "misread the scale"
    """
    from setstone.commands import as_json as j
    from setstone.record.consistency import read_as

    changes = _changes(
        test=test,
        value=value,
        unit=unit,
        uncertainty=uncertainty,
        instrument=instrument,
        stone_is_set=is_set,
        remark=remark,
        taken=_moment(taken),
        findings=_links(findings, none=no_findings),
    )
    details = _details(part, liquid, directions, water_c, check)
    with open_book(book) as opened:
        of = opened.stone(stone)
        if details:
            former = {r.id: r.details for r in opened.readings(of)}.get(number, {})
            changes["details"] = {**former, **details}
        entry = opened.correct_reading(of, number, reason=reason, by=by, **changes)
    understood = read_as(entry)
    show(as_json, j.read_as(understood), lambda: _say_understood(understood))


@reading_commands.command("withdraw")
def withdraw(
    stone: StoneArgument,
    number: NumberArgument,
    reason: Annotated[str, typer.Option(help="Why it does not hold.")],
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Say that a reading does not hold; it stays in the book and is weighed no more.

    Example: setstone reading withdraw lid-3 2 --reason "of another stone"
    """
    from setstone.commands import as_json as j

    with open_book(book) as opened:
        entry = opened.withdraw_reading(opened.stone(stone), number, reason=reason, by=by)
    show(as_json, j.reading(entry), lambda: say(f"Withdrew reading {number}; it stays in the book."))


@reading_commands.command("list")
def list_readings(
    stone: StoneArgument,
    everything: Annotated[bool, typer.Option("--all", help="List withdrawn readings too.")] = False,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """List the readings of a stone with what was understood of them, and the remarks."""
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.consistency import read_as

    with open_book(book) as opened:
        of = opened.stone(stone)
        entries = [read_as(r) for r in opened.readings(of, withdrawn=everything)]
        remarks = opened.remarks(of)
    show(
        as_json,
        {"readings": [j.read_as(r) for r in entries], "remarks": [j.remark(r) for r in remarks]},
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


def _say_understood(read: "ReadAs") -> None:
    say(f"Reading {read.entry.id}, understood as: {read.says}.")
    if read.mark:
        say(f"It is kept and not weighed: {read.mark}.")
    if read.unchecked:
        say(f"It is marked: {read.unchecked}.")


def _changes(**given: Any) -> dict[str, Any]:
    """What was given."""
    return {name: value for name, value in given.items() if value is not None}


def _details(
    part: str | None, liquid: float | None, directions: int | None, water_c: float | None, check: str | None
) -> dict[str, Any] | None:
    return _changes(part=part, liquid=liquid, directions=directions, water_c=water_c, check=check) or None


def _moment(text: str | None) -> datetime | None:
    """Read a time; without a zone it is of this machine."""
    from setstone.record.errors import BookError

    if text is None:
        return None
    try:
        return datetime.fromisoformat(text).astimezone()
    except ValueError as error:
        raise BookError(f"'{text}' is no time; write it as '2026-03-02 14:30'.") from error


def _links(given: list[str] | None, *, none: bool) -> list[tuple[str | None, int]] | None:
    """Findings as given; an empty list where there shall be none."""
    from setstone.record.errors import BookError

    if none and given:
        raise BookError("'--finding' and '--no-findings' exclude each other; give one of them.")
    return [] if none else _findings(given)


def _findings(given: list[str] | None) -> list[tuple[str | None, int]] | None:
    from setstone.record.errors import BookError

    found: list[tuple[str | None, int]] = []
    for text in given or []:
        number, _, occasion = text.strip().partition(" ")
        if not number.isdecimal() or len(number) > 9:
            raise BookError(f"'{text}' is no finding; write its number, as '3' or '3 before'.")
        found.append((occasion.strip() or None, int(number)))
    return found or None
