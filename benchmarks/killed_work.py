"""Kills work on a book at random moments and looks at what is kept.

Run it from the top of the checkout::

    PYTHONPATH=.:tests python benchmarks/killed_work.py [KILLS [SEED]]

KILLS (SIGKILL) fall on each kind of work of `work_to_harm.py`, at moments drawn evenly over the time it takes. After each the book
must open, `setstone check` must find it whole, all that was told as done must be there, and nothing half.
What a window keeps is tried by `killed.py`.
"""

import os
import shutil
import signal
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from work_to_harm import ALL, Work, make

#: Pieces done in one go, at most.
TIMES = 8


def main() -> None:
    """Kill again and again, and print what became of it."""
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    chance = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    with tempfile.TemporaryDirectory() as name:
        template = Path(name) / "template"
        make(template)
        print(
            "| work | kills | within the work | pieces told as done | lost | half |\n|---|---|---|---|---|---|"
        )
        for work in ALL:
            longest, _, _ = trial(template, work, after=None)
            tries = [trial(template, work, after=float(t)) for t in chance.uniform(0, longest, kills)]
            within, told = sum(killed for _, killed, _ in tries), sum(n for *_, n in tries)
            print(f"| {work.name} | {kills} | {within} | {told} | 0 | 0 |", flush=True)


def trial(template: Path, work: Work, *, after: float | None) -> tuple[float, bool, int]:
    """Do some work, kill it after so many seconds, and look.

    Returns
    -------
    seconds : float
        It took.
    killed : bool
        Whether it was killed before it had ended.
    told : int
        How many pieces it had told as done.

    Raises
    ------
    AssertionError
        When something is lost or half.
    """
    with tempfile.TemporaryDirectory(dir=template.parent) as name:
        folder = Path(name) / "work"
        shutil.copytree(template, folder)
        reader, writer = os.pipe()
        begun = time.monotonic()
        child = os.fork()
        if child == 0:
            code = 1
            try:
                work.do(folder, lambda piece: void(os.write(writer, f"{piece}\n".encode())), TIMES)
                code = 0
            finally:
                os._exit(code)
        os.close(writer)
        if after is not None:
            time.sleep(after)
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        seconds = time.monotonic() - begun
        with os.fdopen(reader) as pipe:
            told = {text.rstrip("\n") for text in pipe if text.endswith("\n")}
        killed = os.WIFSIGNALED(status)
        assert killed or os.WEXITSTATUS(status) == 0, f"{work.name} ended by itself"
        lost = told - work.kept(folder)
        assert not lost, f"{work.name}: {lost} was told as done and is lost"
        return seconds, killed, len(told)


def void(_: object) -> None:
    """Give nothing."""


if __name__ == "__main__":
    main()
