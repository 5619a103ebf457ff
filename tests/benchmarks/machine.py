"""The machine that is measured on, and what the kernel says of a process (proc(5))."""

import os
import platform
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

PRIORITY = 20  # of the daemon's unit: CPUSchedulingPolicy=rr
CHRT = ["chrt", "--rr", str(PRIORITY)]
UNHEARD: Any = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
TICKS = os.sysconf("SC_CLK_TCK")


@cache
def may_be_realtime() -> bool:
    if shutil.which("chrt") is None:
        return False
    return subprocess.run([*CHRT, "true"], check=False, **UNHEARD).returncode == 0


def in_realtime(command: list[str]) -> list[str]:
    """The command in the class that the unit gives the daemon, where that is permitted."""
    return [*CHRT, *command] if may_be_realtime() else command


def description() -> Iterator[str]:
    model = Path("/sys/firmware/devicetree/base/model")
    names = Path("/proc/cpuinfo").read_text("utf-8").splitlines()
    processor = next((n.partition(": ")[2] for n in names if n.startswith("model name")), "")
    name = model.read_text("utf-8").strip("\0") if model.exists() else processor
    load = " ".join(f"{value:.1f}" for value in os.getloadavg())
    yield f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    yield f"{name or platform.machine()}, {os.cpu_count()} cores, {platform.machine()}"
    yield f"kernel {platform.release()} ({platform.version()})"
    permitted = "is" if may_be_realtime() else "is NOT"
    yield f"Python {platform.python_version()}; SCHED_RR {permitted} permitted"
    yield f"load average before the start: {load} (1, 5, 15 min)"
    if os.getloadavg()[0] > 0.5:
        yield "THE MACHINE WAS BUSY with other work: figures of real time are worse than they are"


def processor_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text("ascii", "replace").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def memory_mb(pid: int) -> dict[str, float]:
    """Rss and Pss, in MB of 10^6 bytes; PSS takes the right to look."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text("ascii", "replace").splitlines()[1:]
    pairs = (line.split(":") for line in lines)
    return {key: int(rest.split()[0]) * 1024 / 1e6 for key, rest in pairs if key in ("Rss", "Pss")}


def processor_share(pids: dict[str, int], for_s: float) -> dict[str, float]:
    """Percent of one core, of each."""
    before, began_s = {n: processor_s(pid) for n, pid in pids.items()}, time.monotonic()
    time.sleep(for_s)
    took_s = time.monotonic() - began_s
    return {n: 100 * (processor_s(pid) - before[n]) / took_s for n, pid in pids.items()}


@contextmanager
def running(
    command: list[str], env: dict[str, str] | None = None
) -> Iterator[subprocess.Popen[bytes]]:
    """A child, ended with its block; what it says is not wanted."""
    with subprocess.Popen(command, env=os.environ | (env or {}), **UNHEARD) as process:
        try:
            yield process
        finally:
            process.terminate()
            process.wait()


@contextmanager
def environment(env: dict[str, str]) -> Iterator[None]:
    """For every child of the block."""
    before = dict(os.environ)
    os.environ.update(env)
    try:
        yield
    finally:
        os.environ.clear()
        os.environ.update(before)
