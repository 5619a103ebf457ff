"""One contract for gpiozero's devices on its own mock pins and on the plant's."""

from collections.abc import Callable
from typing import Any

import pytest
from gpiozero import DigitalInputDevice, InputDevice, OutputDevice
from gpiozero.exc import GPIOPinInUse
from gpiozero.pins.mock import MockFactory

from supervisor.simulator.pins import LevelChange, PlantFactory

PIN = 17


class StockBoard:
    """gpiozero's own mock factory, with its pin's state history."""

    def __init__(self) -> None:
        self.factory: Any = MockFactory()

    def levels(self) -> list[bool]:
        return [state.state for state in self.factory.pin(PIN).states[1:]]

    def ground(self, grounded: bool) -> None:
        pin = self.factory.pin(PIN)
        (pin.drive_low if grounded else pin.drive_high)()


class PlantBoard:
    """Our factory, with its contacts."""

    def __init__(self) -> None:
        self.factory: Any = PlantFactory(lambda: 0.0)
        self._grounded = False
        self.factory.contacts[PIN] = lambda: self._grounded

    def levels(self) -> list[bool]:
        return [change.level for change in self.factory.levels]

    def ground(self, grounded: bool) -> None:
        self._grounded = grounded
        self.factory.refresh()


Board = StockBoard | PlantBoard


@pytest.fixture(params=[StockBoard, PlantBoard])
def board(request: pytest.FixtureRequest) -> Board:
    made: Board = request.param()
    return made


def test_an_output_never_blips_at_start_and_end(board: Board) -> None:
    device = OutputDevice(PIN, initial_value=False, pin_factory=board.factory)
    device.close()
    assert board.levels() == []


def test_an_output_goes_where_it_is_told_and_nowhere_else(board: Board) -> None:
    device = OutputDevice(PIN, initial_value=False, pin_factory=board.factory)
    device.on()
    device.on()
    device.off()
    device.toggle()
    device.toggle()
    assert board.levels() == [True, False, True, False]
    assert device.value == 0
    device.close()
    assert board.levels() == [True, False, True, False]


def test_an_output_that_starts_high_goes_high_once(board: Board) -> None:
    device = OutputDevice(PIN, initial_value=True, pin_factory=board.factory)
    assert board.levels() == [True]
    assert device.value == 1


def test_a_pin_has_one_owner(board: Board) -> None:
    owner = OutputDevice(PIN, pin_factory=board.factory)
    with pytest.raises(GPIOPinInUse):
        OutputDevice(PIN, pin_factory=board.factory)
    owner.close()
    OutputDevice(PIN, pin_factory=board.factory).close()


def test_an_input_with_pull_up_is_active_while_grounded(board: Board) -> None:
    device = InputDevice(PIN, pull_up=True, pin_factory=board.factory)
    assert device.value == 0
    board.ground(True)
    assert device.value == 1
    board.ground(False)
    assert device.value == 0


def test_an_input_tells_of_edges(board: Board) -> None:
    seen: list[str] = []
    device = DigitalInputDevice(PIN, pull_up=True, pin_factory=board.factory)
    device.when_activated = lambda: seen.append("grounded")
    device.when_deactivated = lambda: seen.append("open")
    for grounded in (True, True, False, True):
        board.ground(grounded)
    assert seen == ["grounded", "open", "grounded"]
    device.close()
    board.ground(False)
    assert seen == ["grounded", "open", "grounded"]


# --- what only the plant's pins promise


@pytest.fixture
def plant_board() -> tuple[PlantFactory, list[tuple[int, bool]]]:
    heard: list[tuple[int, bool]] = []
    factory = PlantFactory(lambda: 5.0)
    factory.listener = lambda pin, level: heard.append((pin, level))
    return factory, heard


def test_the_plant_hears_and_keeps_every_level(
    plant_board: tuple[PlantFactory, list[tuple[int, bool]]],
) -> None:
    factory, heard = plant_board
    device = OutputDevice(PIN, initial_value=False, pin_factory=factory)
    device.on()
    assert heard == [(PIN, True)]
    assert list(factory.levels) == [LevelChange(5.0, PIN, True)]


def test_closing_an_output_lets_its_pull_down_take_it(
    plant_board: tuple[PlantFactory, list[tuple[int, bool]]],
) -> None:
    factory, heard = plant_board
    device = OutputDevice(PIN, initial_value=True, pin_factory=factory)
    device.close()
    assert heard == [(PIN, True), (PIN, False)]


@pytest.mark.parametrize("keeps_level", [True, False])
def test_what_a_killed_owner_leaves_behind(keeps_level: bool) -> None:
    """Stock Raspberry Pi OS keeps an output's last level; strict GPIO settings release it."""
    factory = PlantFactory(lambda: 0.0, keeps_level=keeps_level)
    killed = OutputDevice(PIN, initial_value=True, pin_factory=factory)
    factory.owner_dies()
    assert [change.level for change in factory.levels] == ([True] if keeps_level else [True, False])
    successor = OutputDevice(PIN, initial_value=False, pin_factory=factory)
    assert [change.level for change in factory.levels] == [True, False]
    assert successor.value == 0
    assert killed is not successor


def test_history_does_not_grow(
    plant_board: tuple[PlantFactory, list[tuple[int, bool]]],
) -> None:
    factory, _ = plant_board
    device = OutputDevice(PIN, pin_factory=factory)
    for _ in range(10_000):
        device.toggle()
    assert factory.levels.maxlen is not None
    assert len(factory.levels) == factory.levels.maxlen
    assert len(factory.pin(PIN).states) <= 1


def test_reading_an_input_brings_the_plant_to_the_present() -> None:
    factory = PlantFactory(lambda: 0.0)
    grounded = [False]
    act: Callable[[], None] = lambda: grounded.__setitem__(0, True)  # noqa: E731
    factory.contacts[PIN] = lambda: grounded[0]
    device = InputDevice(PIN, pull_up=True, pin_factory=factory)
    factory.before_read = act
    assert device.value == 1
