"""Accuracy on a folder of test stones, beside the naive baseline and the goals.

    python benchmarks/accuracy.py CASES [--ways both white blue rules] [--by-case]

CASES has the layout of the computed test stones; their scorer, score.py, lies in it or one folder up. The
baseline (Sato filter and skeleton, blob_log, Hough circle, longest run of bar pixels) is quoted from the result
stored beside that scorer; its diameters by cut were computed with its circle finder. With one lamp only, candidates are held against what that lamp shows; by plain rules, nothing
learned scores them. Every way examines all cases once; `--ways both` is the quick run.
"""

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from predict import Examined, examined, predictions
from scorer import judged, load_scorer, truth_of

from setstone.capture.photograph import Lamp
from setstone.measure.candidates import LIKELY

LAMPS = {"both": {Lamp.WHITE, Lamp.BLUE}, "white": {Lamp.WHITE}, "blue": {Lamp.BLUE}}
HEADS = {
    "both": "white + blue",
    "white": "white only",
    "blue": "blue only",
    "rules": "white + blue, plain rules",
}

#: Cuts whose girdle is a circle; the others are judged apart.
ROUND = ("round", "old_european")

#: Key of a figure, what it is, baseline on the development stones, goal.
FIGURES = (
    ("scale_read", "scale bars read (a ruler is not a bar)", "67/82*", "all readable"),
    ("scale_err_med", "scale error, median (%)", "0.11*", "≤ 0.3"),
    ("scale_err_max", "scale error, worst (%)", "0.66*", "≤ 1, none wrong"),
    ("diam_round", "mean diameter error, round cuts, median / worst (%)", "13.6 / 36.5", "≤ 0.4 / ≤ 1.5"),
    ("diam_other", "mean diameter error, other cuts, median / worst (%)", "34.4 / 64.4", "≤ 0.8 / ≤ 1.5"),
    ("diam_covered", "95 % intervals of the diameter that hold the truth", "–", "90 to 99 %"),
    ("fis_precision", "fissures, length precision", "0.03", ""),
    ("fis_recall", "fissures, length recall", "0.55", ""),
    ("fis_f1", "fissures, length F1", "0.06", "0.60 floor, 0.80 goal"),
    ("fis_detected", "fissures found (half their length)", "0.60", "0.75 floor, 0.90 goal"),
    ("false_fissures_per_clean", "false lines on a clean stone", "97.60", "≤ 2 floor, ≤ 0.5 goal"),
    ("inc_precision", "inclusions, precision", "0.01", ""),
    ("inc_recall", "inclusions, recall", "0.43", ""),
    ("inc_f1", "inclusions, F1", "0.02", "0.60 floor, 0.85 goal"),
    ("false_inclusions_per_clean", "false spots on a stone without inclusions", "–", "≤ 2 floor, ≤ 0.5 goal"),
    ("inc_diam_err_med", "inclusion diameter error, median (%)", "–", "≤ 10"),
    ("ece_line", "expected calibration error, lines: all / scored 0.1 or more", "–", "≤ 0.05"),
    ("ece_spot", "expected calibration error, spots: all / scored 0.1 or more", "–", "≤ 0.05"),
)

#: Key of the scorer, for the table by case.
BY_CASE = ("scale_err_max", "diam_err_max", "fis_f1", "fis_detected", "false_fissures_per_clean", "inc_f1")

Judged = Sequence[tuple[str, float, bool]]


def diameter_figures(cases: Path, examinations: Sequence[Examined]) -> dict[str, str]:
    """Errors of the mean diameter by cut, and how often the stated interval holds the truth."""
    errors: dict[bool, list[float]] = {True: [], False: []}
    covered = []
    for one in examinations:
        stone = truth_of(cases, one)["stone"]
        if one.result.diameters is None:
            continue
        part = "diameter_mm" if stone["visible_fraction"] > 0.96 else "visible_diameter_mm"
        mean, true = one.result.diameters.mean, stone[part]["mean"]
        errors[stone["cut"] in ROUND].append(100 * abs(mean.value / true - 1))
        covered.append(abs(mean.value - true) <= mean.expanded)
    shown = {
        key: f"{np.median(values):.2f} / {max(values):.2f} (n {len(values)})" if values else "–"
        for key, values in (("diam_round", errors[True]), ("diam_other", errors[False]))
    }
    return shown | {"diam_covered": f"{sum(covered)}/{len(covered)} ({np.mean(covered):.0%})"}


