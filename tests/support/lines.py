"""Lines of a GPIO chip as the kernel gives them, for what speaks to the library lgpio itself."""

import sys
from pathlib import Path
from typing import Any

import pytest

from supervisor.devices import pins

COIL, MAINS, BUZZER, LAMP = 17, 22, 25, 16  # of the example
STRANGER = 5  # nobody's business


class Refused(Exception):
    """As lgpio's own ``error``."""

    def __init__(self, value: str) -> None:
        super().__init__(value)
        self.value = value


class Lines:
    """Stands where the module ``lgpio`` does. ``level`` by number; ``done``: what was asked for."""

    error = Refused

    def __init__(self, level: dict[int, int], label: str = "pinctrl-bcm2711") -> None:
        self.level = level
        self.label = label
        self.busy: set[int] = set()
        self.stuck: set[int] = set()
        self.done: list[tuple[str, int]] = []
        self.opened = 0

    def gpiochip_open(self, number: int) -> int:
        if number:
            raise Refused("can not open gpiochip")
        self.opened += 1
        return 7

    def gpiochip_close(self, _handle: int) -> int:
        self.opened -= 1
        return 0

    def gpio_get_chip_info(self, _handle: int) -> list[Any]:
        return [0, 58, "gpiochip0", self.label]

    def gpio_claim_output(self, _handle: int, gpio: int, level: int = 0, flags: int = 0) -> int:
        assert flags == 0, "active-high"
        if gpio in self.busy:
            raise Refused("GPIO busy")
        self.done.append(("claim", gpio))
        if gpio not in self.stuck:
            self.level[gpio] = level
        return 0

    def gpio_read(self, _handle: int, gpio: int) -> int:
        return self.level[gpio]


@pytest.fixture
def lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Lines:
    """A chip whose coil, mains side and lamp a dead process has left high."""
    left = Lines({COIL: 1, MAINS: 1, BUZZER: 0, LAMP: 1, STRANGER: 1})
    devices = tmp_path / "dev"
    devices.mkdir()
    (devices / "gpiochip0").touch()
    monkeypatch.setattr(pins, "DEVICES", devices)
    monkeypatch.setitem(sys.modules, "lgpio", left)
    monkeypatch.setenv("LG_WD", "")  # restored afterwards
    return left
