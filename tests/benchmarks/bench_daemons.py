"""The daemon on stand-ins for the kernel's I2C and GPIO, its page, and what loads the machine."""

import json
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from machine import environment, in_realtime, running
from page_load import Load, crowd, started
from stand_in.page import Page

from supervisor.control.requests import ask

STAND_IN = Path(__file__).parent / "stand_in"
FRONT_V, FAR_V, SHUNT_V = 3.4015, 3.399, 0.0201  # the shunt's: 80 A; codes that end unlike
COMPILED = """
import supervisor.bench.rig, supervisor.cli.messages, supervisor.cli.run, supervisor.cli.web
import supervisor.devices.pins, supervisor.messages.courier, supervisor.status.server
"""
COMES_UP_WITHIN_S, CLOSES_WITHIN_S = 30.0, 20.0


class CannotMeasure(Exception):
    """Something that this machine lacks; the words say what."""


@dataclass
class Bench:
    """One daemon at work, and the page of memory through which it is watched."""

    process: subprocess.Popen[bytes]
    page: Page
    run_dir: Path
    state_dir: Path

    def status(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads((self.run_dir / "status.json").read_text("utf-8"))
        return found

    def close_circuit(self) -> None:
        """Whatever happened before, lockout included."""
        until_s = time.monotonic() + CLOSES_WITHIN_S
        while not self.page.get("coil_on"):
            ask(self.run_dir, "reset", "benchmark")
            reply = ask(self.run_dir, "close")
            if time.monotonic() > until_s:
                raise CannotMeasure(f"the circuit does not close: {reply.message}")
            time.sleep(0.05)


def wire_library(folder: Path) -> Path:
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        raise CannotMeasure("there is no C compiler for the stand-in wire: apt install gcc")
    library = folder / "wire.so"
    source = STAND_IN / "wire.c"
    command = [compiler, "-O2", "-Wall", "-shared", "-fPIC", "-o", library, source, "-ldl"]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    if done.returncode:
        raise CannotMeasure(f"the stand-in wire does not compile: {done.stderr.strip()}")
    return library


def on_the_wire(folder: Path, kilohertz: int = 100) -> tuple[Page, dict[str, str]]:
    """A page of memory, and the environment of a process whose /dev/i2c-N is the stand-in."""
    page = Page(folder / "page")
    page.set(kilohertz=kilohertz, front_v=FRONT_V, far_v=FAR_V, closed_shunt_v=SHUNT_V)
    return page, {"LD_PRELOAD": str(wire_library(folder)), "STAND_IN_PAGE": str(folder / "page")}


@contextmanager
def daemon(
    folder: Path, settings: Path, *, lateness: bool = False, realtime: bool = True
) -> Iterator[Bench]:
    """The real command on the stand-ins, supervising, the circuit open."""
    page, env = on_the_wire(folder)
    if lateness:
        env["STAND_IN_LATENESS"] = "1"
    run_dir, state_dir = folder / "run", folder / "state"
    where = ("--run-dir", str(run_dir), "--state-dir", str(state_dir))
    command = [sys.executable, str(STAND_IN / "daemon.py"), "run", str(settings), *where]
    with running(in_realtime(command) if realtime else command, env) as process:
        wait_for((run_dir / "status.json").exists, process)
        yield Bench(process, page, run_dir, state_dir)


def wait_for(seen: Callable[[], bool], process: subprocess.Popen[bytes]) -> None:
    until_s = time.monotonic() + COMES_UP_WITHIN_S
    while not seen():
        if process.poll() is not None or time.monotonic() > until_s:
            raise CannotMeasure(f"it did not start: {process.args!r}")
        time.sleep(0.001)


@contextmanager
def crowded(bench: Bench) -> Iterator[None]:
    """The page with 50 streams, a scraper, trends and a slow-loris client."""
    where = ("--run-dir", str(bench.run_dir), "--state-dir", str(bench.state_dir))
    with started("web", *where, "--port", "0", ready="Page:") as (_, line):
        load = Load(int(line.strip().rstrip("/").rpartition(":")[2]))
        crowd(load, bench.run_dir)
        try:
            yield
        finally:
            load.end()


@contextmanager
def busy_disk(folder: Path) -> Iterator[None]:
    """The disk that the journal and the lockout are on, written and flushed without end."""
    stress = shutil.which("stress-ng")
    writer = f"import os\nf = os.open({str(folder / 'filler')!r}, os.O_WRONLY | os.O_CREAT)\n" + (
        "while True:\n for n in range(64): os.pwrite(f, bytes(1 << 20), n << 20); os.fsync(f)"
    )
    options = ["--hdd", "2", "--hdd-bytes", "64M", "--hdd-opts", "wr-seq,fsync"]
    mine = [stress, *options, "--temp-path", str(folder)] if stress else []
    with running(mine or [sys.executable, "-c", writer]):
        yield


@contextmanager
def loaded(bench: Bench, folder: Path, *kinds: str) -> Iterator[None]:
    with ExitStack() as loads:
        if "page" in kinds:
            loads.enter_context(crowded(bench))
        if "disk" in kinds:
            loads.enter_context(busy_disk(folder))
        time.sleep(1)
        yield


@contextmanager
def as_installed(folder: Path) -> Iterator[None]:
    """Modules are compiled already, as an installation does, whatever the shell says."""
    compiled = {"PYTHONPYCACHEPREFIX": str(folder / "compiled"), "PYTHONDONTWRITEBYTECODE": ""}
    with environment(compiled):
        subprocess.run([sys.executable, "-c", COMPILED], check=True)
        yield
