"""What a hand-out bears of its evidence package: the key's fingerprint, and the digest as text and QR code."""

import io
from dataclasses import dataclass

import segno


@dataclass(frozen=True)
class Seal:
    """What ties a hand-out to its package.

    Parameters
    ----------
    fingerprint : str
        Of the workshop's key, as `setstone.annotate.package.key.fingerprint_of` gives it.
    digest : str
        Of the evidence, as `setstone.annotate.package.layout.evidence_digest` gives it.
    """

    fingerprint: str
    digest: str

    @property
    def printed_digest(self) -> str:
        """The digest as people compare it."""
        return grouped(self.digest)

    @property
    def qr_svg(self) -> str:
        """The digest as QR code (ISO/IEC 18004), one ``<svg>`` element; dark on white in any theme."""
        # Upper-case hexadecimal needs a smaller code; the quiet zone of four modules belongs to it.
        code = segno.make(self.digest.upper(), error="m", micro=False)
        drawn = io.BytesIO()
        code.save(
            drawn, "svg", xmldecl=False, nl=False, omitsize=True,
            dark="#000", light="#fff", border=4, svgclass="qr",
        )  # fmt: skip
        return drawn.getvalue().decode()


def grouped(digest: str) -> str:
    """Set a digest in groups of four, to be compared by eye.

    >>> grouped("0123456789ab")
    '0123 4567 89ab'
    """
    return " ".join(digest[i : i + 4] for i in range(0, len(digest), 4))
