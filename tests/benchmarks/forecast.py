"""Prints how good the forecasts of the time to the limit are: every one that was told, on early and
late starts and after turns of the knob; then median and worst error by bank, minutes before."""

import sys
from collections.abc import Iterable
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from forecasts import BANKS, MINUTES_BEFORE, STARTS, TURNED, Charge, Told, at, forecasts, judged

HUT = Path(__file__).parents[2] / "config" / "hut-bank.yaml"
SEEDS = range(1, 8)


def tell(name: str, runs: Iterable[list[Told]]) -> None:
    found = judged(one for run in runs for one in run)
    print(
        f"| {name} | {found.told} | {found.too_late} | {found.outside} "
        f"| {found.latest_share:.2f} | {found.silent} of {found.due} |",
        flush=True,
    )


def runs_of(charges: Iterable[Charge]) -> list[list[Told]]:
    return [forecasts(HUT, charge, seed) for seed, charge in enumerate(charges, 11)]


by_bank = {bank: [forecasts(HUT, BANKS[bank], seed) for seed in SEEDS] for bank in BANKS}
print("| every forecast | told | limit before the earliest | outside | latest, of truth | silent |")
print("|---|---|---|---|---|---|")
for bank, runs in by_bank.items():
    tell(f"{bank}, seven draws", runs)
for cells in sorted({charge.cells for charge in STARTS}):
    for chemistry in sorted({charge.chemistry for charge in STARTS}):
        wanted = [one for one in STARTS if (one.cells, one.chemistry) == (cells, chemistry)]
        tell(f"{cells} x 280 Ah, {chemistry}, {len(wanted)} starts", runs_of(wanted))
tell(f"{len(TURNED)} with turns of the knob", runs_of(TURNED))

print()
print("| bank | min before | told in | median error | worst error | truth in the interval |")
print("|---|---|---|---|---|---|")
for bank, runs in by_bank.items():
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
