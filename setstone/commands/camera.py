"""Commands that take photographs: with a camera, or from a folder another program saves into."""

import math
import sys
import time
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from setstone.commands.common import (
    HERE,
    LOGIN,
    BookOption,
    ByOption,
    JsonOption,
    decimal,
    open_book,
    say,
    show,
)
from setstone.commands.photographs import SetupOption

if TYPE_CHECKING:
    from setstone.capture.averaging import Average
    from setstone.record.book import Book
    from setstone.record.entries import StoneEntry

camera_commands = typer.Typer(help="Look through a camera and take photographs.", no_args_is_help=True)

SourceArgument = Annotated[
    str, typer.Argument(metavar="SOURCE", help="Number of the camera (0), its address, or a video file.")
]
SizeOption = Annotated[
    str, typer.Option(help="Size to ask the camera for, as '1920x1080'.", show_default="its own")
]
SetOption = Annotated[
    list[str] | None,
    typer.Option("--set", help="Control of the camera, as 'exposure=-6'; see 'setstone camera controls'."),
]
LightOption = Annotated[Literal["white", "blue", "other"], typer.Option(help="The light that is on.")]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.add_typer(camera_commands, name="camera")
    app.command()(watch)


@camera_commands.command("list")
def list_cameras(as_json: JsonOption = False) -> None:
    """List the cameras at this computer.

    Example: setstone camera list
    """
    from setstone.capture.camera import cameras

    found = cameras()
    show(
        as_json,
        [{"camera": number, "name": name} for number, name in found.items()],
        lambda: say(
            "\n".join(f"{number}  {name}" for number, name in found.items())
            or "There is no camera at this computer; plug one in."
        ),
    )


@camera_commands.command("controls")
def controls(source: SourceArgument, as_json: JsonOption = False) -> None:
    """List the controls the camera's driver has, with their values in its own units.

    Example: setstone camera controls 0
    """
    from setstone.capture.camera import Camera

    with Camera.open(source) as camera:
        camera.read()
        found = camera.controls()
    show(
        as_json,
        found,
        lambda: say(
            "\n".join(f"{k} = {v:g}" for k, v in found.items()) or "The driver tells of no controls."
        ),
    )


