"""A GPIO library that cannot work says so; it never falls back on another one."""

import os
from pathlib import Path

import lgpio
import pytest
from gpiozero.exc import PinUnknownPi
from gpiozero.pins.mock import MockFactory

from supervisor.devices import pins
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.pins import claims_in_words, open_pin_factory


def test_a_working_folder_that_may_not_be_written_is_told_with_its_remedy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "access", lambda *_: False)  # root may write anywhere
    with pytest.raises(HardwareMissing) as told:
        open_pin_factory(None, tmp_path)
    assert str(tmp_path) in told.value.problem
    assert "--run-dir" in told.value.remedy


def test_a_board_without_that_gpio_chip_is_told_with_what_was_found(tmp_path: Path) -> None:
    with pytest.raises(HardwareMissing) as told:
        open_pin_factory("no-such-chip", tmp_path)
    assert "no-such-chip" in told.value.problem
    assert "gpio.chip_label" in told.value.remedy


def test_a_pin_that_another_program_holds_is_told_with_its_remedy() -> None:
    """As the kernel answers; tests/kernel shows it with two daemons on the same pins."""

    def busy(_: object) -> None:
        raise lgpio.error("GPIO busy")

    with pytest.raises(HardwareMissing) as told:
        claims_in_words(busy)(17)
    assert told.value.problem == "GPIO 17 cannot be had (GPIO busy)"
    assert "another holdwatch" in told.value.remedy


def test_a_board_that_gpiozero_does_not_know_is_told_before_a_pin_is_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its revision is not to be found: no Raspberry Pi, or a sandbox with a /proc of its own."""

    class Factory(MockFactory):
        def __init__(self, chip: int) -> None:  # noqa: ARG002  # as lgpio's
            super().__init__()

        def _get_revision(self) -> int:
            raise PinUnknownPi("unable to locate Pi revision")

    monkeypatch.setattr(pins, "chip_number", lambda _: 0)
    monkeypatch.setattr("gpiozero.pins.lgpio.LGPIOFactory", Factory)
    with pytest.raises(HardwareMissing) as told:
        open_pin_factory(None, tmp_path)
    assert "does not know this board" in told.value.problem
    assert "Raspberry Pi" in told.value.remedy
