"""The page on which a buyer checks a package in a browser: one file, no network, the same answers as `check_package`."""

import json
from importlib.resources import files
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from setstone import __version__
from setstone.annotate.files import replace_file
from setstone.annotate.handout import policy_hash
from setstone.annotate.package.bag import DECLARATION
from setstone.annotate.package.layout import KINDS
from setstone.annotate.package.opening import LARGE, LITTER, MOST_BYTES, MOST_FILES, MOST_PACKED, MOST_TEXT
from setstone.annotate.texts import texts_in


def write_page(path: Path, language: str = "en") -> Path:
    """Write the page; an earlier one is replaced.

    Raises
    ------
    AnnotateError
        When there is no such language, or the file cannot be written.
    """
    return replace_file(path, check_page(language).encode())


def check_page(language: str = "en") -> str:
    """Lay out the page."""
    texts = texts_in(language)
    folder = files("setstone.annotate").joinpath("templates")
    told = {
        "texts": texts.part("check"),
        "kinds": list(KINDS.items()),
        "litter": LITTER,
        "declaration": DECLARATION,
        "most": {
            "files": MOST_FILES,
            "bytes": MOST_BYTES,
            "text": MOST_TEXT,
            "large": LARGE,
            "packed": MOST_PACKED,
        },
    }
    # As data in the script: '<' would let a text end it.
    script = f"const TOLD = {json.dumps(told).replace('<', chr(92) + 'u003c')};\n{folder.joinpath('check.js').read_text('utf-8')}"
    style = folder.joinpath("check.css").read_text("utf-8")
    environment = Environment(
        loader=PackageLoader("setstone.annotate"), autoescape=True, undefined=StrictUndefined
    )
    return environment.get_template("check.html.j2").render(
        t=texts,
        generator=f"setstone {__version__}",
        script=Markup(script),  # noqa: S704 our own
        script_hash=policy_hash(script),
        style=Markup(style),  # noqa: S704 our own
        style_hash=policy_hash(style),
    )
