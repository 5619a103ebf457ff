"""How late the loop's cycles begin, beside what the kernel itself can do on this machine."""

import re
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

from bench_daemons import daemon, loaded
from bench_settings import EXAMPLE, level_settings, settings_of
from figures import Figure, Lines, quantile, spread
from machine import PRIORITY, may_be_realtime

TITLE = "lateness of the loop"
FOR_S, QUICK_S = 60.0, 8.0
INTERVAL_US, LONGEST_US = 14_000, 100_000
LOADS = {
    "idle": (),
    "50 streams, scraper": ("page",),
    "disk stress": ("disk",),
    "both": ("page", "disk"),
}


def measure(*, quick: bool) -> Lines:
    for_s = QUICK_S if quick else FOR_S
    yield "The daemon in real time on the stand-in wire, late as its own pacer says; after it"
    yield f"cyclictest (rt-tests) every 14 ms under the same load, SCHED_RR {PRIORITY} both."
    if not may_be_realtime():
        yield "SCHED_RR is NOT permitted here: the default class, and worse than with the unit."
    for words, kinds in LOADS.items():
        yield from _under(words, kinds, for_s)
    yield from _under("idle, default class", (), for_s, realtime=False)


def _under(words: str, kinds: tuple[str, ...], for_s: float, *, realtime: bool = True) -> Lines:
    period_s = settings_of(EXAMPLE).loop.cycle_s
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with (
            daemon(folder, level_settings(folder), lateness=True, realtime=realtime) as bench,
            loaded(bench, folder, *kinds),
        ):
            first = int(bench.page.get("cycles"))
            time.sleep(for_s)
            late_s = bench.page.lateness_s(first)
            kernel = _cyclictest(for_s) if realtime and may_be_realtime() else None
    yield from spread(f"{words}: loop late", [1000 * late for late in late_s])
    yield Figure(f"{words}: cycles that missed a beat", sum(late > period_s for late in late_s), "")
    if kernel is not None:
        yield from spread(f"{words}: cyclictest", kernel)
        ratio = quantile([1000 * late for late in late_s], 0.99) / max(quantile(kernel, 0.99), 1e-3)
        yield Figure(f"{words}: loop over cyclictest, p99", ratio, "times")
    elif realtime:
        yield Figure(f"{words}: cyclictest", None, why="apt install rt-tests; needs SCHED_RR")


def _cyclictest(for_s: float) -> list[float] | None:
    """Milliseconds late, each; from its histogram of microseconds."""
    if shutil.which("cyclictest") is None:
        return None
    command = ["cyclictest", "-m", "-q", "-p", str(PRIORITY), "--policy=rr"]
    command += ["-i", str(INTERVAL_US), "-D", str(int(for_s)), "-h", str(LONGEST_US)]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    rows = re.findall(r"^(\d{6})\s+(\d+)$", done.stdout, re.MULTILINE)
    return [int(us) / 1000 for us, count in rows for _ in range(int(count))] or None
