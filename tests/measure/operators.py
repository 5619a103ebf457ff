"""Prints what the cues are worth: three operators, with and without them, through the real loop."""

from pathlib import Path

from supervisor.bench.drill import drill

SCENARIOS = Path(__file__).parents[2] / "config" / "scenarios"

print("| operator | cues | peak cell, V | opened, min | how it ended | trips |")
print("|---|---|---|---|---|---|")
for who in ("careful", "hasty", "asleep"):
    for cues in ("", "-guided"):
        result = drill(SCENARIOS / f"operator-{who}{cues}.yaml")
        ended_s = result.finished_at_s or result.trip_at_s or 0.0
        how = f"tripped by {result.tripped_by}" if result.tripped_by else result.outcome
        print(
            f"| {who} | {'followed' if cues else 'not seen'} | {result.peak_cell_v:.3f} "
            f"| {ended_s / 60:.1f} | {how} | {result.trips} |"
        )
