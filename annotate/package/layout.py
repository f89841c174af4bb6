"""Where what lies in a package; checking needs no more, so that it starts at once."""

from collections.abc import Sequence
from itertools import product

from setstone.annotate.package.bag import digest_of, manifest_line

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
