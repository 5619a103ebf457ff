"""GPIO pins tied to the plant: gpiozero's mock pins with a circuit board around them.

Every output has the external pull-down the hardware page asks for; every contact goes to ground.
"""

from collections import deque
from collections.abc import Callable
from typing import Any, NamedTuple

from gpiozero.pins.mock import MockFactory, MockPin
from gpiozero.pins.pi import PiPin

LEVELS_KEPT = 4096

Contact = Callable[[], bool]  # True while it connects its pin to ground
LevelListener = Callable[[int, bool], None]


class LevelChange(NamedTuple):
    at_s: float
    pin: int
    level: bool


class PlantPin(MockPin):  # type: ignore[misc]  # gpiozero is untyped
    """A pin whose level the plant sees, and whose inputs the plant drives."""

    _state: bool

    def clear_states(self) -> None:
        """The stock pin's history grows without end; ``PlantFactory.levels`` is ours."""
        self._last_change = 0.0
        self.states: list[Any] = []

    def output_with_state(self, state: Any) -> None:
        """Level and direction in one step, as the kernel does: no blip."""
        self._pull = "floating"
        self._function = "output"
        self._change_state(bool(state))

    def close(self) -> None:
        """What the library does on the real machine: a floating input."""
        self.when_changed = None
        self._pull = self.info.pull or "floating"
        self._function = "input"
        self.refresh()

    def refresh(self) -> None:
        """Take the level the board gives to an input; tell those who wait for an edge."""
        if self._function == "input" and self._change_state(self._board_level()):
            wanted = "rising" if self._state else "falling"
            if self._edges in ("both", wanted) and self._when_changed is not None:
                PiPin._call_when_changed(self, self.factory.ticks(), self._state)

    def _set_function(self, value: str) -> None:
        if value == "output" and self._function != "output":
            self.output_with_state(False)
        else:
            super()._set_function(value)

    def _set_pull(self, value: str) -> None:
        super()._set_pull(value)
        self.refresh()

    def drive_high(self) -> None:
        """The stock pin's levels by pull alone; ours come from the board, by ``refresh``."""

    drive_low = drive_high

    def _get_state(self) -> bool:
        if self._function == "input":
            self.factory.before_read()
            self.refresh()
        return bool(self._state)

    def _board_level(self) -> bool:
        contact = self.factory.contacts.get(self._number)
        return self._pull == "up" and not (contact and contact())

    def _change_state(self, value: bool) -> bool:
        if self._state == value:
            return False
        if self._function == "output" or self._number in self.factory.watched:
            self.factory.level_changes(self._number, value)
        self._state = value
        return True


class PlantFactory(MockFactory):  # type: ignore[misc]  # gpiozero is untyped
    """gpiozero's pin factory for one simulated board.

    ``contacts`` wires contacts to ground by pin number; ``before_read`` brings the plant to the
    present; ``listener`` hears of every level change of a pin that is, or was, an output.
    ``keeps_level``: what Raspberry Pi OS does to outputs whose owner dies (not: closes them).
    """

    def __init__(self, now_s: Callable[[], float], *, keeps_level: bool = False) -> None:
        super().__init__(pin_class=PlantPin)
        self._now_s = now_s
        self.keeps_level = keeps_level
        self.contacts: dict[int, Contact] = {}
        self.before_read: Callable[[], None] = lambda: None
        self.listener: LevelListener = lambda _pin, _level: None
        self.watched: set[int] = set()
        self.levels: deque[LevelChange] = deque(maxlen=LEVELS_KEPT)

    def ticks(self) -> float:
        return self._now_s()

    def level_changes(self, pin: int, level: bool) -> None:
        self.watched.add(pin)
        self.levels.append(LevelChange(self._now_s(), pin, level))
        self.listener(pin, level)

    def refresh(self) -> None:
        """Contacts may have moved: bring all inputs up to date."""
        for pin in list(self.pins.values()):
            pin.refresh()

    def owner_dies(self) -> None:
        """The process is gone without closing anything; the next one may claim the pins."""
        for pin in self.pins.values():
            pin.when_changed = None
            if not (self.keeps_level and pin.function == "output"):
                pin.close()
        self._reservations.clear()