@camera_commands.command("look")
def look(
    source: SourceArgument,
    seconds: Annotated[
        float, typer.Option(help="Stop after so long; 0 for Ctrl-C.", parser=decimal(0))
    ] = 0.0,
    size: SizeOption = "",
    settings: SetOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show focus and over- and underexposure, while you adjust; ends with Ctrl-C.

    Example: setstone camera look 0
    """
    from setstone.capture.camera import Camera
    from setstone.capture.live import LiveView

    asked, values = _size(size), _settings(settings)
    view = LiveView(lambda: Camera.open(source, size=asked, controls=values))
    view.start()
    end = time.monotonic() + seconds if seconds else float("inf")
    last, said, came = None, "", False
    try:
        while time.monotonic() < end:
            time.sleep(0.1)
            last, line = view.latest, _look_line(view)
            came = came or last is not None
            if view.problem and not came:  # one that was there is waited for, one that never was is not
                break
            if not as_json and line != said:
                on_screen = sys.stdout.isatty()  # there one line is written over; a file keeps all of them
                typer.echo(f"\r{line:110}" if on_screen else line, nl=not on_screen)
                said = line
    except KeyboardInterrupt:
        pass
    finally:
        problem, remarks = view.problem, view.remarks
        view.stop()
    if last is None:
        from setstone.capture.camera import CameraError

        raise CameraError(problem or "No picture came from the camera in that time; look longer.")
    show(
        as_json,
        {
            "focus": last.figures.focus,
            "best_focus": last.best_focus,
            "overexposed_share": last.figures.over,
            "black_share": last.figures.under,
            "frames_per_second": last.rate,
            "width_px": last.pixels.shape[1],
            "height_px": last.pixels.shape[0],
            "remarks": list(remarks),
        },
        lambda: say("\n".join(["", *(f"  ! {remark}" for remark in remarks)])),
    )


@camera_commands.command("take")
def take(
    source: SourceArgument,
    stone: Annotated[
        str | None, typer.Option(help="Stone of the book it shows.", show_default="none: give --to")
    ] = None,
    light: LightOption = "white",
    frames: Annotated[int, typer.Option(help="Frames to average; noise falls with the square root.")] = 8,
    to: Annotated[
        Path | None,
        typer.Option(help="Write it to a file ending in .ome.tif, or into a folder, instead."),
    ] = None,
    um_per_px: Annotated[
        float | None,
        typer.Option(
            help="Scale to write with '--to', where no book has the setup.",
            parser=decimal(1e-3, 1e3),
        ),
    ] = None,
    occasion: Annotated[str, typer.Option(help="'as received', 'before', 'after' …")] = "as received",
    magnification: Annotated[
        float | None, typer.Option(help="Of the microscope.", parser=decimal(0.1, 10000))
    ] = None,
    exposure_ms: Annotated[
        float | None,
        typer.Option(help="Exposure time of one frame, ms.", parser=decimal(1e-3)),
    ] = None,
    size: SizeOption = "",
    settings: SetOption = None,
    setup: SetupOption = None,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Take a photograph as the mean of several frames, and say how noisy it was before and after.

    Example: setstone camera take 0 --stone lid-3 --light blue --occasion after --setup 60x
    """
    from setstone.capture.camera import Camera
    from setstone.capture.errors import PhotographError
    from setstone.capture.lamp import BLUE_LIGHT
    from setstone.capture.ome_writing import Circumstances
    from setstone.capture.photograph import Lamp
    from setstone.measure.examination import Flag
    from setstone.record.clock import now
    from setstone.record.setups import scale_of_setup
    from setstone.record.taking import circumstances, keep_average, size_of, write_average

    if (stone is None) == (to is None):
        raise PhotographError("Say which stone it shows with '--stone', or where to write it with '--to'.")
    if um_per_px is not None and to is None:
        raise PhotographError(
            "The scale of a photograph in the book comes from its setup; name it with '--setup', or give the scale "
            "to 'setstone examine'."
        )
    if light == "blue":
        typer.echo(BLUE_LIGHT, err=True)
    lamp, flags = Lamp(light), tuple[Flag, ...]()
    with ExitStack() as stack:
        opened = None
        if to is None or (setup is not None and um_per_px is None):
            opened = stack.enter_context(open_book(book))
        of = None if opened is None or stone is None else opened.stone(stone)
        with_setup = None if opened is None or setup is None else opened.setup(setup)
        with Camera.open(source, size=_size(size), controls=_settings(settings)) as camera:
            taken, told, remarks = camera.photograph(frames), camera.facts(), camera.remarks
        exposure_s = told.exposure_s if exposure_ms is None else exposure_ms / 1000
        if opened is not None and with_setup is not None:
            flags = scale_of_setup(opened, with_setup, size_of(taken.pixels), now())[1]
        if opened is not None and of is not None:
            entry = keep_average(
                opened,
                of,
                taken,
                lamp=lamp,
                occasion=occasion,
                setup=with_setup,
                camera=told.name,
                exposure_s=exposure_s,
                magnification=magnification,
                by=by,
            )
            flags += tuple(f for f in entry.flags if f.code != "file-note")
            kept: dict[str, object] = {"sha256": entry.sha256, "name": entry.name}
            where = f"Took {entry.name} of {of.position}"
        else:
            if opened is not None:
                facts = circumstances(
                    opened,
                    size_of(taken.pixels),
                    lamp=lamp,
                    setup=with_setup,
                    camera=told.name,
                    exposure_s=exposure_s,
                )
            else:
                facts = Circumstances(
                    lamp=lamp,
                    um_per_px=um_per_px,
                    exposure_s=exposure_s,
                    taken=now(),
                    setup=setup or "",
                    camera=told.name,
                )
            facts = replace(facts, magnification=magnification)
            file = write_average(Path(str(to)), taken, facts)
            kept = {"file": str(file), "um_per_px": facts.um_per_px}
            where = f"Wrote '{file}'"
    notes = [*remarks, *(flag.text for flag in flags)]
    done = {
        "frames": taken.frames,
        "noise_before_of_255": None if taken.frames == 1 else taken.noise_before,
        "noise_after_of_255": None if taken.frames == 1 else taken.noise_after,
        "drift": taken.drift,
        "camera": told.name,
        "exposure_s": exposure_s,
        "remarks": notes,
    }

    def human() -> None:
        say(f"{where}{_noise(taken)}.")
        for remark in notes:
            say(f"  ! {remark}")
        if taken.drifted:
            say(
                f"  ! The light changed by {taken.drift:+.0%} meanwhile; lock exposure and white balance, keep still, "
                "and take it again."
            )

    show(as_json, {**kept, **done}, human)


def watch(
    folder: Annotated[Path, typer.Argument(help="Folder the microscope's program saves into.")],
    stone: Annotated[
        str | None, typer.Option(help="Stone all of them show.", show_default="told by the name, or asked")
    ] = None,
    light: Annotated[
        Literal["white", "blue", "other"] | None,
        typer.Option(help="The light that is on.", show_default="recognised"),
    ] = None,
    occasion: Annotated[str, typer.Option(help="'as received', 'before', 'after' …")] = "as received",
    existing: Annotated[bool, typer.Option(help="Begin with the files that are there already.")] = False,
    setup: SetupOption = None,
    stop_after: Annotated[int, typer.Option(help="Stop after so many photographs; 0 for Ctrl-C.", min=0)] = 0,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
) -> None:
    """Take each photograph that appears in a folder into the book, once it is completely written.

    The files stay as and where they are. The stone is told by the file's name (lid-3_blue.jpg), or asked.
    Ends with Ctrl-C.

    Example: setstone watch ~/microscope --occasion after --setup 60x
    """
    from setstone.capture.errors import PhotographError
    from setstone.capture.lamp import BLUE_LIGHT
    from setstone.capture.photograph import Lamp
    from setstone.capture.watching import new_photographs
    from setstone.record.errors import BookError

    if light == "blue":
        typer.echo(BLUE_LIGHT, err=True)
    count = 0
    with open_book(book) as opened:
        of = None if stone is None else opened.stone(stone)
        with_setup = None if setup is None else opened.setup(setup)
        say(f"Watching '{folder}'; end with Ctrl-C.")
        try:
            for path in new_photographs(folder, existing=existing):
                try:
                    shown = of or _which_stone(opened, path)
                    if shown is None:
                        say(f"  ! {path.name} was left out: its name tells no stone; use '--stone'.")
                        continue
                    entry, is_new = opened.add_photograph(
                        shown,
                        path,
                        lamp=None if light is None else Lamp(light),
                        occasion=occasion,
                        by=by,
                        setup=with_setup,
                    )
                except (PhotographError, BookError) as problem:
                    typer.echo(f"{path.name}: {problem}", err=True)
                    continue
                if not is_new:
                    say(f"{path.name} is in the book already, as {entry.name} of {shown.position}.")
                    continue
                say(f"Added {entry.name} to {shown.position}: {entry.lamp} light, {entry.occasion}.")
                for flag in entry.flags:
                    say(f"  ! {flag.text}")
                count += 1
                if stop_after and count >= stop_after:
                    break
        except (KeyboardInterrupt, typer.Abort):  # the latter while it asks
            say(f"Took {count} {'photograph' if count == 1 else 'photographs'}.")


def _which_stone(book: "Book", path: Path) -> "StoneEntry | None":
    from setstone.record.errors import BookError
    from setstone.record.taking import stone_in_name

    found = stone_in_name(path.stem, book.stones())
    while found is None and sys.stdin.isatty():
        answer = typer.prompt(f"Which stone does {path.name} show? (nothing to leave it out)", default="")
        if not answer:
            return None
        try:
            found = book.stone(answer)
        except BookError as problem:
            typer.echo(str(problem), err=True)
    return found


def _noise(taken: "Average") -> str:
    if taken.frames == 1:
        return ""
    return f"; noise {taken.noise_before:.1f} of 255 in one frame, {taken.noise_after:.1f} in the mean of {taken.frames}"


def _look_line(view: object) -> str:
    from setstone.capture.live import LiveView

    assert isinstance(view, LiveView)  # noqa: S101 named so that importing this module stays light
    look = view.latest
    if look is None:
        return view.problem or "Waiting for the camera …"
    share = look.figures.focus / look.best_focus if look.best_focus > 0 else 0.0
    bar = "█" * round(20 * share)
    return (
        f"focus {bar:20} {share:4.0%} of the best   overexposed {look.figures.over:6.2%}   "
        f"without light {look.figures.under:6.2%}   {look.rate:4.1f} pictures a second"
    )


def _size(text: str) -> tuple[int, int] | None:
    if not text:
        return None
    import re

    from setstone.capture.camera import CameraError

    match = re.fullmatch(r"(\d{2,5})\s*[x×]\s*(\d{2,5})", text.strip())
    if match is None:
        raise CameraError(f"'{text}' is no size; write it as '1920x1080'.")
    return int(match[1]), int(match[2])


def _settings(texts: list[str] | None) -> dict[str, float]:
    from setstone.capture.camera import CameraError, control

    values = {}
    for text in texts or []:
        name, _, value = text.partition("=")
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise CameraError(f"'{text}' sets nothing; write it as 'exposure=-6'.")
        control(name.strip())
        values[name.strip()] = number
    return values
