"""Render cut stones of our own make, with exact truth, to train on.

    python benchmarks/render_stones.py OUT --count 150 [--first 0] [--visit 0] [--again [TIME] [--new 1] [--damaged 0.5] [--grown 0]] [--worn] [--fineness 1]

Cuts, colours, sizes, settings, lamps, flaws, wear and old glue are drawn at random from the number of the stone;
the same number gives the same stone, which another visit shows on another day (other setting, lamps, camera, turn), and --again
at the same microscope after it was set again (for the first time, or for another TIME, which other things befell), --damaged of them with --new new fissures or, --grown of these, an old one longer, some of the others
without an inclusion (`rendering/setting_again.py`). --worn stones may have worn edges, scratches, dust and fibres on them (`rendering/surface.py`), as
the computed test stones do. The layout is that of the computed test stones: OUT/r000/{white.jpg, blue.jpg,
labels.png, truth.json}. About ten seconds a stone on one core. The renderer is a sketch: no dispersion, no double refraction,
settings are only drawn. It is there so that nothing has to be trained on the stones the accuracy is measured on.
"""

import argparse
import json
from pathlib import Path

import cv2
from rendering.photograph import render
from rendering.setting_again import drawn


def main() -> None:
    """Render and write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=150)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--visit", type=int, default=0)
    parser.add_argument("--again", type=int, nargs="?", const=1, metavar="TIME")
    parser.add_argument("--new", type=int, default=1)
    parser.add_argument("--damaged", type=float, default=0.5)
    parser.add_argument("--grown", type=float, default=0.0)
    parser.add_argument("--worn", action="store_true")
    parser.add_argument("--fineness", type=float, default=1.0)
    arguments = parser.parse_args()
    if arguments.again is not None and arguments.again < 1:
        parser.error("--again counts from 1, the first time a stone was set again")
    for number in range(arguments.first, arguments.first + arguments.count):
        name = f"r{number:03d}"
        folder = arguments.out / name
        if (folder / "truth.json").exists():
            continue
        made = render(
            name,
            number,
            visit=arguments.visit,
            again=drawn(
                number,
                arguments.new,
                damaged=arguments.damaged,
                grown=arguments.grown,
                time=arguments.again - 1,
            )
            if arguments.again
            else None,
            fineness=arguments.fineness,
            worn=arguments.worn,
        )
        folder.mkdir(parents=True, exist_ok=True)
        for lamp, pixels in (("white", made.white), ("blue", made.blue)):
            cv2.imwrite(str(folder / f"{lamp}.jpg"), pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
        cv2.imwrite(str(folder / "labels.png"), made.labels)
        (folder / "truth.json").write_text(json.dumps(made.truth), encoding="utf-8")
        pieces = [p for f in made.truth["fissures"] for p in f["pieces"]]
        visible = sum(p["blue"]["visible"] for p in pieces)
        print(
            name,
            *made.truth["tags"],
            f"{len(made.truth['fissures'])} fissures, {visible} of {len(pieces)} pieces visible",
            flush=True,
        )


if __name__ == "__main__":
    main()
