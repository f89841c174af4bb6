"""Lets every write of work on a book fail in turn, as on a full or broken disk, and looks at what is kept.

Run it from the top of the checkout (Linux, with a C compiler)::

    PYTHONPATH=.:tests python benchmarks/failing_disk.py [STEP [TIMES]]

A library put before the system's (`failing_disk.c`, LD_PRELOAD) lets the N-th call that writes, syncs, makes, renames or links fail with
ENOSPC, and all after it, as on a full disk, or with EIO, once; for N = 1, 1 + STEP, 1 + 2 STEP … to the last of the work. The
work must then either be done all the same or end with one sentence, never with a fault of ours; the book must open, be whole, and
hold what was told as done.
"""

import ctypes
import errno
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from work_to_harm import ALL, Work, make

from setstone.annotate.errors import AnnotateError
from setstone.capture.errors import PhotographError
from setstone.record.errors import BookError

#: What a full disk answers goes on; a broken sector answers once.
ERRORS = {"ENOSPC": (errno.ENOSPC, True), "EIO": (errno.EIO, False)}
DONE, SAID, FAULT, UNHARMED = range(4)


def main() -> None:
    """Let one call after the other fail, and print what became of it."""
    step = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    times = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    with tempfile.TemporaryDirectory() as name:
        if "LD_PRELOAD" not in os.environ:
            library = Path(name) / "failing_disk.so"
            source = Path(__file__).with_suffix(".c")
            subprocess.run(
                [
                    shutil.which("cc") or sys.exit("There is no C compiler."),
                    "-shared",
                    "-fPIC",
                    "-O1",
                    "-o",
                    library,
                    source,
                    "-ldl",
                ],
                check=True,
            )
            again = [sys.executable, *sys.argv]
            raise SystemExit(subprocess.run(again, env={**os.environ, "LD_PRELOAD": str(library)}).returncode)
        template = Path(name) / "template"
        make(template)
        print(
            "| work | error | calls made to fail | one sentence | done all the same | faults | lost or half |"
        )
        print("|---|---|---|---|---|---|---|")
        for work in ALL:
            for error in ERRORS:
                ends = {DONE: 0, SAID: 0, FAULT: 0}
                number = 1
                while (end := trial(template, work, error, number, times)) != UNHARMED:
                    ends[end] += 1
                    number += step
                print(
                    f"| {work.name} | {error} | {sum(ends.values())} | {ends[SAID]} | {ends[DONE]} | {ends[FAULT]} | 0 |",
                    flush=True,
                )


def trial(template: Path, work: Work, error: str, number: int, times: int) -> int:
    """Do some work whose call of that number fails, and look; tell how it ended."""
    with tempfile.TemporaryDirectory(dir=template.parent) as name:
        folder = Path(name) / "work"
        shutil.copytree(template, folder)
        reader, writer = os.pipe()
        child = os.fork()
        if child == 0:
            os._exit(_child(folder, work, error, number, times, writer))
        os.close(writer)
        with os.fdopen(reader) as pipe:
            told = {text.rstrip("\n") for text in pipe}
        end = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        lost = told - work.kept(folder)
        assert not lost, f"{work.name}, {error} at call {number}: {lost} was told as done and is lost"
        return end


def _child(folder: Path, work: Work, error: str, number: int, times: int, writer: int) -> int:
    disk = ctypes.CDLL(None)

    def tell(piece: str) -> None:
        os.write(writer, f"{piece}\n".encode())

    code, stays = ERRORS[error]
    trouble: BaseException | None = None
    disk.fail_at(ctypes.c_long(number), code, stays)
    try:
        work.do(folder, tell, times)
    except BaseException as raised:
        trouble = raised
    has_failed = disk.failed()
    disk.fail_at(ctypes.c_long(-1), 0, 0)
    if trouble is None:
        return DONE if has_failed else UNHARMED
    if (
        isinstance(trouble, BookError | AnnotateError | PhotographError)
        and str(trouble).endswith(".")
        and "\n" not in str(trouble)
    ):
        return SAID
    print(f"{work.name}, {error} at call {number}: {trouble!r}", file=sys.stderr)
    return FAULT


if __name__ == "__main__":
    main()
