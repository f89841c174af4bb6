"""What can go wrong with a book, in words the workshop can act on."""

#: Most characters of a message: who pasted a page into a field still sees what is wrong with it and what to do.
LONGEST = 1000


class BookError(Exception):
    """The book refuses: the message is one clear sentence, what is wrong and what to do.

    A longer one, which names a long text that somebody typed, is kept without its middle.

    Examples
    --------
    >>> len(str(BookError(f"'{'9' * 8000}' is no density; write '4.00'.")))
    1000
    """

    def __init__(self, sentence: str) -> None:
        half = LONGEST // 2
        super().__init__(
            sentence if len(sentence) <= LONGEST else f"{sentence[: half - 1]}…{sentence[-half:]}"
        )
