"""Commands for what is said of an object and its settings, and for the work at the bench."""

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from setstone.commands.common import (
    HERE,
    LOGIN,
    BookOption,
    ByOption,
    JsonOption,
    StoneArgument,
    in_local_time,
    open_book,
    say,
    show,
)

if TYPE_CHECKING:
    from setstone.record.entries import WorkEntry
    from setstone.record.work import Known

fact_commands = typer.Typer(
    help="Marks, age, maker, settings: as read, seen or claimed.", no_args_is_help=True
)
work_commands = typer.Typer(help="The work on a stone at the bench.", no_args_is_help=True)

StoneOption = Annotated[
    str, typer.Option("--stone", metavar="STONE", help="Its stone: for setting and back.")
]
ObjectOption = Annotated[
    str, typer.Option("--object", help="Its object; needed when the book holds several.")
]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.add_typer(fact_commands, name="fact")
    app.add_typer(work_commands, name="work")


@fact_commands.command("add")
def add_fact(
    what: Annotated[
        Literal["metal", "fineness", "hallmark", "date", "maker", "setting", "back"],
        typer.Argument(help="What is said."),
    ],
    value: Annotated[str, typer.Argument(help="As read, seen or claimed; empty takes it back.")],
    stone: StoneOption = "",
    of: ObjectOption = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Enter a mark as read, or what is claimed of the object, or how a stone sits in it.

    Example: setstone fact add hallmark "crowned G, last figure worn"
    """
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.facts import wording_caution
    from setstone.record.vocabulary import FACTS_CAUTION, Fact

    with open_book(book) as opened:
        owner = opened.stone(stone) if stone else opened.object(of or None)
        opened.state_fact(owner, Fact(what), value, by=by)
        entries = opened.facts(owner)

    def human() -> None:
        screen.print_facts(entries)
        say(FACTS_CAUTION)

    show(as_json, [j.fact(f) for f in entries], human)
    about = wording_caution(Fact(what), value)
    if about:
        typer.echo(about, err=True)


@fact_commands.command("list")
def list_facts(
    stone: StoneOption = "", of: ObjectOption = "", book: BookOption = HERE, as_json: JsonOption = False
) -> None:
    """List what is said of an object, or of a stone's setting."""
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.vocabulary import FACTS_CAUTION

    with open_book(book) as opened:
        entries = opened.facts(opened.stone(stone) if stone else opened.object(of or None))

    def human() -> None:
        screen.print_facts(entries)
        if entries:
            say(FACTS_CAUTION)

    show(as_json, [j.fact(f) for f in entries], human)


@work_commands.command("add")
def add_work(
    stone: StoneArgument,
    kind: Annotated[
        Literal["unset", "cleaned", "glue removed", "set again", "other"],
        typer.Argument(help="What was done."),
    ],
    adhesive: Annotated[str, typer.Option(help="Product, as its label says.")] = "",
    solvent: Annotated[str, typer.Option(help="Product, as its label says.")] = "",
    remark: Annotated[str, typer.Option(help="Temperature, time, what was seen.")] = "",
    done: Annotated[datetime | None, typer.Option(help="When.", show_default="just now")] = None,
    done_by: Annotated[str, typer.Option(help="Who did it.", show_default="who enters it")] = "",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Enter what was done to a stone, with which adhesive or solvent.

    Example: setstone work add lid-3 "set again" --adhesive "acrylic copolymer in acetone, 40 %"
    """
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.consistency import known_for_work
    from setstone.record.vocabulary import WorkKind

    with open_book(book) as opened:
        of = opened.stone(stone)
        entry = opened.add_work(
            of,
            WorkKind(kind),
            adhesive=adhesive,
            solvent=solvent,
            remark=remark,
            done=in_local_time(done),
            done_by=done_by,
            by=by,
        )
        known = known_for_work(opened, of)
    show(as_json, j.work(entry), lambda: screen.print_work([entry]))
    _caution(of.claimed_as, [entry], known)


@work_commands.command("list")
def list_work(stone: StoneArgument, book: BookOption = HERE, as_json: JsonOption = False) -> None:
    """List what was done to a stone, and what work on such a stone must beware of."""
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.consistency import known_for_work

    with open_book(book) as opened:
        of = opened.stone(stone)
        entries = opened.work(of)
        known = known_for_work(opened, of)
    show(as_json, [j.work(w) for w in entries], lambda: screen.print_work(entries))
    _caution(of.claimed_as, entries, known)


@work_commands.command("take-back")
def take_back(
    stone: StoneArgument,
    number: Annotated[int, typer.Argument(help="Its number in the list.")],
    reason: Annotated[str, typer.Option(help="Why.")],
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Say that work entered was not done; it stays in the journal.

    Example: setstone work take-back lid-3 2 --reason "it was lid-4"
    """
    from setstone.commands import as_json as j
    from setstone.commands import screen

    with open_book(book) as opened:
        of = opened.stone(stone)
        opened.take_work_back(of, number, reason=reason, by=by)
        entries = opened.work(of)
    show(as_json, [j.work(w) for w in entries], lambda: screen.print_work(entries))


def _caution(claimed_as: str, entries: "Sequence[WorkEntry]", known: "Known") -> None:
    """Say what may harm the stone or who works on it, for the work there is, or for any."""
    from setstone.record.vocabulary import WorkKind
    from setstone.record.work import work_cautions

    asked = [(w.kind, w.solvent) for w in entries] or [(WorkKind.OTHER, "")]
    told = [c for kind, solvent in asked for c in work_cautions(claimed_as, kind, known, solvent=solvent)]
    for caution in dict.fromkeys(told):
        typer.echo(caution, err=True)