def calibration_error(judged_ones: Sequence[tuple[float, bool]]) -> float:
    """Expected calibration error of scores in ten bins of equal width (Naeini, Cooper & Hauskrecht 2015, AAAI)."""
    if not judged_ones:
        return float("nan")
    scores, real = np.array(judged_ones, float).T
    bins = np.minimum((scores * 10).astype(int), 9)
    gaps = [
        abs(scores[bins == b].mean() - real[bins == b].mean()) * (bins == b).mean() for b in np.unique(bins)
    ]
    return float(sum(gaps))


def calibration_figures(candidates: Judged) -> dict[str, str]:
    """Expected calibration errors of lines and of spots."""
    figures = {}
    for kind in ("line", "spot"):
        every = [(score, real) for its_kind, score, real in candidates if its_kind == kind]
        worth = [one for one in every if one[0] >= 0.1]
        figures[f"ece_{kind}"] = f"{calibration_error(every):.3f} / {calibration_error(worth):.3f}"
    return figures


def print_reliability(candidates: Judged) -> None:
    """Print, by tenth of the score, how many candidates are real."""
    print("\n| score | lines: mean score | real | spots: mean score | real |\n|---|---|---|---|---|")
    for low in range(10):
        cells = []
        for kind in ("line", "spot"):
            inside = [(s, r) for k, s, r in candidates if k == kind and min(int(s * 10), 9) == low]
            real = sum(r for _, r in inside)
            mean = f"{np.mean([s for s, _ in inside]):.2f}" if inside else "–"
            cells += [mean, f"{real}/{len(inside)} ({real / len(inside):.0%})" if inside else "–"]
        print(f"| {low / 10:.1f} to {(low + 1) / 10:.1f} | " + " | ".join(cells) + " |")


def shown(value: object) -> str:
    """Write a figure of the scorer for the table."""
    return f"{value:.2f}" if isinstance(value, float) else str(value)


def measured(cases: Path, way: str) -> tuple[Mapping[str, Any], Mapping[str, Mapping[str, Any]], Judged]:
    """All figures of one way, those of each case, and the judged candidates."""
    lamps = way if way in LAMPS else "both"
    examinations = list(examined(cases, LAMPS[lamps], learned=way != "rules"))
    seen = {"fis_lamp": lamps, "inc_lamp": lamps} if lamps != "both" else {}
    groups, by_case = load_scorer(cases).run(str(cases), predictions(examinations), **seen)
    candidates = list(judged(cases, examinations, **seen))
    figures = groups["ALL"] | diameter_figures(cases, examinations) | calibration_figures(candidates)
    clean = [one for one in examinations if not truth_of(cases, one)["inclusions"]]
    false = [s >= LIKELY and not real for kind, s, real in judged(cases, clean, **seen) if kind == "spot"]
    figures["false_inclusions_per_clean"] = sum(false) / len(clean) if clean else float("nan")
    return figures, by_case, candidates


def main() -> None:
    """Examine, score, print tables in Markdown."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("cases", type=Path)
    parser.add_argument("--ways", nargs="+", choices=list(HEADS), default=list(HEADS))
    parser.add_argument("--by-case", action="store_true", help="also one line a case")
    arguments = parser.parse_args()
    results = {way: measured(arguments.cases, way) for way in arguments.ways}
    heads = [HEADS[way] for way in results]
    print(
        "| figure | "
        + " | ".join(heads)
        + " | naive baseline | goal |\n|---|---|---"
        + "|---" * len(heads)
        + "|"
    )
    for key, text, baseline, goal in FIGURES:
        cells = [shown(figures[key]) for figures, *_ in results.values()]
        print(f"| {text} | " + " | ".join(cells) + f" | {baseline} | {goal} |")
    print(
        "\n\\* The baseline is told the printed length; it reads no text. It is quoted for the development stones."
    )
    _, by_case, candidates = next(iter(results.values()))
    print_reliability(candidates)
    if arguments.by_case:
        print("\n| case | " + " | ".join(BY_CASE) + " |\n|---" + "|---" * len(BY_CASE) + "|")
        for case, row in sorted(by_case.items()):
            print(f"| {case} | " + " | ".join(shown(row[k]) for k in BY_CASE) + " |")


if __name__ == "__main__":
    main()
