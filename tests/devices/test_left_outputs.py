"""What a killed run left on: which outputs that is, and that they are switched off."""

import json
import os
from collections.abc import Callable
from itertools import product
from pathlib import Path

import pytest
from gpiozero.pins.mock import MockFactory
from lines import BUZZER, COIL, LAMP, MAINS, STRANGER, Lines, lines

from supervisor.devices import left_outputs
from supervisor.devices.contactor import Contactor
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.left_outputs import LeftOutputs, outputs_of
from supervisor.devices.panel import LIT, Panel
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.snapshot import Sound

__all__ = ["lines"]
PARTS = ("mains_contactor", "buzzer", "lamp")
IN_ORDER = [COIL, MAINS, BUZZER, LAMP]


@pytest.fixture
def left(tmp_path: Path, hut_settings: SupervisorSettings) -> LeftOutputs:
    """Of a run that was killed."""
    written = LeftOutputs(tmp_path)
    written.write(hut_settings)
    return written


def without(settings: SupervisorSettings, *parts: str) -> SupervisorSettings:
    gone = dict.fromkeys(parts)
    panel = {name: gone.pop(name) for name in ("buzzer", "lamp") if name in gone}
    return settings.model_copy(
        update={**gone, "panel": settings.panel.model_copy(update=panel)},
    )


@pytest.mark.parametrize(
    "absent",
    [
        [name for name, is_absent in zip(PARTS, some, strict=True) if is_absent]
        for some in product([True, False], repeat=3)
    ],
)
@pytest.mark.parametrize("drive", ["level", "pulse"])
def test_they_are_all_that_contactor_and_panel_drive_and_off_is_low(
    hut_settings: SupervisorSettings, absent: list[str], drive: str
) -> None:
    contactor = hut_settings.contactor.model_copy(update={"drive": drive})
    settings = without(hut_settings.model_copy(update={"contactor": contactor}), *absent)
    factory = MockFactory()
    held = Contactor(settings, factory, SimulatedClock()), Panel(settings.panel, factory)
    outputs = [pin for pin in factory.pins.values() if pin.function == "output"]
    assert {pin.info.name: pin.state for pin in outputs} == {
        f"GPIO{output.gpio}": False for output in outputs_of(settings)
    }
    for device in held:
        device.close()


def test_all_of_them_are_high_while_they_are_on(hut_settings: SupervisorSettings) -> None:
    factory = MockFactory()
    contactor = Contactor(hut_settings, factory, SimulatedClock())
    panel = Panel(hut_settings.panel, factory)
    contactor.close_for(1.0)
    panel.show(LIT, Sound.ALARM, 0.0)
    assert {factory.pin(output.gpio).state for output in outputs_of(hut_settings)} == {True}


def test_the_coil_goes_first(left: LeftOutputs, lines: Lines) -> None:
    assert [output.gpio for output in left.switch_off()] == IN_ORDER
    assert lines.done == [("claim", gpio) for gpio in IN_ORDER]
    assert [lines.level[gpio] for gpio in IN_ORDER] == [0, 0, 0, 0]
    assert lines.level[STRANGER] == 1
    assert lines.opened == 0, "the chip is given back"


def test_once_off_they_are_forgotten(left: LeftOutputs, lines: Lines) -> None:
    left.switch_off()
    assert not left.path.exists()
    lines.done.clear()
    assert left.switch_off() == ()
    assert lines.done == []


@pytest.mark.parametrize("gpio", IN_ORDER)
@pytest.mark.parametrize("how", ["busy", "stuck"])
def test_one_that_fails_keeps_no_other_on(
    left: LeftOutputs, lines: Lines, gpio: int, how: str
) -> None:
    lines.level[BUZZER] = 1
    getattr(lines, how).add(gpio)
    with pytest.raises(HardwareMissing, match=f"GPIO {gpio}") as told:
        left.switch_off()
    assert told.value.problem.count("GPIO ") == 1 + (how == "busy")  # "GPIO busy"
    assert "mains switch" in told.value.remedy
    assert {lines.level[other] for other in IN_ORDER if other != gpio} == {0}
    assert lines.opened == 0
    getattr(lines, how).clear()
    left.switch_off()  # the file has stayed
    assert lines.level[gpio] == 0
    assert not left.path.exists()


def test_a_chip_that_is_not_there_touches_nothing(left: LeftOutputs, lines: Lines) -> None:
    lines.label = "another"
    with pytest.raises(HardwareMissing, match=r"coil \(GPIO 17\).*pinctrl-bcm2711"):
        left.switch_off()
    assert lines.done == []
    assert left.path.exists()


