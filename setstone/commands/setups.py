"""Commands for optical setups and their calibration with a stage micrometer."""

from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from setstone.commands.common import (
    HERE,
    LOGIN,
    BookOption,
    ByOption,
    JsonOption,
    decimal,
    in_local_time,
    open_book,
    say,
    show,
    table,
)

if TYPE_CHECKING:
    from setstone.record.entries import CalibrationEntry, SetupEntry

setup_commands = typer.Typer(help="Optical setups and their calibrations.", no_args_is_help=True)

SetupArgument = Annotated[str, typer.Argument(metavar="SETUP", help="Name of the setup.")]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.add_typer(setup_commands, name="setup")


@setup_commands.command("add")
def add(
    name: Annotated[str, typer.Argument(help="A short name, for example '60x'.")],
    objective: Annotated[str, typer.Option(help="As engraved.")] = "",
    zoom: Annotated[str, typer.Option(help="Position of the zoom.")] = "",
    camera: Annotated[str, typer.Option(help="Camera and size of picture.")] = "",
    adapter: Annotated[str, typer.Option(help="Between microscope and camera.")] = "",
    numerical_aperture: Annotated[
        float | None,
        typer.Option("--na", help="Numerical aperture engraved on the objective.", parser=decimal()),
    ] = None,
    valid_days: Annotated[int, typer.Option(help="Days after which a calibration is too old.")] = 365,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Add an optical setup; whatever changes the scale makes another one.

    Example: setstone setup add 60x --objective 1x --zoom 6.0 --camera "20 MP" --adapter 0.5x --na 0.08
    """
    with open_book(book) as opened:
        entry = opened.add_setup(
            name,
            objective=objective,
            zoom=zoom,
            camera=camera,
            adapter=adapter,
            numerical_aperture=numerical_aperture,
            valid_days=valid_days,
            by=by,
        )
    show(
        as_json,
        _setup(entry),
        lambda: say(
            f"Added the setup {entry.name}. Calibrate it: 'setstone setup calibrate {entry.name} FILE'."
        ),
    )


@setup_commands.command("list")
def list_setups(book: BookOption = HERE, as_json: JsonOption = False) -> None:
    """List the setups with their latest calibration."""
    with open_book(book) as opened:
        known = [(s, opened.calibrations(s)) for s in opened.setups()]
    show(
        as_json,
        [{**_setup(s), "calibrations": [_calibration(c) for c in found]} for s, found in known],
        lambda: table(
            ("setup", "objective", "zoom", "camera", "adapter", "calibrated", "scale (95 %)"),
            [
                (
                    s.name,
                    s.objective,
                    s.zoom,
                    s.camera,
                    s.adapter,
                    f"{found[-1].made.astimezone():%Y-%m-%d} by {found[-1].by}" if found else "not yet",
                    _interval(found[-1]) if found else "–",
                )
                for s, found in known
            ],
            "No setups yet; add one with 'setstone setup add NAME'.",
        ),
    )


@setup_commands.command("calibrate")
def calibrate(
    setup: SetupArgument,
    files: Annotated[list[Path], typer.Argument(help="Photographs of a stage micrometer.")],
    division: Annotated[
        str, typer.Option(help="Distance from line to line as engraved: '0.01 mm', '100 µm'.")
    ],
    certificate: Annotated[
        str,
        typer.Option(
            help="Limits of error of the micrometer: '1 µm in 1 mm' or '0.05 %'; add 'k=2' for an expanded uncertainty.",
            show_default="0.1 % is taken",
        ),
    ] = "",
    taken: Annotated[
        datetime | None,
        typer.Option(help="When the micrometer was photographed.", show_default="as the files say"),
    ] = None,
    by: ByOption = LOGIN,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Calibrate a setup from photographs of a stage micrometer; they are kept in the book.

    Several photographs, put back each time and one turned by about 90°, say more than one.

    Example: setstone setup calibrate 60x m1.jpg m2.jpg m3.jpg --division "0.01 mm" --certificate "1 µm in 1 mm"
    """
    from setstone.record.examining import given_length

    with open_book(book) as opened:
        entry = opened.calibrate_setup(
            opened.setup(setup),
            files,
            division_um=given_length(division),
            certificate=certificate,
            made=in_local_time(taken),
            by=by,
        )
    show(as_json, _calibration(entry), lambda: _print_calibration(entry))


@setup_commands.command("history")
def history(
    setup: SetupArgument,
    plot: Annotated[
        Path | None, typer.Option(help="Also draw them over time: a file ending in .svg.")
    ] = None,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """List the calibrations of a setup, and draw them over time.

    Example: setstone setup history 60x --plot 60x.svg
    """
    from setstone.record.errors import BookError

    with open_book(book) as opened:
        found = opened.calibrations(opened.setup(setup))
    if plot is not None:
        from setstone.annotate.calibration_plot import calibration_plot
        from setstone.annotate.files import replace_file

        if not found:
            raise BookError(f"The setup '{setup}' is not calibrated yet, so there is nothing to draw.")
        replace_file(plot, calibration_plot(found).encode())
    show(
        as_json,
        [_calibration(c) for c in found],
        lambda: table(
            ("made", "by", "scale (95 %)", "photographs", "lines", "against the one before"),
            [
                (
                    f"{c.made.astimezone():%Y-%m-%d}",
                    c.by,
                    _interval(c),
                    str(c.result.photographs),
                    str(c.result.lines),
                    _change(before, c),
                )
                for before, c in zip((None, *found), found, strict=False)
            ],
            f"The setup '{setup}' is not calibrated yet; photograph a stage micrometer with it.",
        ),
    )


@setup_commands.command("lines")
def lines(
    setup: SetupArgument,
    to: Annotated[Path, typer.Option(help="Folder to write the pictures into.")] = Path(),
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Draw the lines counted in each photograph of the latest calibration, so that you see that each was found.

    Example: setstone setup lines 60x --to looked-at
    """
    from setstone.annotate.bench.calibrating import lines_seen
    from setstone.annotate.files import replace_file, safe_stem
    from setstone.annotate.png import encode_png
    from setstone.record.errors import BookError
    from setstone.record.taking import SOFTWARE

    with open_book(book) as opened:
        known = opened.calibrations(opened.setup(setup))
        if not known:
            raise BookError(f"The setup '{setup}' is not calibrated yet, so there are no lines to draw.")
        seen = lines_seen(known[-1], lambda _name: None)
    written = []
    for number, one in enumerate(seen, start=1):
        file = to / f"{safe_stem(setup)}-lines-{number}.png"
        replace_file(file, encode_png(one.picture, SOFTWARE, one.words))
        written.append({"file": str(file), "says": one.words})
    show(as_json, written, lambda: say("\n".join(f"{w['file']}: {w['says']}" for w in written)))


def _interval(entry: "CalibrationEntry") -> str:
    from setstone.measure.quantity import Quantity

    scale = entry.result.scale(entry.setup.name)
    return str(Quantity(scale.um_per_px, scale.u_um_per_px, "µm/px"))


def _change(before: "CalibrationEntry | None", now: "CalibrationEntry") -> str:
    if before is None:
        return "–"
    from setstone.record.setups import change

    moved, within = change(before, now)
    return f"{moved:+.2%}{'' if within else ', more than their uncertainties: look for the cause'}"


def _print_calibration(entry: "CalibrationEntry") -> None:
    from setstone.record.setups import over_the_field

    result = entry.result
    say(
        f"{entry.setup.name}: {_interval(entry)} (95 %), from {result.lines} lines in {result.photographs} "
        f"{'photograph' if result.photographs == 1 else 'photographs'}."
    )
    for part in result.contributions:
        say(f"  {part.name}: {part.relative_u:.4%} standard uncertainty")
    if result.pixel_aspect is not None:
        say(f"  width over height of a pixel: {result.pixel_aspect}")
    if result.field:
        say(f"  {over_the_field(result)}")
    for remark in result.remarks:
        say(f"  ! {remark}")


def _setup(entry: "SetupEntry") -> dict[str, Any]:
    return {
        "setup": entry.name,
        "objective": entry.objective,
        "zoom": entry.zoom,
        "camera": entry.camera,
        "adapter": entry.adapter,
        "numerical_aperture": entry.numerical_aperture,
        "valid_days": entry.valid_days,
    }


def _calibration(entry: "CalibrationEntry") -> dict[str, Any]:
    from setstone.commands import as_json as j

    result = entry.result
    return {
        "setup": entry.setup.name,
        "made": j.time(entry.made),
        "by": entry.by,
        "um_per_px": result.um_per_px,
        "relative_standard_uncertainty": result.relative_u,
        "coverage_factor_95": result.coverage,
        "contributions": {c.name: c.relative_u for c in result.contributions},
        "certificate": entry.certificate,
        "division_um": result.division_um,
        "lines": result.lines,
        "bend": result.bend,
        "field": [asdict(part) for part in result.field],
        "covered_share": result.covered,
        "even": result.is_even,
        "square": result.is_square,
        **j.quantity("pixel_width_over_height", result.pixel_aspect),
        "remarks": list(result.remarks),
        "photographs": [{"sha256": p.sha256, "name": p.name, "path": str(p.path)} for p in entry.photographs],
    }
