"""A thousand simulated hours without a fault: does any rule trip? Prints; asserts nothing.

50 and 60 Hz, each +-0.5 Hz; every session starts a little before the steep end, so that most of its
time is the hold, where the limits are near. See support/careful_charge.py for what is simulated.
"""

import sys
import time
from collections import Counter
from multiprocessing import Pool
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "support"))

from careful_charge import CarefulCharge

from supervisor.protection.decision import Protection
from supervisor.protection.verdict import State
from supervisor.sizing.fitness import load_fit

SETTINGS = Path(__file__).parents[2] / "config" / "hut-bank.yaml"
HERTZ = (49.5, 50.0, 50.5, 59.5, 60.0, 60.5)
SESSION_HOURS = 8.0
WINDOW_MS = 200  # the longer one there is: half the work

Outcome = tuple[int, float, float, list[str], Counter[str]]


def session(seed: int) -> Outcome:
    """Seed, hours, highest cell voltage, trips, and windows in which a rule was not clear."""
    settings = load_fit(SETTINGS)
    loop = settings.loop.model_copy(update={"window_milliseconds": WINDOW_MS})
    settings = settings.model_copy(update={"loop": loop})
    protection = Protection(settings)
    charge = CarefulCharge(
        settings, seed, HERTZ[seed % len(HERTZ)], state_of_charge=0.986 + 0.001 * (seed % 10)
    )
    trips: list[str] = []
    not_clear: Counter[str] = Counter()
    for now_s, readings in charge.readings(SESSION_HOURS):
        decision = protection.judge(readings, now_s)
        if decision.trip:
            trips.append(f"{now_s:.1f} s: {decision.trip.rule}: {decision.trip.reason}")
            break
        not_clear.update(
            f"{v.rule} {v.state.value}" for v in decision.verdicts if v.state is not State.CLEAR
        )
    return seed, charge.hours, charge.highest_v, trips, not_clear


def main(hours: float, processes: int | None) -> None:
    began_s = time.monotonic()
    seeds = range(round(hours / SESSION_HOURS))
    done_h, highest_v, trips, not_clear = 0.0, 0.0, 0, Counter[str]()
    with Pool(processes) as pool:
        for seed, ran_h, session_v, tripped, states in pool.imap_unordered(session, seeds):
            done_h += ran_h
            highest_v = max(highest_v, session_v)
            trips += len(tripped)
            not_clear += states
            print(f"{done_h:.0f} h, {trips} trips", flush=True)
            for words in tripped:
                print(f"session {seed}: {words}", flush=True)
    print(f"{done_h:.0f} h without a trip, {trips} trips; highest cell {highest_v:.4f} V")
    for words, windows in not_clear.most_common():
        print(f"  {words}: {windows} windows")
    print(f"{time.monotonic() - began_s:.0f} s")


if __name__ == "__main__":
    main(
        float(sys.argv[1]) if len(sys.argv) > 1 else 1000.0,
        int(sys.argv[2]) if len(sys.argv) > 2 else None,
    )
