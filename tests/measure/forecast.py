"""Prints how good the forecasts of the time to the limit are: median and worst error by bank."""

import sys
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from forecasts import BANKS, MINUTES_BEFORE, at, forecasts

HUT = Path(__file__).parents[2] / "config" / "hut-bank.yaml"
SEEDS = range(1, 8)

print("| bank | min before | told in | median error | worst error | truth in the interval |")
print("|---|---|---|---|---|---|")
for bank in BANKS:
    runs = [forecasts(HUT, bank, seed) for seed in SEEDS]
    for minutes in MINUTES_BEFORE:
        told = [one for run in runs if (one := at(run, minutes)).best_s is not None]
        errors = [(one.best_s or 0.0) / one.before_s - 1 for one in told]
        within = [(one.low_s or 0) <= one.before_s <= (one.high_s or 0) for one in told]
        if not told:
            print(f"| {bank} | {minutes} | 0 of {len(runs)} | - | - | - |")
            continue
        worst = max(errors, key=abs)
        print(
            f"| {bank} | {minutes} | {len(told)} of {len(runs)} | {median(errors):+.0%} "
            f"| {worst:+.0%} | {sum(within)} of {len(within)} |"
        )
