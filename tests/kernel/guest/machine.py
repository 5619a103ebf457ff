"""In the guest: what is wired to the virtual bus and pins, and the daemon as its own process.

The contactor, its driver and a bank that follows it, twenty times a second or more; everything the
daemon sees it sees through the kernel.
"""

import json
import os
import re
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).parents[3]
sys.path.insert(0, str(PROJECT))
os.environ.setdefault("HOME", "/tmp")

import supervisor.cli.run  # noqa: E402, F401  loaded once, for every daemon forked from here
from supervisor.cli.main import main  # noqa: E402
from supervisor.control.requests import ask  # noqa: E402  the daemon's own client

SHARE = Path("/mnt/share")
CHIPS = Path("/sys/kernel/debug/virtual_ads1115")
(LINES,) = Path("/sys/devices/platform/gpio-sim.0").glob("gpiochip*")
COIL, MAINS, AUXILIARY = 17, 22, 27
TICK_S = 0.004
RELEASE_S = 0.030
DROPOUT_S = 0.250  # of the pulse driver, contactor.dropout_milliseconds
SHUNT_UV_PER_A = 250  # 50 mV at 200 A
PATIENCE_S = 120
CLOSED_A = 60.0


def knob(chip: int, name: str, value: int | None = None) -> int:
    """Reads, or sets, what the virtual bus shows of a chip."""
    path = CHIPS / f"{chip:02x}" / name
    if value is not None:
        path.write_text(str(value & 0xFFFFFFFF))
    return int(path.read_text())


def level(pin: int) -> bool:
    return (LINES / f"sim_gpio{pin}" / "value").read_text().strip() == "1"


