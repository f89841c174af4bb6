"""What can go wrong with a photograph, in words a technician can act on."""


class PhotographError(ValueError):
    """A photograph cannot be used; the message names the file, what is wrong and what to do."""


class RefusalError(ValueError):
    """Why a decoder refuses a file: the message continues a sentence that began with the file's name."""
