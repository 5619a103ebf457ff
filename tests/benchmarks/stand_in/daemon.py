"""``holdwatch`` with stand-ins for two things of the kernel: GPIO here, the I2C wire by wire.c.

All else is what runs on the real machine: the command, the driver, the bus library, the loop, its
journal and status file. ``python daemon.py run FILE --run-dir ...``; needs STAND_IN_PAGE.
"""

import os
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

from page import Page

from supervisor.cli import run
from supervisor.cli.main import main
from supervisor.control.pacing import Pacer
from supervisor.devices import pins
from supervisor.readings import Pace
from supervisor.simulator.pins import PlantFactory

COIL, AUXILIARY, STOP_BUTTON = 17, 27, 23  # of the example


def board(page: Page) -> Any:
    """Pins with a contactor that follows at once: its auxiliary contact and its current."""
    factory = PlantFactory(time.monotonic)

    def changed(pin: int, level: bool) -> None:
        if pin == COIL:
            page.set(coil_edge_ns=time.monotonic_ns(), coil_on=level)
            page.set(shunt_v=page.get("closed_shunt_v") if level else 0.0)

    factory.listener = changed
    factory.contacts = {AUXILIARY: lambda: not page.get("coil_on"), STOP_BUTTON: lambda: True}
    return factory


def watch_lateness(page: Page) -> None:
    wait = Pacer.wait

    def noted(self: Pacer) -> Pace:
        pace = wait(self)
        page.note_lateness(pace.late_s)
        return pace

    Pacer.wait = noted  # type: ignore[method-assign]


if __name__ == "__main__":
    shared = Page(Path(os.environ["STAND_IN_PAGE"]))
    shared.set(imported_ns=time.monotonic_ns())
    pins.open_pin_factory = run.open_pin_factory = lambda *_: board(shared)
    if os.environ.get("STAND_IN_LATENESS"):
        watch_lateness(shared)
    main(prog_name="holdwatch")
