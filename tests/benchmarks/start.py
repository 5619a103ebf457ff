"""From the start of the process to the first judged reading, and where the time goes."""

import json
import re
import statistics
import subprocess
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

from bench_daemons import STAND_IN, as_installed, on_the_wire, wait_for
from bench_settings import EXAMPLE
from figures import Figure, Lines
from machine import in_realtime, running
from page_load import HOLDWATCH
from patient import patient_scenario

TITLE = "start to the first judged reading"
TIMES, QUICK_TIMES, SHOWN = 7, 3, 10
JUDGED = {"clear", "timing", "trip"}
IMPORTS = "import supervisor.cli.run, supervisor.devices.pins"
PARTS = (
    "Python and imports",
    "settings read, pins, until the bus is opened",
    "assembling to first judged",
)


def measure(*, quick: bool) -> Lines:
    times = QUICK_TIMES if quick else TIMES
    yield f"Median of {times}; modules compiled beforehand, as an installation does. From exec to"
    yield "the first status file with a rule that says clear, timing or trip. In the unit's class."
    with tempfile.TemporaryDirectory() as name, as_installed(Path(name)):
        real = [_start_on_the_wire() for _ in range(times)]
        yield _figure("run, on the stand-in wire", [sum(one) for one in real], at_most=1.0)
        for number, words in enumerate(PARTS):
            yield _figure(f"  of it: {words}", [one[number] for one in real])
        simulated = [_start_simulated() for _ in range(times)]
        yield _figure("run --simulate", simulated, at_most=1.0)
        yield _figure("Python alone", [_timed("pass") for _ in range(times)])
        yield from _import_times()


def _figure(what: str, times_s: list[float], at_most: float | None = None) -> Figure:
    worst = f"worst {max(times_s):.2f}" if len(times_s) > 1 else ""
    return Figure(what, statistics.median(times_s), "s", at_most=at_most, why=worst)


def _start_on_the_wire() -> tuple[float, ...]:
    """Until imported, until the bus was opened, until judged; each from the one before."""
    with tempfile.TemporaryDirectory() as name:
        page, env = on_the_wire(Path(name))
        command = [sys.executable, str(STAND_IN / "daemon.py"), "run", str(EXAMPLE)]
        began_s = time.monotonic()
        judged_s = _first_judged(command, name, env)
        marks_s = [page.get(mark) / 1e9 - began_s for mark in ("imported_ns", "opened_ns")]
    return tuple(b - a for a, b in pairwise([0.0, *marks_s, judged_s]))


def _start_simulated() -> float:
    with tempfile.TemporaryDirectory() as name:
        scenario = Path(name) / "scenario.yaml"
        scenario.write_text(patient_scenario(), "utf-8")
        return _first_judged([*HOLDWATCH, "run", "--simulate", str(scenario)], name, {})


def _first_judged(command: list[str], folder: str, env: dict[str, str]) -> float:
    run_dir, state_dir = Path(folder) / "run", Path(folder) / "state"
    where = ["--run-dir", str(run_dir), "--state-dir", str(state_dir)]
    began_s = time.monotonic()
    with running(in_realtime([*command, *where]), env) as process:
        wait_for(lambda: _is_judged(run_dir / "status.json"), process)
        return time.monotonic() - began_s


def _is_judged(status: Path) -> bool:
    try:
        found: dict[str, Any] = json.loads(status.read_bytes())
    except (OSError, ValueError):
        return False
    return any(rule["state"] in JUDGED for rule in found["rules"])


def _python(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = in_realtime([sys.executable, *arguments])
    return subprocess.run(command, capture_output=True, text=True, check=True)


def _timed(program: str) -> float:
    began_s = time.monotonic()
    _python("-c", program)
    return time.monotonic() - began_s


def _import_times() -> Lines:
    """`-X importtime`: microseconds of a module itself, and with all that it pulled in."""
    told = _python("-X", "importtime", "-c", IMPORTS).stderr
    found = re.findall(r"^import time:\s+(\d+) \|\s+(\d+) \|\s+(\S+)$", told, re.MULTILINE)
    rows = [(int(own), int(whole), name) for own, whole, name in found]
    for words, column in (("itself", 0), ("with what it pulls in", 1)):
        yield f"Imports, the longest {SHOWN} {words}, ms:"
        longest = sorted(rows, key=lambda row, c=column: -row[c])[:SHOWN]
        yield "  " + ", ".join(f"{row[2]} {row[column] / 1000:.0f}" for row in longest)
