"""From the voltage crossing the limit to the edge at the coil, in real time, under load."""

import tempfile
import time
from contextlib import suppress
from pathlib import Path
from random import Random

from bench_daemons import Bench, CannotMeasure, daemon, loaded
from bench_settings import level_settings, settings_of
from figures import Figure, Lines, spread
from machine import may_be_realtime
from response_virtual import ALLOWED_S, STEPPED_V

from supervisor.settings.model import SupervisorSettings

TITLE = "response of the high set, in real time under load"
FOR_S, QUICK_S = 120.0, 20.0
OPENS_WITHIN_S = 5.0
NS = 1_000_000  # in a millisecond
STEP_AHEAD_S = (0.3, 0.4)  # from the closing; longer than a self-check, at a random phase
Crossing = tuple[float, float, float]  # ms: waited, confirmed, then to the edge


def measure(*, quick: bool) -> Lines:
    for kinds, words in (((), "idle"), (("page", "disk"), "50 streams, scraper, disk stress")):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            file = level_settings(folder)
            settings, for_s = settings_of(file), QUICK_S if quick else FOR_S
            with daemon(folder, file) as bench, loaded(bench, folder, *kinds):
                found, others = crossings(bench, settings, for_s if kinds else for_s / 4)
        yield from _told(words, found, others, settings)


def _told(words: str, found: list[Crossing], others: int, settings: SupervisorSettings) -> Lines:
    k, cycle_s = settings.protection.overvoltage_high_set.confirm, settings.loop.cycle_s
    kilohertz = settings.bus.kilohertz
    scheduled = "SCHED_RR" if may_be_realtime() else "the default class: SCHED_RR is not permitted"
    yield f"{words}: the daemon in real time, {scheduled}; wire stood in for, {kilohertz} kHz;"
    yield "the edge is that of a mock pin, and a kernel's takes some us more."
    waited, confirmed, rest = ([one[part] for one in found] for part in range(3))
    allowed_ms = 1000 * (k * cycle_s + ALLOWED_S)
    yield from spread(f"{words}: crossing to edge", [sum(one) for one in found], at_most=allowed_ms)
    yield from spread("  of it: the first conversion over the limit ended", waited)
    yield from spread(f"  of it: from there to the end of the {k}. of that channel", confirmed)
    yield from spread("  of it: from there to the edge, judging and acting", rest, at_most=2.0)
    yield Figure(f"{words}: openings by something else (a late loop, ...)", others, "")


def crossings(
    bench: Bench, settings: SupervisorSettings, for_s: float
) -> tuple[list[Crossing], int]:
    """As many as fit, and how many openings were by other rules."""
    random, until_s = Random(1), time.monotonic() + for_s
    k, found, others = settings.protection.overvoltage_high_set.confirm, [], 0
    while time.monotonic() < until_s:
        bench.close_circuit()
        ahead_s = random.uniform(*STEP_AHEAD_S)
        step_ns = time.monotonic_ns() + int(ahead_s * 1e9)
        bench.page.set(stepped_v=STEPPED_V, past_step=0)
        bench.page.set(step_at_ns=step_ns)
        _wait_for_opening(bench)
        edge_ns, ended = bench.page.get("coil_edge_ns"), [end for _, end in bench.page.samples()]
        bench.page.set(step_at_ns=0)
        if edge_ns < step_ns or len(ended) < k or not _by_high_set(bench):
            others += 1
            continue
        parts = (ended[0] - step_ns, ended[k - 1] - ended[0], edge_ns - ended[k - 1])
        found.append((parts[0] / NS, parts[1] / NS, parts[2] / NS))
    return found, others


def _wait_for_opening(bench: Bench) -> None:
    until_s = time.monotonic() + OPENS_WITHIN_S
    while bench.page.get("coil_on"):
        if time.monotonic() > until_s or bench.process.poll() is not None:
            raise CannotMeasure("the circuit did not open")
        time.sleep(0.002)


def _by_high_set(bench: Bench) -> bool:
    until_s = time.monotonic() + OPENS_WITHIN_S
    while time.monotonic() < until_s:
        with suppress(OSError, ValueError):
            if lockout := bench.status()["lockout"]:
                return bool(lockout["tripped_by"] == "overvoltage_high_set")
        time.sleep(0.01)
    return False
