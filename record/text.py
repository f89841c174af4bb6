"""Free text as people type it: cleaned before it is stored, and compared without regard to case."""

import unicodedata

from setstone.record.errors import BookError

#: Control characters, lone surrogates (which no file can hold as UTF-8), and line or paragraph separators.
_REFUSED = {"Cc", "Cs", "Zl", "Zp"}
#: Marks that turn the reading direction: with them a text shows otherwise than it is stored.
_TURNING = set("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def clean(text: str, what: str, *, longest: int = 100, required: bool = True, lines: bool = False) -> str:
    """Strip a text and refuse what cannot be stored or shown.

    Parameters
    ----------
    text : str
    what : str
        How to name it in a message, for example ``"The position"``.
    longest : int
        Most characters allowed.
    required : bool
        Whether an empty text is refused.
    lines : bool
        Whether line breaks and tabs are allowed.

    Returns
    -------
    str
        Without surrounding blanks, composed as in Unicode's normalisation form C.

    Raises
    ------
    BookError
        When it is empty though required, too long, or holds control characters.

    Examples
    --------
    >>> clean("  lid-3 ", "The position")
    'lid-3'
    """
    text = unicodedata.normalize("NFC", text.replace("\r\n", "\n")).strip()
    if required and not text:
        raise BookError(f"{what} is empty; give it.")
    if len(text) > longest:
        raise BookError(f"{what} has {len(text)} characters; at most {longest} are kept, shorten it.")
    allowed = "\n\t" if lines else ""
    for character in text:
        if character not in allowed and (
            unicodedata.category(character) in _REFUSED or character in _TURNING
        ):
            raise BookError(
                f"{what} holds the control character U+{ord(character):04X}, which cannot be shown; leave it out."
            )
    return text


def key(text: str) -> str:
    """Return what two texts have in common when a person would call them the same.

    >>> key("Lid-3") == key("LID-3 ")
    True
    """
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def shown(name: str) -> str:
    r"""Return a file's name with whatever cannot be shown replaced by a question mark.

    >>> shown("white\n.jpg")
    'white?.jpg'
    """
    return "".join("?" if unicodedata.category(c) in _REFUSED or c in _TURNING else c for c in name)[:255]


def operator(by: str, *, required: bool) -> str:
    """Clean the name of the person who does something, refusing an empty one where required."""
    if required and not by.strip():
        raise BookError("Nobody is named; say who does this.")
    return clean(by, "The name of the operator", required=False)
