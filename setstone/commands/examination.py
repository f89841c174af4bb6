"""Commands that examine stones and decide on what was proposed."""

from collections.abc import Sequence
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
    progress,
    say,
    show,
)
from setstone.record.vocabulary import FindingKind, Verdict

OccasionOption = Annotated[
    str, typer.Option(help="Which photographs.", show_default="those of the latest occasion")
]
NumbersArgument = Annotated[list[int], typer.Argument(metavar="NUMBER...", help="Numbers of candidates.")]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(examine)
    app.command()(candidates)
    app.command()(accept)
    app.command()(reject)
    app.command()(reopen)
    app.command()(mark)


def examine(
    stones: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[STONE...]",
            help="Which stones.",
            show_default="all photographed since they were last examined",
        ),
    ] = None,
    again: Annotated[
        bool, typer.Option(help="Where no stone is named: also those examined already.")
    ] = False,
    occasion: OccasionOption = "",
    um_per_px: Annotated[
        float | None,
        typer.Option(help="Scale: micrometres per pixel.", parser=decimal(0.001, 10000)),
    ] = None,
    bar_length: Annotated[
        str, typer.Option(help="Length printed at the scale bar when it cannot be read: '1 mm', '500 µm'.")
    ] = "",
    cluster: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS", help="Measure on a Dask cluster: its scheduler, such as tcp://host:8786."
        ),
    ] = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Examine stones: scale, girdle, candidate fissures and inclusions, colour.

    A stone that cannot be examined is named; the others go on. Many stones are measured side by side. Each is kept as
    it is done: stopped in whatever way, the same command goes on with the rest.

    Example: setstone examine lid-3 --bar-length "1 mm"
    """
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.entries import StoneEntry
    from setstone.record.examining import examine_stones, given_length, given_scale, to_examine

    scale = None if um_per_px is None else given_scale(um_per_px)
    bar_length_um = given_length(bar_length) if bar_length else None
    with open_book(book) as opened:
        if stones or again:
            named = [opened.stone(s) for s in stones] if stones else opened.stones()
            chosen: Sequence[tuple[StoneEntry, str | None]] = [(stone, occasion or None) for stone in named]
        else:
            chosen = to_examine(opened, occasion)
        with progress(len(chosen)) as tell:
            outcomes = list(
                examine_stones(
                    opened,
                    chosen,
                    scale=scale,
                    bar_length_um=bar_length_um,
                    by=by,
                    progress=tell,
                    cluster=cluster,
                )
            )
    if not chosen:
        typer.echo("Nothing to examine; name stones, or say --again, to examine them anew.", err=True)
    done = [(outcome.stone, outcome.entry) for outcome in outcomes if outcome.entry is not None]
    failed = [(outcome.stone, outcome.error) for outcome in outcomes if outcome.entry is None]
    show(
        as_json,
        {
            "examined": [j.examination(e, s) for s, e in done],
            "failed": [{**j.stone(s), "error": text} for s, text in failed],
        },
        lambda: screen.print_results(done),
    )
    for stone, text in failed:
        typer.echo(f"{stone.position}: {text}", err=True)
    if failed:
        raise typer.Exit(1)


def candidates(
    stone: StoneArgument,
    occasion: OccasionOption = "",
    everything: Annotated[
        bool, typer.Option("--all", help="Also those the program thinks little of.")
    ] = False,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """List what was proposed for a stone, with score, size and what each rests on."""
    from setstone.commands import as_json as j
    from setstone.commands import screen

    with open_book(book) as opened:
        of = opened.stone(stone)
        entry = opened.examination(of, occasion or None)
    shown = [c for c in entry.candidates if everything or screen.is_shown(c)]
    show(
        as_json,
        [j.candidate(c) for c in shown],
        lambda: screen.print_candidates(shown, len(entry.candidates)),
    )


def accept(
    stone: StoneArgument,
    numbers: NumbersArgument,
    kind: Annotated[FindingKind, typer.Option(help="What it is, in the trade's words.")],
    remark: Annotated[str, typer.Option(help="Anything worth saying about it.")] = "",
    occasion: OccasionOption = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Accept candidates as findings, or change the kind of a finding.

    Example: setstone accept lid-3 1 2 --kind fissure
    """
    _decide(stone, numbers, Verdict.ACCEPTED, kind, remark, occasion, by, book, as_json)


def reject(
    stone: StoneArgument,
    numbers: NumbersArgument,
    reason: Annotated[str, typer.Option(help="Why: 'facet edge', 'dust' …")],
    occasion: OccasionOption = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Reject candidates; they stay in the record with the reason.

    Example: setstone reject lid-3 4 --reason "facet edge"
    """
    _decide(stone, numbers, Verdict.REJECTED, None, reason, occasion, by, book, as_json)


def reopen(
    stone: StoneArgument,
    numbers: NumbersArgument,
    occasion: OccasionOption = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Take a decision back: the candidate is open again, the journal keeps both."""
    _decide(stone, numbers, Verdict.OPEN, None, "", occasion, by, book, as_json)


def mark(
    stone: StoneArgument,
    kind: Annotated[FindingKind, typer.Option(help="What it is, in the trade's words.")],
    at: Annotated[
        str,
        typer.Option(
            help="Millimetres right and down from the picture's upper left corner: '1.20,0.85' for a spot, "
            "several such points for a line: '1.20,0.85 1.31,0.92'."
        ),
    ],
    diameter_um: Annotated[
        float | None,
        typer.Option(
            "--diameter-um",
            help="Diameter of a spot in micrometres.",
            parser=decimal(0.1, 1e5),
        ),
    ] = None,
    occasion: OccasionOption = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Add a finding by hand that the program missed.

    Example: setstone mark lid-3 --kind fissure --at "1.20,0.85 1.31,0.92 1.40,0.95"
    """
    from setstone.commands import as_json as j
    from setstone.record.marking import drawn_by_hand, points_mm

    with open_book(book) as opened:
        entry = opened.examination(opened.stone(stone), occasion or None)
        drawn = drawn_by_hand(entry.result, points_mm(at), diameter_um=diameter_um)
        added = opened.add_finding(entry, drawn, kind=kind, by=by)
    show(as_json, j.candidate(added), lambda: say(f"Added finding {added.number}: {kind}."))


def _decide(
    stone: str,
    numbers: Sequence[int],
    verdict: Verdict,
    kind: FindingKind | None,
    reason: str,
    occasion: str,
    by: str,
    book: str,
    as_json: bool,
) -> None:
    from setstone.commands import as_json as j
    from setstone.commands import screen

    with open_book(book) as opened, opened.atomic():
        entry = opened.examination(opened.stone(stone), occasion or None)
        for number in numbers:
            opened.decide(entry, number, verdict, kind=kind, reason=reason, by=by)
        entry = opened.examination(opened.stone(stone), occasion or None)
    decided = [c for c in entry.candidates if c.number in numbers]
    show(
        as_json,
        [j.candidate(c) for c in decided],
        lambda: screen.print_candidates(decided, len(decided)),
    )
