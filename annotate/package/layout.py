"""Where what lies in a package."""

from setstone.annotate.package.bag import digest_of, manifest_line

PHOTOGRAPHS = "data/photographs"
PICTURES = "data/pictures"
OVERLAYS = "data/overlays"
FINDINGS = "data/findings"
OME = "data/ome-tiff"
READINGS = "data/readings.json"
SCHEMA = "data/readings.schema.json"
HANDOUT = "data/hand-out.html"
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
    "data/hand-out": "handout",
    "": "file",
}

#: Lines of the bag's information beside those RFC 8493 names: moments in ISO 8601, and a fingerprint.
SIGNED, LATEST, FINGERPRINT = "Signed", "Latest-Entry", "Key-Fingerprint"


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
        if not name.startswith("data/hand-out")
    )
    return digest_of(f"{line}\n".encode() for _, line in lines)
