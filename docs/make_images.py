"""Make the pictures of README from a demo book: python docs/make_images.py DEMO_BOOK."""

import sys
from pathlib import Path

from PIL import Image

WIDTH = 900
PICTURES = ("lid-3-after-blue", "lid-5-as-received-white")


def main() -> None:
    """Reduce the annotated pictures to the width of a page, as JPEG."""
    source, target = Path(sys.argv[1]) / "pictures", Path(__file__).parent / "images"
    target.mkdir(exist_ok=True)
    for name in PICTURES:
        picture = Image.open(source / f"{name}.png").convert("RGB")
        picture.thumbnail((WIDTH, 10 * WIDTH))
        picture.save(target / f"{name}.jpg", quality=88)


if __name__ == "__main__":
    main()