class Machine(threading.Thread):
    """Contactor, cells and shunt. ``cell_v`` and ``flows_a`` are set by the case."""

    def __init__(self, drive: str) -> None:
        super().__init__(daemon=True)
        self.drive = drive
        self.cell_v, self.flows_a = 3.30, CLOSED_A
        self.is_held = self.is_closed = False
        self.let_go_at_s = self.changed_at_s = time.monotonic()
        self.edges = 0
        self._was_high = level(COIL)
        self._fed_until_s = 0.0
        self._ended = threading.Event()
        self._ticks = 0
        self.start()

    def run(self) -> None:
        while not self._ended.is_set():
            self._tick(time.monotonic())
            time.sleep(TICK_S)

    def end(self) -> None:
        self._ended.set()
        self.join()

    def _tick(self, now_s: float) -> None:
        is_high = level(COIL)
        if is_high and not self._was_high:
            self.edges += 1
            self._fed_until_s = now_s + DROPOUT_S
        self._was_high = is_high
        is_held = is_high if self.drive == "level" else now_s < self._fed_until_s
        if self.is_held and not is_held:
            self.let_go_at_s = now_s
        self.is_held = is_held
        is_closed = is_held or (self.is_closed and now_s < self.let_go_at_s + RELEASE_S)
        if is_closed is not self.is_closed:
            self.is_closed, self.changed_at_s = is_closed, now_s
        self._show()

    def _show(self) -> None:
        self._ticks += 1
        flicker_uv = (0, 130, -90, 60, -140, 40)[self._ticks % 6]
        amperes = self.flows_a if self.is_closed else 0.0
        volts = self.cell_v + amperes * 0.0001
        for channel in ("mux0_uv", "mux3_uv"):  # 0-1 and 2-3: front and far cell
            knob(0x48, channel, round(volts * 1e6) + flicker_uv)
        knob(0x49, "mux0_uv", round(amperes * SHUNT_UV_PER_A) + flicker_uv // 10)
        bias = "pull-up" if self.is_closed else "pull-down"  # a mirror contact to ground
        (LINES / f"sim_gpio{AUXILIARY}" / "pull").write_text(bias)

    def wait(self, closed: bool, for_s: float) -> float | None:
        """Seconds until it is so; None when it is not by then."""
        began_s = time.monotonic()
        while time.monotonic() < began_s + for_s:
            if self.is_closed is closed:
                return max(0.0, self.changed_at_s - began_s)
            time.sleep(TICK_S)
        return None


def settings(folder: Path, drive: str, *, changes: dict[str, str] | None = None) -> Path:
    """The example, with that drive, without panel and rules that need more than this bench has."""
    text = (PROJECT / "config" / "hut-bank.yaml").read_text("utf-8")
    text = re.sub(
        r"\n# Buttons, buzzer and lamp.*?\n# Timing of", "\n# Timing of", text, flags=re.S
    )
    if drive == "level":
        text = text.replace("drive: pulse", "drive: level")
        text = re.sub(r"\n  dropout_milliseconds: \d+", "", text)
        slower = "fastest_rise_volts_per_second: 0.015"  # the lease is in its response
        text = text.replace("# fastest_rise_volts_per_second: 0.02", slower)
    for old, new in (changes or {}).items():
        assert old in text, old
        text = text.replace(old, new)
    path = folder / "bench.yaml"
    path.write_text(text, "utf-8")
    return path


class Daemon:
    """``holdwatch run`` on the virtual bus, as a process of its own; waits on what it says.

    Forked from here, where the program is loaded: under emulation that takes twenty seconds.
    """

    def __init__(
        self,
        folder: Path,
        drive: str,
        *,
        break_it: Callable[[], None] = lambda: None,
        changes: dict[str, str] | None = None,
    ) -> None:
        """``break_it`` runs in its process first."""
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.run_dir, self.state_dir = folder / "run", folder / "state"
        words = [
            "run", str(settings(folder, drive, changes=changes)),
            "--run-dir", str(self.run_dir), "--state-dir", str(self.state_dir),
        ]  # fmt: skip
        self.ended: int | None = None
        self.pid = os.fork()
        if self.pid == 0:
            self._be_it(words, break_it)

    def _be_it(self, words: list[str], break_it: Callable[[], None]) -> None:
        log = os.open(self.folder / "log", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        os.dup2(log, 1)
        os.dup2(log, 2)
        sys.argv = ["holdwatch", *words]
        try:
            break_it()
            main()
        except SystemExit as leaving:
            sys.stderr.flush()
            os._exit(leaving.code if isinstance(leaving.code, int) else 1)
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)

    def said(self) -> str:
        log = self.folder / "log"
        return log.read_text("utf-8", "replace") if log.exists() else ""

    def poll(self) -> int | None:
        """Its exit code, negative for a signal, once it has ended."""
        if self.ended is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            self.ended = os.waitstatus_to_exitcode(status) if pid else None
        return self.ended

    def wait(self, for_s: float = PATIENCE_S) -> int | None:
        ends_s = time.monotonic() + for_s
        while self.poll() is None and time.monotonic() < ends_s:
            time.sleep(TICK_S)
        return self.ended

    def wait_until_up(self) -> None:
        _until(lambda: "supervising" in self.said() or self.poll() is not None)
        assert self.poll() is None, self.said()

    def ask(self, act: str, reason: str = "") -> dict[str, Any]:
        reply = ask(self.run_dir, act, reason, PATIENCE_S)
        return {"done": reply.done, "message": reply.message, "circuit": reply.circuit}

    def close(self) -> None:
        """Asks until the self-check has passed."""
        reply: dict[str, Any] = {}
        for _ in range(100):
            if (reply := self.ask("close"))["done"]:
                return
            time.sleep(0.2)
        raise AssertionError(f"{reply}\n{self.said()}")

    def kept(self) -> dict[str, Any]:
        """The latch's file."""
        found = json.loads((self.state_dir / "lockout.json").read_text("utf-8"))
        assert isinstance(found, dict)
        return found

    def signal(self, number: int) -> None:
        os.kill(self.pid, number)

    def end(self) -> None:
        """By whatever it takes."""
        for number in (signal.SIGCONT, signal.SIGTERM, signal.SIGKILL):
            if self.poll() is None:
                self.signal(number)
                self.wait(10 if number == signal.SIGTERM else 0.1)
        self.wait()


def _until(is_so: Any) -> None:
    ends_s = time.monotonic() + PATIENCE_S
    while not is_so():
        if time.monotonic() > ends_s:
            raise AssertionError("waited in vain")
        time.sleep(0.02)


def tell(name: str, facts: Any) -> None:
    """To the test on the host."""
    (SHARE / f"{name}.json").write_text(json.dumps(facts, indent=1))


def attempt(case: Callable[..., dict[str, Any]], *given: Any) -> dict[str, Any]:
    """Its facts, or what went wrong in it."""
    heal()
    try:
        return case(*given)
    except Exception:
        return {"error": traceback.format_exc()}


def heal() -> None:
    for chip in (0x48, 0x49, 0x4A, 0x4B):
        for name, value in (
            ("fails_with", 0),
            ("hangs_ms", 0),
            ("slow_percent", 100),
            ("frozen", 0),
        ):
            knob(chip, name, value)
