"""Prints what the cues are worth: three operators, with and without them, through the real loop."""

from pathlib import Path

from supervisor.bench.drill import play
from supervisor.bench.rig import Rig
from supervisor.bench.scenario import load_scenario

SCENARIOS = Path(__file__).parents[2] / "config" / "scenarios"


def how_it_ended(rig: Rig, outcome: str) -> str:
    """In the words of the page."""
    events = rig.shown.events if rig.shown else ()
    return next((event.text for event in events if event.code in ("finished", "trip")), outcome)


print("| operator | cues | peak cell, V | opened, min | how it ended | trips |")
print("|---|---|---|---|---|---|")
for who in ("careful", "hasty", "asleep"):
    for cues in ("", "-guided"):
        rig, witness, outcome = play(*load_scenario(SCENARIOS / f"operator-{who}{cues}.yaml"))
        ended_s = witness.finished_at_s or witness.trip_at_s or rig.elapsed_s
        print(
            f"| {who} | {'followed' if cues else 'not seen'} | {witness.peak_cell_v:.3f} "
            f"| {ended_s / 60:.1f} | {how_it_ended(rig, outcome)} | {len(witness.trips)} |",
            flush=True,
        )
