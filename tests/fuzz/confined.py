"""Run each file given in a child with little memory and time; JSON of what became of each, one a line."""

import json
import os
import resource
import sys
import traceback
from pathlib import Path

from setstone.annotate.errors import AnnotateError
from setstone.annotate.package.checking import check_package
from setstone.annotate.texts import english
from setstone.capture.errors import PhotographError
from setstone.capture.open import open_photograph
from setstone.record.errors import BookError
from setstone.record.importing import import_book

#: Address space and processor time of each child.
MOST_BYTES, MOST_SECONDS = 3 << 30, 20


def read(path: Path) -> str:
    """Read a file as the program would, and say what became of it."""
    try:
        if path.name.endswith(".export.zip"):
            import_book(path, path.with_suffix(""), by="Ada").close()
        elif path.suffix == ".zip":
            return "; ".join(problem.text for problem in check_package(path, english()).problems)
        else:
            open_photograph(path)
    except (AnnotateError, BookError, PhotographError) as error:
        return str(error)
    return "read"


def main() -> None:
    """See the module."""
    for name in ("seed.png", "seed.export.zip", "seed.zip"):  # loads what is loaded on first use
        read(Path(sys.argv[1]) / name)
    # Not the peak of this process, which it inherits from the one that began it.
    before = int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() // 1024
    for name in sys.argv[2:]:
        outlet, inlet = os.pipe()
        child = os.fork()
        if child == 0:
            resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
            resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
            try:
                said = read(Path(name))
            except BaseException:
                said = traceback.format_exc()[-2000:]
            os.write(inlet, said.encode(errors="replace")[:4000])
            os._exit(0)
        os.close(inlet)
        with os.fdopen(outlet, "rb") as stream:
            said = stream.read().decode()
        _, status, used = os.wait4(child, 0)
        print(
            json.dumps(
                {
                    "name": Path(name).name,
                    "said": said,
                    "signal": os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0,
                    "seconds": round(used.ru_utime + used.ru_stime, 2),
                    "mb": (used.ru_maxrss - before) // 1024,
                }
            ),
            flush=True,
        )


if __name__ == "__main__":
    main()
