"""Commands that ask whether it is the same stone, what changed in it, and what the work did to the glue."""

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
    open_book,
    progress,
    say,
    show,
    table,
)

PhotographsArgument = Annotated[
    list[Path],
    typer.Argument(metavar="PHOTOGRAPH...", help="Of one stone: under white light, blue, or both."),
]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(same)
    app.command()(whose)
    app.command()(glue)
    app.command()(changes)


def same(
    stone: StoneArgument,
    photographs: PhotographsArgument,
    occasion: Annotated[
        str,
        typer.Option(help="Beside which photographs of the book.", show_default="those of every occasion"),
    ] = "",
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Say how strongly photographs speak for a stone of the book. Nothing is added to the book.

    Example: setstone same lid-3 years-later_white.jpg years-later_blue.jpg
    """
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.identity import compare_stone, fingerprint_of_files

    with open_book(book) as opened:
        of = opened.stone(stone)
        shown = fingerprint_of_files(photographs)
        matches = compare_stone(opened, of, shown, occasion=occasion or None)
    show(as_json, [j.match(m) for m in matches], lambda: screen.print_matches(matches, explain=True))


def whose(
    photographs: PhotographsArgument,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Search the book for the stone in photographs. Nothing is added to the book.

    The first search draws the fingerprint of every stone examined since the last; later ones take a moment.

    Example: setstone whose found_white.jpg found_blue.jpg
    """
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.identity import draw_fingerprints, find_stone_of, fingerprint_of_files

    with open_book(book) as opened:
        shown = fingerprint_of_files(photographs)
        with progress(len(opened.stones())) as tell:
            draw_fingerprints(opened, lambda position: tell(f"Looking at {position}"))
        found = find_stone_of(opened, shown)

    def human() -> None:
        if found.matches:
            screen.print_matches(found.matches, explain=False)
        say(found.says)

    show(as_json, j.found(found), human)


def glue(
    stone: StoneArgument,
    before: Annotated[str, typer.Option(help="Occasion.", show_default="the first photographed")] = "",
    after: Annotated[str, typer.Option(help="Occasion.", show_default="the last photographed")] = "",
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Compare the glue on a stone's rim, and the stone's haze, before and after the work.

    Example: setstone glue lid-3
    """
    from setstone.commands import as_json as j
    from setstone.record.glue_words import glue_notes, glue_rows
    from setstone.record.gluing import compare_glue

    with open_book(book) as opened:
        shown = compare_glue(opened, opened.stone(stone), before or None, after or None)

    def human() -> None:
        table(("of the rim", shown.before, shown.after), glue_rows(shown), "")
        for note in glue_notes(shown):
            say(note)

    show(as_json, j.work_shown(shown), human)


def changes(
    stone: StoneArgument,
    before: Annotated[str, typer.Option(help="Occasion.", show_default="the first photographed")] = "",
    after: Annotated[str, typer.Option(help="Occasion.", show_default="the last photographed")] = "",
    everything: Annotated[bool, typer.Option("--all", help="List what is seen in both, too.")] = False,
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep it in the book; the review raises what differs.")
    ] = False,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Compare what is seen in a stone before and after the work; possible damage comes first.

    Example: setstone changes lid-5
    """
    from setstone.commands import as_json as j
    from setstone.measure.changes import LIMITS, Where
    from setstone.measure.units import shorter_turn
    from setstone.record.before_after import before_and_after
    from setstone.record.changing import compare_occasions

    with open_book(book) as opened:
        of = opened.stone(stone)
        if keep:
            all_of_it = before_and_after(opened, of, before or None, after or None)
            kept = opened.keep_comparison(all_of_it, by=by)
            found = all_of_it.required
        else:
            found, kept = compare_occasions(opened, of, before or None, after or None), None

    def human() -> None:
        both = found.both
        angle, way = shorter_turn(both.registration.turned_deg)
        how = "" if found.residual_um is None else f", to {found.residual_um:.0f} µm (root mean square)"
        say(
            f"{both.after.occasion} lies on {both.before.occasion}, turned by {angle:.1f}° {way}: "
            f"{both.registration.reason}{how}."
        )
        for note in both.notes:
            say(note)
        rows = [
            (
                f"{one.entry.number}, {one.occasion}",
                one.entry.candidate.kind if not one.entry.is_finding else "finding",
                f"{one.change.where}{'; possible damage' if one.change.possible_damage else ''}",
                one.says,
            )
            for one in found.changed
            if everything or one.change.where is not Where.BOTH
        ]
        table(("number", "what", "seen", "what speaks for it"), rows, "Nothing is seen on one occasion only.")
        say(
            "A candidate is no finding: look at each in both photographs. What glare or the setting hides is not comparable; what is seen only before may "
            "still be there and catch the light otherwise. " + LIMITS
        )
        if kept is not None:
            say(" ".join(["Kept in the book, with:", kept.result.same, *kept.result.glue]))

    show(as_json, j.comparison(found, kept), human)
