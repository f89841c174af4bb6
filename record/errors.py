"""What can go wrong with a book, in words the workshop can act on."""


class BookError(Exception):
    """The book refuses: the message is one clear sentence, what is wrong and what to do."""
