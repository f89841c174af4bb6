"""Where what lies in a package."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from setstone.annotate.files import safe_stem
from setstone.annotate.package.bag import digest_of, manifest_line
from setstone.annotate.package.copies import STRIPPED
from setstone.annotate.sheet import PictureSheet
from setstone.record.entries import ExaminationEntry, StoneEntry

PHOTOGRAPHS = "data/photographs"
PICTURES = "data/pictures"
OVERLAYS = "data/overlays"
FINDINGS = "data/findings"
OME = "data/ome-tiff"
READINGS = "data/readings.json"
SCHEMA = "data/readings.schema.json"
_HANDOUTS = "data/hand-out"
HANDOUT = f"{_HANDOUTS}.html"
PUBLIC_KEY = "public-key.pem"
#: 64 bytes: the signature of the signed list.
SIGNATURE = "tagmanifest-sha256.txt.sig"

#: What people call a file, by the beginning of its name: names of texts under ``check.what``.
KINDS = {
    PHOTOGRAPHS: "photograph",
    PICTURES: "picture",
    OVERLAYS: "overlay",
    FINDINGS: "findings",
    OME: "ome",
    READINGS: "readings",
    _HANDOUTS: "handout",
    "": "file",
}

#: Lines of the bag's information beside those RFC 8493 names: moments in ISO 8601, and a fingerprint.
SIGNED, LATEST, FINGERPRINT = "Signed", "Latest-Entry", "Key-Fingerprint"


@dataclass(frozen=True)
class Places:
    """Where all that is about one photograph lies.

    Parameters
    ----------
    photograph, picture, overlay, findings, ome : str
        The photograph is the OME-TIFF where there is no other copy of it.
    """

    photograph: str
    picture: str
    overlay: str
    findings: str
    ome: str


def places_of(
    stone: StoneEntry, entry: ExaminationEntry, picture: PictureSheet, *, originals: bool
) -> Places:
    """Name the files about one photograph, which is given as it is or as a copy."""
    photograph = picture.photograph
    name = safe_stem(stone.position, entry.occasion, picture.lamp)
    ome = f"{OME}/{name}.ome.tif"
    copied = originals or photograph.format in STRIPPED
    return Places(
        # Only its pixels leave where what is noted in a file cannot be taken out, and the OME-TIFF has them.
        photograph=f"{PHOTOGRAPHS}/{name}{photograph.path.suffix}" if copied else ome,
        picture=f"{PICTURES}/{name}.png",
        overlay=f"{OVERLAYS}/{name}.svg",
        findings=f"{FINDINGS}/{name}.jsonld",
        ome=ome,
    )


def handouts(languages: Sequence[str], *, pdf: bool) -> dict[str, str]:
    """Name the hand-outs: the language of each by its name; the first is `HANDOUT`.

    >>> handouts(["en", "de"], pdf=False)
    {'data/hand-out.html': 'en', 'data/hand-out-de.html': 'de'}
    """
    endings = (".html", ".pdf") if pdf else (".html",)
    return {
        f"{_HANDOUTS}{'' if language == languages[0] else f'-{language}'}{ending}": language
        for language, ending in product(dict.fromkeys(languages), endings)
    }


def evidence_digest(listed: dict[str, str]) -> str:
    """Digest of all the evidence, as the hand-out bears it: of the payload's list without the hand-out.

    Parameters
    ----------
    listed : dict of str to str
        SHA-256 of each file of the payload.

    Returns
    -------
    str
        SHA-256 of the lines of ``manifest-sha256.txt`` in order of names, those of hand-outs left out.
    """
    lines = sorted(
        (name, manifest_line(digest, name))
        for name, digest in listed.items()
        if not name.startswith(_HANDOUTS)
    )
    return digest_of(f"{line}\n".encode() for _, line in lines)
