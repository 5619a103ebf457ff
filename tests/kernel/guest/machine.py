"""In the guest: what is wired to the virtual bus and pins.

The contactor, its driver and a bank that follows it, twenty times a second or more; everything the
daemon sees it sees through the kernel.
"""

import json
import os
import re
import sys
import threading
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, f"{Path(__file__).parent}/../../..")  # the project, where it is not installed
os.environ.setdefault("HOME", "/tmp")

import supervisor

EXAMPLE = Path(supervisor.__file__).parent / "examples" / "hut-bank.yaml"
SHARE = Path("/mnt/share")
CHIPS = Path("/sys/kernel/debug/virtual_ads1115")
(LINES,) = Path("/sys/devices/platform/gpio-sim.0").glob("gpiochip*")
COIL, MAINS, AUXILIARY = 17, 22, 27
TICK_S = 0.004
RELEASE_S = 0.030
DROPOUT_S = 0.250  # of the pulse driver, contactor.dropout_milliseconds
SHUNT_UV_PER_A = 250  # 50 mV at 200 A
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

    def __init__(
        self,
        drive: str,
        *,
        coil: int = COIL,
        auxiliary: int = AUXILIARY,
        chips: tuple[int, int] = (0x48, 0x49),
        tick_s: float = TICK_S,
        release_s: float = RELEASE_S,
    ) -> None:
        """``chips``: the converter of the cells, that of the current. Edges want a short tick."""
        super().__init__(daemon=True)
        self._tick_s, self._release_s = tick_s, release_s
        self.drive, self.coil, self.auxiliary, self.chips = drive, coil, auxiliary, chips
        self.cell_v, self.flows_a = 3.30, CLOSED_A
        self.is_held = self.is_closed = False
        self.let_go_at_s = self.changed_at_s = time.monotonic()
        self.edges = 0
        self._was_high = level(coil)
        self._fed_until_s = 0.0
        self._ended = threading.Event()
        self._ticks = 0
        self.start()

    def run(self) -> None:
        while not self._ended.is_set():
            self._tick(time.monotonic())
            time.sleep(self._tick_s)

    def end(self) -> None:
        self._ended.set()
        self.join()

    def _tick(self, now_s: float) -> None:
        is_high = level(self.coil)
        if is_high and not self._was_high:
            self.edges += 1
            self._fed_until_s = now_s + DROPOUT_S
        self._was_high = is_high
        is_held = is_high if self.drive == "level" else now_s < self._fed_until_s
        if self.is_held and not is_held:
            self.let_go_at_s = now_s
        self.is_held = is_held
        is_closed = is_held or (self.is_closed and now_s < self.let_go_at_s + self._release_s)
        if is_closed is not self.is_closed:
            self.is_closed, self.changed_at_s = is_closed, now_s
        self._show()

    def _show(self) -> None:
        self._ticks += 1
        flicker_uv = (0, 130, -90, 60, -140, 40)[self._ticks % 6]
        amperes = self.flows_a if self.is_closed else 0.0
        volts = self.cell_v + amperes * 0.0001
        for channel in ("mux0_uv", "mux3_uv"):  # 0-1 and 2-3: front and far cell
            knob(self.chips[0], channel, round(volts * 1e6) + flicker_uv)
        knob(self.chips[1], "mux0_uv", round(amperes * SHUNT_UV_PER_A) + flicker_uv // 10)
        bias = "pull-up" if self.is_closed else "pull-down"  # a mirror contact to ground
        (LINES / f"sim_gpio{self.auxiliary}" / "pull").write_text(bias)

    def wait(self, closed: bool, for_s: float) -> float | None:
        """Seconds until it is so; None when it is not by then."""
        began_s = time.monotonic()
        while time.monotonic() < began_s + for_s:
            if self.is_closed is closed:
                return max(0.0, self.changed_at_s - began_s)
            time.sleep(TICK_S)
        return None


def settings_text(drive: str, changes: dict[str, str]) -> str:
    """The example, with that drive, without panel and rules that need more than this bench has."""
    text = EXAMPLE.read_text("utf-8")
    text = re.sub(
        r"\n# Buttons, buzzer and lamp.*?\n# Timing of", "\n# Timing of", text, flags=re.S
    )
    if drive == "level":
        text = text.replace("drive: pulse", "drive: level")
        text = re.sub(r"\n  dropout_milliseconds: \d+", "", text)
        slower = "fastest_rise_volts_per_second: 0.015"  # the lease is in its response
        text = text.replace("# fastest_rise_volts_per_second: 0.02", slower)
    for old, new in changes.items():
        assert old in text, old
        text = text.replace(old, new)
    return text


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
