"""Make the pictures of docs/calibrating.md: python docs/calibration_images.py.

The micrometer is drawn by the tests' own `ruled`, so its scale is exactly known.
"""

import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from ruled import ruled  # noqa: E402 found by the lines above

from setstone.annotate.calibration_plot import calibration_plot  # noqa: E402
from setstone.annotate.micrometer_picture import micrometer_picture  # noqa: E402
from setstone.measure.micrometer import find_micrometer  # noqa: E402
from setstone.record.book import Book  # noqa: E402

IMAGES = Path(__file__).parent / "images"
PERIOD_PX = 11.8


def main() -> None:
    """Draw the micrometer as photographed, turned, and with the lines found; and a plot over time."""
    drawn = [ruled(PERIOD_PX, angle, lines=51, size=760, length=90) for angle in (4.0, 93.0)]
    for name, pixels in zip(("micrometer", "micrometer-turned"), drawn, strict=True):
        Image.fromarray(pixels).resize((380, 380), Image.Resampling.LANCZOS).save(
            IMAGES / f"{name}.jpg", quality=85
        )
    lines = find_micrometer(drawn[0])
    assert lines is not None  # noqa: S101
    Image.fromarray(micrometer_picture(drawn[0], lines)).save(IMAGES / "micrometer-lines.jpg", quality=88)
    with tempfile.TemporaryDirectory() as folder, Book.create(Path(folder) / "book") as book:
        setup = book.add_setup("60x", objective="1x", zoom="6.0")
        for i, (year, month) in enumerate(((2025, 1), (2025, 7), (2026, 1))):
            files = []
            for k in range(3):
                period = PERIOD_PX * (1 + 1e-4 * ((i * 3 + k) % 4 - 1.5))
                files.append(Path(folder) / f"{i}{k}.png")
                Image.fromarray(ruled(period, 3 + 1.5 * k + i, lines=40, size=560)).save(files[-1])
            book.calibrate_setup(
                setup,
                files,
                division_um=10,
                certificate="0.5 µm in 1 mm",
                made=datetime(year, month, 12, tzinfo=UTC),
                by="Ada",
            )
        (IMAGES / "calibrations.svg").write_text(calibration_plot(book.calibrations(setup)), encoding="utf-8")


if __name__ == "__main__":
    main()
