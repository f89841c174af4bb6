"""Commands on what the readings say: what they agree with, what to test next, the table, weights."""

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

StateOption = Annotated[
    bool | None,
    typer.Option(
        "--set/--unset", help="Whether it is in its setting now.", show_default="as at the newest reading"
    ),
]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(agrees)
    app.command("next-test")(next_test)
    app.command()(material)
    app.command()(weight)


def agrees(
    stone: StoneArgument,
    everything: Annotated[
        bool, typer.Option("--all", help="List what they are not consistent with too, and why.")
    ] = False,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Say which materials the readings are consistent with, what contradicts what, and signs of treatment.

    Example: setstone agrees lid-3
    """
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.consistency import consistency

    with open_book(book) as opened:
        found = consistency(opened, opened.stone(stone))
    show(as_json, j.consistency(found), lambda: screen.print_consistency(found, everything=everything))


def next_test(
    stone: StoneArgument,
    is_set: StateOption = None,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Say which test would tell the materials that are left apart best, with its cautions.

    Example: setstone next-test lid-3 --unset
    """
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.consistency import consistency

    with open_book(book) as opened:
        found = consistency(opened, opened.stone(stone), is_set=is_set)
    data = {
        "stone_is_set": found.is_set,
        "tests": [j.next_test(t) for t in found.next_tests],
        "cannot_tell": list(found.cannot_tell),
        "cautions": list(found.cautions),
    }
    show(as_json, data, lambda: screen.print_next_tests(found))


def material(
    name: Annotated[str, typer.Argument(help="A name of the trade, or a part of one.")] = "",
    as_json: JsonOption = False,
) -> None:
    """Show what the table of materials holds, with its sources.

    Hardness is a table value only: no stone is ever scratched for it.

    Example: setstone material spinel
    """
    from setstone.commands import as_json as j
    from setstone.record.evidence.materials import Range, materials
    from setstone.record.text import key

    def limits(range_: Range | None) -> str:
        if range_ is None:
            return "–"
        return f"{range_.low:g}" if range_.low == range_.high else f"{range_.low:g} to {range_.high:g}"

    found = [
        m for m in materials() if key(name) in key(m.name) or any(key(name) in alias for alias in m.aliases)
    ]

    def human() -> None:
        table(
            ("material", "kind", "index", "birefringence", "density, g/cm³", "hardness (Mohs)"),
            [
                (
                    m.name,
                    str(m.kind),
                    limits(m.index),
                    limits(m.birefringence),
                    limits(m.density),
                    limits(m.hardness),
                )
                for m in found
            ],
            f"The table holds no material '{name}'.",
        )
        if len(found) <= 3:
            for m in found:
                memory = f"; from memory: {m.from_memory}" if m.from_memory else ""
                say(f"{m.name}: {m.source}{memory}")
                if m.cautions:
                    say(f"  ! {m.cautions}")

    show(as_json, [j.material(m) for m in found], human)


def weight(
    stone: StoneArgument,
    cut: Annotated[str, typer.Option(help="Its cut: 'round brilliant', 'oval', 'marquise', 'cabochon' …")],
    depth_mm: Annotated[
        float | None,
        typer.Option(help="Depth from table to culet, mm.", parser=decimal(0.01)),
    ] = None,
    length_mm: Annotated[
        float | None,
        typer.Option(help="Length, mm.", show_default="as examined", parser=decimal()),
    ] = None,
    width_mm: Annotated[
        float | None,
        typer.Option(help="Width, mm.", show_default="as examined", parser=decimal()),
    ] = None,
    uncertainty_mm: Annotated[
        float,
        typer.Option(help="Limits of error of the measures typed in, mm.", parser=decimal(0)),
    ] = 0.05,
    girdle: Annotated[
        str | None, typer.Option(help="Girdle of a round brilliant diamond.", show_default="medium")
    ] = None,
    sg: Annotated[
        float | None,
        typer.Option(
            help="Specific gravity.",
            show_default="of what it is claimed to be",
            parser=decimal(),
        ),
    ] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Enter the estimate among the readings.")] = False,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Estimate the weight of a set stone by published formulas; never more than an estimate.

    Example: setstone weight lid-3 --cut oval --depth-mm 2.1 --keep
    """
    from setstone.commands import as_json as j
    from setstone.measure.quantity import Quantity
    from setstone.record.estimating import estimate_weight, keep_estimate

    def typed(value: float | None) -> Quantity | None:
        # Limits of error as a rectangular distribution (JCGM 100:2008, 4.3.7).
        return None if value is None else Quantity(value, uncertainty_mm / 3**0.5, "mm")

    with open_book(book) as opened:
        of = opened.stone(stone)
        found = estimate_weight(
            opened,
            of,
            cut,
            depth=typed(depth_mm),
            girdle=girdle,
            specific_gravity=sg,
            length=typed(length_mm),
            width=typed(width_mm),
        )
        if keep:
            keep_estimate(opened, of, found, by=by)
    least, greatest = found.weight.range_ct

    def human() -> None:
        say(f"{found.weight}, k = 2: {least:.2f} to {greatest:.2f} ct")
        say(f"Length {found.length}, width {found.width}; {found.rests_on}.")
        if keep:
            say("Kept among the readings.")

    show(as_json, j.estimate(found), human)
