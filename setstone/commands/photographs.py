"""Commands that take photographs into the book."""

import math
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from setstone.commands.common import (
    HERE,
    LOGIN,
    BookOption,
    ByOption,
    JsonOption,
    StoneArgument,
    decimal,
    in_local_time,
    open_book,
    say,
    show,
)

if TYPE_CHECKING:
    from setstone.record.entries import PhotographEntry

photo_commands = typer.Typer(help="The photographs of a stone.", no_args_is_help=True)

SetupOption = Annotated[
    str | None, typer.Option(help="Optical setup it was taken with; its calibration gives the scale.")
]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.add_typer(photo_commands, name="photo")


@photo_commands.command("add")
def add(
    stone: StoneArgument,
    files: Annotated[list[Path], typer.Argument(help="JPEG, PNG, TIFF or OME-TIFF, 8 or 16 bit.")],
    light: Annotated[
        Literal["white", "blue", "other"] | None,
        typer.Option(help="The light it was taken under.", show_default="recognised"),
    ] = None,
    occasion: Annotated[str, typer.Option(help="'as received', 'before', 'after' …")] = "as received",
    taken: Annotated[
        datetime | None, typer.Option(help="When it was taken.", show_default="as the file says")
    ] = None,
    magnification: Annotated[
        float | None,
        typer.Option(help="Of the microscope, for example 60.", parser=decimal(0.1, 10000)),
    ] = None,
    setup: SetupOption = None,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Add photographs of a stone; the files themselves are never altered.

    Example: setstone photo add lid-3 white.jpg blue.jpg --magnification 60
    """
    from setstone.capture.lamp import BLUE_LIGHT
    from setstone.capture.open import open_photograph
    from setstone.capture.photograph import Lamp
    from setstone.commands import as_json as j

    with open_book(book) as opened, opened.atomic():
        entry = opened.stone(stone)
        for file in files[
            1:
        ]:  # one that is no photograph, or another stone's, shall stop all before the first is copied
            opened.known_photograph(entry, open_photograph(file))
        added = [
            opened.add_photograph(
                entry,
                file,
                lamp=None if light is None else Lamp(light),
                occasion=occasion,
                by=by,
                taken=in_local_time(taken),
                magnification=magnification,
                setup=None if setup is None else opened.setup(setup),
            )
            for file in files
        ]

    def human() -> None:
        for photograph, is_new in added:
            how = "stated" if photograph.lamp_stated else "recognised"
            said = "Added" if is_new else "Already in the book:"
            say(f"{said} {photograph.name}: {photograph.lamp} light ({how}), {photograph.occasion}.")
            for flag in photograph.flags:
                say(f"  ! {flag.text}")
        if any(p.lamp is Lamp.BLUE for p, _ in added):
            typer.echo(BLUE_LIGHT, err=True)

    show(as_json, [{**j.photograph(p), "new": is_new} for p, is_new in added], human)


@photo_commands.command("correct")
def correct(
    stone: StoneArgument,
    photograph: Annotated[str, typer.Argument(help="Its name, or the beginning of what it is kept as.")],
    light: Annotated[
        Literal["white", "blue", "other"] | None, typer.Option(help="The light it was taken under.")
    ] = None,
    occasion: Annotated[str | None, typer.Option(help="'as received', 'before', 'after' …")] = None,
    magnification: Annotated[
        float | None,
        typer.Option(help="Of the microscope, for example 60.", parser=decimal(0.1, 10000)),
    ] = None,
    setup: SetupOption = None,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Correct what is said of a photograph; the journal keeps what stood before.

    Example: setstone photo correct lid-3 grey.png --light white
    """
    from setstone.capture.photograph import Lamp
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.photographs import named

    with open_book(book) as opened:
        entry = opened.correct_photograph(
            named(opened.photographs(opened.stone(stone)), photograph),
            lamp=None if light is None else Lamp(light),
            occasion=occasion,
            magnification=magnification,
            setup=None if setup is None else opened.setup(setup),
            by=by,
        )
    show(as_json, j.photograph(entry), lambda: screen.print_photographs([entry]))


@photo_commands.command("remove")
def remove(
    stone: StoneArgument,
    photograph: Annotated[str, typer.Argument(help="Its name, or the beginning of what it is kept as.")],
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Take a photograph out that was added by mistake; its file stays in the book, and adding it again brings it back.

    Example: setstone photo remove lid-3 grey.png
    """
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.photographs import named

    with open_book(book) as opened:
        of = opened.stone(stone)
        opened.remove_photograph(named(opened.photographs(of), photograph), by=by)
        entries = opened.photographs(of)
    show(as_json, [j.photograph(e) for e in entries], lambda: screen.print_photographs(entries))


@photo_commands.command("list")
def list_photographs(stone: StoneArgument, book: BookOption = HERE, as_json: JsonOption = False) -> None:
    """List the photographs of a stone."""
    from setstone.commands import as_json as j
    from setstone.commands import screen

    with open_book(book) as opened:
        entries = opened.photographs(opened.stone(stone))
    show(as_json, [j.photograph(e) for e in entries], lambda: screen.print_photographs(entries))


@photo_commands.command("check")
def check(
    stone: StoneArgument,
    photograph: Annotated[
        str | None,
        typer.Argument(help="Its name, or the beginning of what it is kept as.", show_default="all"),
    ] = None,
    smallest: Annotated[
        float,
        typer.Option(
            "--smallest-um",
            help="Smallest thing looked for, in µm.",
            parser=decimal(0.1, 1000),
        ),
    ] = 20.0,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Judge whether photographs are fit: focus, exposure, lamp, shake, even light, sampling; and what to change.

    Example: setstone photo check lid-3 white.jpg
    """
    from setstone.commands import as_json as j
    from setstone.record.checking import check_photograph
    from setstone.record.photographs import named

    with open_book(book) as opened:
        entries = opened.photographs(opened.stone(stone))
        if photograph is not None:
            entries = (named(entries, photograph),)
        judged = [(e, check_photograph(opened, e, smallest_um=smallest)) for e in entries]

    def human() -> None:
        for e, found in judged:
            say(f"{e.name}: {found.verdict}.")
            for flag in found.flags:
                say(f"  ! {flag.text}")

    show(as_json, [{"name": e.name, "sha256": e.sha256, **j.fitness(found)} for e, found in judged], human)


@photo_commands.command("combine")
def combine(
    stone: StoneArgument,
    photographs: Annotated[
        list[str], typer.Argument(help="Two or more; for a stack in the order of the focus.")
    ],
    way: Annotated[
        Literal["average", "pyramid", "sharpest", "bracket"],
        typer.Option(
            "--as",
            help="Their mean; a focus stack that keeps what is sharp in any (pyramid) or takes each place whole from "
            "its sharpest (sharpest); a bracket of exposures.",
        ),
    ],
    seconds: Annotated[
        list[float] | None,
        typer.Option(
            "--seconds",
            help="Exposure time of each, for a bracket.",
            show_default="measured",
            parser=decimal(),
        ),
    ] = None,
    depth_map: Annotated[
        Path | None, typer.Option(help="Also write the depth map of a stack: a file ending in .png.")
    ] = None,
    step_um: Annotated[
        float | None,
        typer.Option(
            "--step-um",
            help="How far the focus went down from frame to frame of a stack, in µm, negative if up: an examination then "
            "says how deep candidates lie.",
            parser=decimal(),
        ),
    ] = None,
    table_frame: Annotated[
        float | None,
        typer.Option(
            help="Number of the frame, from 1, in which the table is sharp: depths are told from it.",
            parser=decimal(),
        ),
    ] = None,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Make one better photograph from several of a stone; they stay, and the new one names them.

    Example: setstone photo combine lid-3 z1.jpg z2.jpg z3.jpg z4.jpg z5.jpg --as pyramid --step-um 50 --table-frame 2
    """
    from setstone.commands import as_json as j
    from setstone.record.deriving import combine as combine_photographs
    from setstone.record.errors import BookError
    from setstone.record.taking import sources_of

    if depth_map is not None and way not in ("pyramid", "sharpest"):
        raise BookError("Only a focus stack has a depth map; leave '--depth-map' out.")
    with open_book(book) as opened:
        of = opened.stone(stone)
        entry, depth = combine_photographs(
            opened,
            of,
            sources_of(opened, of, photographs),
            way,
            seconds=seconds,
            step_um=step_um,
            table_frame=table_frame,
            by=by,
        )
    if depth_map is not None and depth is not None:
        from setstone.annotate.depth_map import write_depth_map

        write_depth_map(depth_map, depth, len(photographs))
    show(as_json, j.photograph(entry), lambda: _told(entry))


@photo_commands.command("light")
def light(
    stone: StoneArgument,
    photograph: Annotated[str, typer.Argument(help="Its name, or the beginning of what it is kept as.")],
    blank: Annotated[Path | None, typer.Option(help="Photograph of an empty, even field.")] = None,
    card: Annotated[Path | None, typer.Option(help="Photograph of a grey card under the same light.")] = None,
    card_at: Annotated[
        str, typer.Option(help="Where the card is: left, top, right, bottom in % of the picture.")
    ] = "40,40,60,60",
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Divide out uneven light by a blank field and balance the white by a grey card; the original stays.

    Example: setstone photo light lid-3 white.jpg --blank empty.jpg --card card.jpg
    """
    from setstone.commands import as_json as j
    from setstone.record.deriving import correct_light
    from setstone.record.errors import BookError
    from setstone.record.photographs import named

    try:
        left, top, right, bottom = (float(v) / 100 for v in card_at.split(","))
    except ValueError:
        left = top = right = bottom = math.nan
    if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
        raise BookError(f"'{card_at}' is no place of a card; write it as '40,40,60,60'.")
    with open_book(book) as opened:
        of = opened.stone(stone)
        entry = correct_light(
            opened,
            of,
            named(opened.photographs(of), photograph),
            blank=blank,
            card=card,
            card_at=(left, top, right, bottom),
            by=by,
        )
    show(as_json, j.photograph(entry), lambda: _told(entry))


def _told(entry: "PhotographEntry") -> None:
    say(f"Made {entry.name}: {entry.lamp} light, {entry.occasion}.")
    for flag in entry.flags:
        say(f"  {flag.text}" if flag.code == "file-note" else f"  ! {flag.text}")
