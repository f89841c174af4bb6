"""Fuzz by coverage: ``python tests/fuzz/run.py --seconds 60 [TARGET ...]``; needs atheris (``pip install atheris``).

Each target runs in a process of its own with bounds of memory and time. Inputs that crash it are kept in
``tests/fuzz/found/TARGET``: mend the cause, then the input stays as a test. What was learnt of a target is kept for
the next run in ``--corpus``. Prints one line a target: executions, seconds, inputs kept, crashes.
"""

import argparse
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1])]

#: Longest a single input may take, s, and most memory, MB: pictures are bounded to `MEGAPIXELS` here.
HANGS_S, MOST_MB, MEGAPIXELS = 25, 1500, 4
#: Exit status where an input crashed: another than that of a search that could not be made.
FOUND = 3


def main() -> int:
    """Run each target in turn; `FOUND` where one crashed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("targets", nargs="*", help="all when none is named; 'any': all in one process")
    parser.add_argument("--seconds", type=int, default=60, help="of each target")
    parser.add_argument("--corpus", type=Path, default=Path(tempfile.gettempdir()) / "setstone-fuzz")
    if sys.argv[1:2] == ["--only"]:  # a process of a target
        _fuzz(sys.argv[2], sys.argv[3:])
    given = parser.parse_args()
    from fuzz.targets import TARGETS, Target

    crashed = 0
    # All in one process, for a short search: beginning takes longer than most of them.
    every = {**TARGETS, "any": Target(_any, _any_seeds)}
    print(f"{'target':14}{'executions':>12}{'seconds':>9}{'inputs':>8}  crashed")
    for name in given.targets or TARGETS:
        corpus = given.corpus / name
        found = HERE / "found" / name if name in TARGETS else given.corpus / "found"
        corpus.mkdir(parents=True, exist_ok=True)
        found.mkdir(parents=True, exist_ok=True)
        for i, seed in enumerate(every[name].seeds()):
            (corpus / f"seed-{i}").write_bytes(seed)
        bounds = [
            f"-max_total_time={given.seconds}", f"-timeout={HANGS_S}", f"-rss_limit_mb={MOST_MB}", "-max_len=20000",
            f"-artifact_prefix={found}/", "-print_final_stats=1", "-verbosity=0", str(corpus), str(found),
        ]  # fmt: skip
        began = time.monotonic()
        ran = subprocess.run(
            [sys.executable, __file__, "--only", name, *bounds], capture_output=True, text=True
        )
        seconds = time.monotonic() - began
        executed = re.search(r"number_of_executed_units: *(\d+)", ran.stderr)
        count = executed[1] if executed else "?"
        inputs = len(list(corpus.iterdir()))
        print(
            f"{name:14}{count:>12}{seconds:9.0f}{inputs:8}  {'yes' if ran.returncode else 'no'}", flush=True
        )
        if ran.returncode:
            crashed += 1
            print(ran.stdout[-1500:], ran.stderr[-3000:], file=sys.stderr, flush=True)
            if executed is None:
                sys.exit(f"The search of '{name}' did not begin.")
        if not any(found.iterdir()):
            found.rmdir()
    return FOUND if crashed else 0


def _fuzz(name: str, bounds: list[str]) -> None:
    import atheris

    with atheris.instrument_imports(include=["setstone", "tifffile", "PIL", "zipfile", "json"]):
        from fuzz.targets import TARGETS

        from setstone.capture import raster
    raster.MAX_MEGAPIXELS = MEGAPIXELS
    atheris.Setup([name, *bounds], _any if name == "any" else TARGETS[name].run)
    atheris.Fuzz()


def _any(data: bytes) -> None:
    """Run the target that the first byte names."""
    from fuzz.targets import TARGETS

    names = list(TARGETS)
    TARGETS[names[(data or b"\0")[0] % len(names)]].run(data[1:])


def _any_seeds() -> list[bytes]:
    from fuzz.targets import TARGETS

    return [bytes([i]) + seed for i, target in enumerate(TARGETS.values()) for seed in target.seeds()]


if __name__ == "__main__":
    sys.exit(main())
