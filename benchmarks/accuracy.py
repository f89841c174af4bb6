"""Accuracy on a folder of test stones, beside the naive baseline and the goals.

    python benchmarks/accuracy.py CASES [--lamps white|blue] [--by-case]

CASES has the layout of the computed test stones; their scorer, score.py, lies in it or one folder up. The baseline (Sato filter and
skeleton, blob_log, Hough circle, longest run of bar pixels) is quoted from the result stored beside that scorer.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from predict import predict

from setstone.capture.photograph import Lamp

#: Key in the scorer's result, what it is, baseline on the development stones, goal.
FIGURES = (
    ("scale_read", "scale bars read", "67/82*", "all readable"),
    ("scale_err_med", "scale error, median (%)", "0.11*", "≤ 0.3"),
    ("scale_err_max", "scale error, worst (%)", "0.66*", "≤ 1"),
    ("diam_err_med", "mean diameter error, median (%)", "14.87", "≤ 0.4 round, ≤ 0.8 other"),
    ("diam_err_max", "mean diameter error, worst (%)", "64.22", "≤ 1.5"),
    ("fis_precision", "fissures, length precision", "0.03", ""),
    ("fis_recall", "fissures, length recall", "0.55", ""),
    ("fis_f1", "fissures, length F1", "0.06", "0.60 floor, 0.80 goal"),
    ("fis_detected", "fissures found (half their length)", "0.60", "0.75 floor, 0.90 goal"),
    ("false_fissures_per_clean", "false lines on a clean stone", "97.60", "≤ 2 floor, ≤ 0.5 goal"),
    ("inc_precision", "inclusions, precision", "0.01", ""),
    ("inc_recall", "inclusions, recall", "0.43", ""),
    ("inc_f1", "inclusions, F1", "0.02", "0.60 floor, 0.85 goal"),
    ("inc_diam_err_med", "inclusion diameter error, median (%)", "–", "≤ 10"),
    ("milky_right", "milkiness named right", "0/40", ""),
)


def score(cases: Path, predictions: dict[str, Any]) -> dict[str, Any]:
    """Run the scorer that lies with the cases."""
    with tempfile.TemporaryDirectory() as folder:
        given, result = Path(folder, "predictions.json"), Path(folder, "result.json")
        given.write_text(json.dumps(predictions), encoding="utf-8")
        scorer = next(f / "score.py" for f in (cases, cases.parent) if (f / "score.py").exists())
        command = [sys.executable, str(scorer), str(cases), str(given), "--json", str(result)]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        scored: dict[str, Any] = json.loads(result.read_text(encoding="utf-8"))
        return scored


def shown(value: object) -> str:
    """Write a figure of the scorer for the table."""
    return f"{value:.2f}" if isinstance(value, float) else str(value)


def main() -> None:
    """Predict, score, print a table in Markdown."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("cases", type=Path)
    parser.add_argument("--lamps", choices=["white", "blue"], help="use the photographs under one lamp only")
    parser.add_argument("--by-case", action="store_true", help="also one line a case")
    arguments = parser.parse_args()
    lamps = {Lamp(arguments.lamps)} if arguments.lamps else {Lamp.WHITE, Lamp.BLUE}
    result = score(arguments.cases, predict(arguments.cases, lamps))
    everything = result["groups"]["ALL"]
    print("| figure | setstone | naive baseline | goal |\n|---|---|---|---|")
    for key, text, baseline, goal in FIGURES:
        print(f"| {text} | {shown(everything[key])} | {baseline} | {goal} |")
    print("\n\\* The baseline is told the printed length; it reads no text.")
    if arguments.by_case:
        keys = [
            "scale_err_max",
            "diam_err_max",
            "fis_f1",
            "fis_detected",
            "false_fissures_per_clean",
            "inc_f1",
        ]
        print("\n| case | " + " | ".join(keys) + " |\n|---" * 1 + "|---" * len(keys) + "|")
        for case, row in sorted(result["cases"].items()):
            print(f"| {case} | " + " | ".join(shown(row[k]) for k in keys) + " |")


if __name__ == "__main__":
    main()
