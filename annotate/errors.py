"""What can go wrong while drawing and writing, in words a person can act on."""


class AnnotateError(Exception):
    """A picture or hand-out cannot be made; the message says why and what to do."""