def test_the_chip_is_looked_for_as_the_run_did(
    tmp_path: Path, hut_settings: SupervisorSettings, lines: Lines
) -> None:
    lines.label = "a board of our own"
    gpio = hut_settings.gpio.model_copy(update={"chip_label": lines.label})
    left = LeftOutputs(tmp_path)
    left.write(hut_settings.model_copy(update={"gpio": gpio}))
    left.switch_off()
    assert lines.level[COIL] == 0


def test_a_restart_of_the_machine_has_let_go_of_them(
    left: LeftOutputs, lines: Lines, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By then a pin may be an input that something drives."""
    another = tmp_path / "boot_id"
    another.write_text("another start\n")
    monkeypatch.setattr(left_outputs, "BOOT_ID", another)
    assert left.switch_off() == ()
    assert lines.done == []


GOOD = {"boot": left_outputs.BOOT_ID.read_text().strip(), "chip": ["pinctrl-bcm2711"]}


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\xfe",
        b"[]",
        b"7",
        b"null",
        b"{" * 100_000,
        json.dumps(GOOD).encode(),
        json.dumps(GOOD | {"outputs": 3}).encode(),
        json.dumps(GOOD | {"boot": None, "outputs": []}).encode(),
        json.dumps(GOOD | {"outputs": ["coil"]}).encode(),
        json.dumps(GOOD | {"outputs": [{"name": "coil"}]}).encode(),
        json.dumps(GOOD | {"outputs": [{"name": 1, "gpio": 17}]}).encode(),
        *(
            json.dumps(GOOD | {"outputs": [{"name": "coil", "gpio": gpio}]}).encode()
            for gpio in (-1, 512, 1e1, True, None, "17", 10**30)
        ),
        json.dumps(GOOD | {"chip": None, "outputs": []}).encode(),
        json.dumps(GOOD | {"chip": [0], "outputs": []}).encode(),
    ],
)
def test_a_file_that_cannot_be_understood_is_told_and_no_pin_is_touched(
    left: LeftOutputs, lines: Lines, content: bytes
) -> None:
    left.path.write_bytes(content)
    with pytest.raises(HardwareMissing, match="cannot be read") as told:
        left.switch_off()
    assert str(left.path) in told.value.problem
    assert "mains switch" in told.value.remedy
    assert lines.done == []
    assert left.path.exists()


@pytest.mark.parametrize(
    "make",
    [
        Path.mkdir,
        os.mkfifo,
        lambda path: path.symlink_to("nowhere"),
        lambda path: path.symlink_to(path),
        lambda path: path.symlink_to("/dev/zero"),
    ],
    ids=["folder", "pipe", "link to nothing", "link to itself", "link without end"],
)
def test_what_is_no_file_is_told_at_once(tmp_path: Path, make: Callable[[Path], None]) -> None:
    left = LeftOutputs(tmp_path)
    make(left.path)
    with pytest.raises(HardwareMissing, match="cannot be read"):
        left.switch_off()


def test_a_file_without_end_is_not_read_to_its_end(left: LeftOutputs, lines: Lines) -> None:
    os.truncate(left.path, 1 << 40)
    with pytest.raises(HardwareMissing, match=r"cannot be read.*larger"):
        left.switch_off()
    assert lines.done == []


@pytest.mark.parametrize("place", ["nothing", "nothing/below", "file/below"])
def test_nothing_is_left_where_nothing_is(tmp_path: Path, lines: Lines, place: str) -> None:
    (tmp_path / "file").touch()
    assert LeftOutputs(tmp_path / place).switch_off() == ()
    assert lines.done == []


def test_it_is_written_in_one_step(
    left: LeftOutputs, hut_settings: SupervisorSettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = left.path.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OSError, match="No space left"):
        left.write(hut_settings)
    assert left.path.read_bytes() == before


def test_a_relative_folder_is_where_it_was_when_the_working_folder_changes(
    tmp_path: Path, hut_settings: SupervisorSettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As lgpio does when it is loaded."""
    monkeypatch.chdir(tmp_path)
    left = LeftOutputs(Path())
    monkeypatch.chdir("/")
    left.write(hut_settings)
    assert (tmp_path / "outputs.json").exists()
    left.remove()
    left.remove()
    assert not (tmp_path / "outputs.json").exists()
