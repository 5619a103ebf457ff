"""Processor and memory of each process, as near to real devices as can be had without them."""

import json
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

from bench_daemons import Bench, as_installed, daemon
from bench_settings import level_settings
from figures import Figure, Lines
from machine import memory_mb, processor_share, running
from page_load import HOLDWATCH, Load, started
from patient import patient_scenario

TITLE = "processor and memory"
FOR_S, QUICK_S, SETTLES_S = 60.0, 8.0, 5.0
GOALS = {"run": (4.0, 45.0), "web": (None, 45.0)}


def measure(*, quick: bool) -> Lines:
    for_s = QUICK_S if quick else FOR_S
    yield "MB is 10^6 bytes; memory is judged by RSS. Percent of one core. `run` is the real"
    yield "command, driver and bus library, closed, at the example's settings; the kernel's side of"
    yield "the wire sleeps and costs next to nothing here; a real one: some tens of us a transfer."
    with tempfile.TemporaryDirectory() as name, as_installed(Path(name)):
        yield from _each_process(Path(name), for_s)
        yield from _simulated(Path(name), for_s)


def _each_process(folder: Path, for_s: float) -> Lines:
    with ExitStack() as stack:
        bench = stack.enter_context(daemon(folder, level_settings(folder)))
        bench.close_circuit()
        where = ("--run-dir", str(bench.run_dir), "--state-dir", str(bench.state_dir))
        web, line = stack.enter_context(started("web", *where, "--port", "0", ready="Page:"))
        messages = stack.enter_context(running(_messages(bench, folder)))
        pids = {"run": bench.process.pid, "web": web.pid, "messages": messages.pid}
        time.sleep(SETTLES_S)
        yield from _told("", pids, for_s)
        load = Load(int(line.strip().rstrip("/").rpartition(":")[2]))
        load.begin(load.stream, "127.0.0.1")
        load.begin(load.ask, "/metrics", 5.0)
        load.begin(load.ask, "/api/history?minutes=120", 10.0)
        yield from _told(", one phone, a scraper, trends", {"web": web.pid}, for_s)
        load.end()


def _told(words: str, pids: dict[str, int], for_s: float) -> Lines:
    shares = processor_share(pids, for_s)
    for name, pid in pids.items():
        most_percent, most_mb = GOALS.get(name, (None, None))
        memory = memory_mb(pid)
        yield Figure(f"{name}{words}: processor", shares[name], "%", at_most=most_percent)
        yield Figure(f"{name}{words}: RSS", memory["Rss"], "MB", at_most=most_mb)
        yield Figure(f"{name}{words}: PSS", memory["Pss"], "MB")


def _messages(bench: Bench, folder: Path) -> list[str]:
    """To nobody that is there; nothing happens that it would tell."""
    settings = folder / "messages.yaml"
    settings.write_text(json.dumps({"targets": {"nobody": {"url": "json://localhost:9"}}}), "utf-8")
    settings.chmod(0o600)
    where = ["--run-dir", str(bench.run_dir), "--state-dir", str(bench.state_dir)]
    return [*HOLDWATCH, "messages", str(settings), *where, "--sent-dir", str(folder / "sent")]


def _simulated(folder: Path, for_s: float) -> Lines:
    yield "With the whole simulator in its process; what that has more is the simulator's:"
    scenario = folder / "scenario.yaml"
    scenario.write_text(patient_scenario(seconds=3600), "utf-8")
    where = ["--run-dir", str(folder / "run2"), "--state-dir", str(folder / "state2")]
    with running([*HOLDWATCH, "run", "--simulate", str(scenario), *where]) as process:
        time.sleep(SETTLES_S)
        yield from _told("", {"run --simulate": process.pid}, for_s)
