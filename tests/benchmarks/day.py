"""A day of running in virtual time, in a process of its own: does anything grow?

``python tests/benchmarks/day.py QUARTERS FOLDER`` is that process: a line of JSON a quarter of an
hour.
"""

import gc
import json
import logging
import os
import subprocess
import sys
import tempfile
import tracemalloc
from pathlib import Path
from statistics import linear_regression

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from bench_settings import level_settings, settings_of
from figures import Figure, Lines
from machine import memory_mb
from still_board import StillBoard

from supervisor.control.publisher import StatusFile
from supervisor.journal import writer

TITLE = "a day of running, in virtual time"
QUARTERS, QUICK_QUARTERS, QUARTER_S = 96, 4, 900.0
SETTLED_QUARTERS, QUICK_SETTLED = 4, 1  # until what grows at first has grown
TRACED_S, TRACE_SETTLES_S = 400.0, 100.0  # of the last quarter of an hour
# Not for real mains: no ripple here, and a day is to end.
RARELY = {"window_milliseconds": 200, "scans_per_window": 4}
SPEED = 50  # of virtual time, about: the writer commits by the real clock
JOURNAL_BYTES = 500_000_000
GOALS = {"rss_mb": ("MB", 0.05), "objects": ("", 50.0), "blocks": ("", 500.0), "files": ("", 0.0)}


def measure(*, quick: bool) -> Lines:
    quarters, settled = (QUICK_QUARTERS, QUICK_SETTLED) if quick else (QUARTERS, SETTLED_QUARTERS)
    yield f"{quarters / 4:g} h closed at 80 A on chips that are three numbers, in virtual time: the"
    yield "real loop, driver, journal and status file, one cycle every 50 ms. Slopes are from"
    yield f"{settled / 4:g} h on, by least squares."
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, __file__, str(quarters), folder]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
    *seen, traced = (json.loads(line) for line in done.stdout.splitlines())
    for what, (unit, most_an_hour) in GOALS.items():
        values = [at[what] for at in seen[settled - 1 :]]
        yield Figure(f"{what} after {settled / 4:g} h", values[0], unit)
        yield Figure(f"{what} {0.25 * (len(values) - 1):g} h later", values[-1], unit)
        slope = 4 * linear_regression(range(len(values)), values).slope
        yield Figure(f"{what}: slope", slope, f"{unit}/h", at_most=most_an_hour)
    last = "tracemalloc, last 5 min"
    yield Figure(f"{last}: kept more at its end", traced["grown_kb"], "kB", at_most=200)
    yield Figure(f"{last}: peak above that", traced["peak_kb"], "kB")
    yield "The most that was kept: " + "; ".join(traced["most"])
    yield Figure("circuit opened meanwhile", traced["opened"], "", at_most=0)


def _now() -> dict[str, float]:
    gc.collect()
    files = len(os.listdir("/proc/self/fd"))
    counts = {"objects": len(gc.get_objects()), "blocks": sys.getallocatedblocks(), "files": files}
    return {"rss_mb": memory_mb(os.getpid())["Rss"], **counts}


def run(quarters: int, folder: Path) -> None:
    settings = settings_of(level_settings(folder))
    loop = settings.loop.model_copy(update=RARELY)
    settings = settings.model_copy(update={"loop": loop})
    run_dir, state_dir = folder / "run", folder / "state"
    run_dir.mkdir()
    state_dir.mkdir()
    writer.COMMIT_EVERY_S /= SPEED
    journal = writer.Writer(state_dir, JOURNAL_BYTES, lambda: board.clock.wall().timestamp())
    board = StillBoard(settings, state_dir, publisher=StatusFile(run_dir), journal=journal)
    board.close_circuit()
    for _ in range(quarters - 1):
        board.run(QUARTER_S)
        print(json.dumps(_now()), flush=True)
    board.run(QUARTER_S - TRACED_S)
    print(json.dumps(_traced(board) | {"opened": int(not board.coil_on)}))
    board.loop.close()


def _traced(board: StillBoard) -> dict[str, object]:
    """What is allocated in the last five minutes, and kept."""
    tracemalloc.start(1)
    board.run(TRACE_SETTLES_S)
    gc.collect()
    before, before_bytes = tracemalloc.take_snapshot(), tracemalloc.get_traced_memory()[0]
    tracemalloc.reset_peak()
    board.run(TRACED_S - TRACE_SETTLES_S)
    peak_bytes = tracemalloc.get_traced_memory()[1]
    gc.collect()
    after_bytes = tracemalloc.get_traced_memory()[0]
    grown = tracemalloc.take_snapshot().compare_to(before, "lineno")
    most = [f"{one.traceback} {one.size_diff / 1000:+.1f} kB" for one in grown[:5]]
    return {
        "grown_kb": (after_bytes - before_bytes) / 1000,
        "peak_kb": (peak_bytes - after_bytes) / 1000,
        "most": most,
    }


if __name__ == "__main__":
    logging.disable(logging.INFO)
    run(int(sys.argv[1]), Path(sys.argv[2]))
