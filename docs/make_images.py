"""Make the pictures of README from a demo book: python docs/make_images.py DEMO_BOOK."""

import argparse
from pathlib import Path

from PIL import Image

WIDTH = 900
PICTURES = ("lid-3-after-blue", "lid-5-as-received-white")


def main() -> None:
    """Reduce the annotated pictures to the width of a page, as JPEG."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("book", type=Path, help="folder that 'setstone demo' made")
    source, target = parser.parse_args().book / "pictures", Path(__file__).parent / "images"
    target.mkdir(exist_ok=True)
    for name in PICTURES:
        picture = Image.open(source / f"{name}.png").convert("RGB")
        picture.thumbnail((WIDTH, 10 * WIDTH))
        picture.save(target / f"{name}.jpg", quality=88)


if __name__ == "__main__":
    main()
