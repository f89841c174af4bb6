"""The command line: ``setstone …`` or ``python -m setstone …``."""

import io
import os
import signal
import sys
from types import FrameType
from typing import NoReturn

from setstone.commands import app, failure

#: Exit status after Ctrl-C, and when told to end: 128 and the number of the signal, as shells count (POSIX.1-2017, 2.8.2).
INTERRUPTED, TERMINATED = 130, 143


def main() -> None:
    """Run the command line; a failure is one sentence on stderr and exit status 1."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # Names of files may hold what the terminal, or any text, cannot.
            stream.reconfigure(errors="backslashreplace")
    # Else the program would end where it stands, and leave behind the processes that measure for it.
    signal.signal(signal.SIGTERM, _end)
    try:
        app()
    except SystemExit as stop:
        if stop.code in (INTERRUPTED, TERMINATED):
            print("Stopped; what was not finished is not in the book.", file=sys.stderr)  # noqa: T201
        raise
    except Exception as error:
        if os.environ.get("SETSTONE_DEBUG"):
            raise
        print(failure(error), file=sys.stderr)  # noqa: T201
        sys.exit(1)


def _end(_number: int, _frame: FrameType | None) -> NoReturn:
    sys.exit(TERMINATED)


if __name__ == "__main__":
    main()
