"""The command line: ``setstone …`` or ``python -m setstone …``."""

import os
import sys

from setstone.commands import app, failure


def main() -> None:
    """Run the command line; a failure is one sentence on stderr and exit status 1."""
    try:
        app()
    except Exception as error:
        if os.environ.get("SETSTONE_DEBUG"):
            raise
        print(failure(error), file=sys.stderr)  # noqa: T201
        sys.exit(1)


if __name__ == "__main__":
    main()
