"""All temperature probes: asked a little in every cycle, so that no cycle waits for them."""

import logging
from collections.abc import Mapping
from types import MappingProxyType

from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.lm75 import LM75, celsius_of_registers
from supervisor.devices.one_wire import celsius_of_file
from supervisor.devices.protocols import Clock, OneWire, OneWireAnswer
from supervisor.readings import Place, ProbeReading, Quality
from supervisor.settings.hardware import Probe

log = logging.getLogger(__name__)

EVERY_S = 1.0
AFTER_A_HANG_S = 10.0  # a chip that blocks the bus blocks the converters as well
TELL_EVERY_S = 10.0


class _Turn:
    """An LM75 and when it is asked next. Its temperature is as old as the turn's beginning."""

    def __init__(self, name: str, address: int, due_s: float) -> None:
        self.name = name
        self.chip = LM75(address)
        self.due_s = due_s
        self.began_s: float | None = None
        self.hung_before = False


class Thermometers:
    """The newest answer of every probe. ``one_wire`` is needed for the ds18b20 among them only."""

    def __init__(
        self,
        probes: Mapping[str, Probe],
        keeper: BusKeeper,
        clock: Clock,
        one_wire: OneWire | None,
    ) -> None:
        self._keeper = keeper
        self._clock = clock
        self._one_wire = one_wire
        self._places = {name: Place(probe.place) for name, probe in probes.items()}
        now_s = clock.now_s()
        self._turns = [
            _Turn(name, probe.address, now_s)
            for name, probe in probes.items()
            if probe.address is not None
        ]
        self._serials = {
            name: probe.serial for name, probe in probes.items() if probe.serial is not None
        }
        self._answers: dict[str, OneWireAnswer] = {}
        self._tell_again_at_s: dict[str, float] = {}
        self._newest: Mapping[str, ProbeReading] = MappingProxyType(
            {
                name: ProbeReading(name, place, None, Quality.NO_ANSWER, now_s)
                for name, place in self._places.items()
            }
        )

    def look(self) -> Mapping[str, ProbeReading]:
        """The newest reading of every probe, by name. Never raises; one short transfer at most."""
        if self._turns:
            turn = min(self._turns, key=lambda turn: turn.due_s)
            if self._clock.now_s() >= turn.due_s:
                self._ask(turn)
        if self._one_wire is not None:
            self._hear(self._one_wire)
        return self._newest

    def close(self) -> None:
        if self._one_wire is not None:
            self._one_wire.close()

    def _ask(self, turn: _Turn) -> None:
        """One more register. A turn that began is the one longest due: it goes on next."""
        now_s = self._clock.now_s()
        if turn.began_s is None:
            turn.began_s = now_s
        try:
            registers = turn.chip.read_on(self._keeper.bus())
        except OSError as error:
            self._no_answer(turn, now_s, error)
            return
        if registers is not None:
            celsius, quality = celsius_of_registers(registers)
            self._note(turn.name, celsius, quality, turn.began_s)
            turn.due_s, turn.began_s = turn.began_s + EVERY_S, None
            turn.hung_before = False

    def _no_answer(self, turn: _Turn, began_s: float, error: OSError) -> None:
        """A chip that does not answer says nothing of the bus: only a hang is the keeper's matter.

        A chip that hangs again is left alone for a while: each hang costs the converters a
        reopening.
        """
        self._keeper.counters.failed(error)
        hung = self._keeper.hung(began_s)
        if hung:
            self._keeper.failed(began_s)
        now_s = self._clock.now_s()
        pause_s = AFTER_A_HANG_S if hung and turn.hung_before else EVERY_S
        turn.due_s, turn.began_s, turn.hung_before = now_s + pause_s, None, hung
        self._note(turn.name, None, Quality.NO_ANSWER, now_s, f" ({error})")

    def _hear(self, one_wire: OneWire) -> None:
        for name, serial in self._serials.items():
            answer = one_wire.newest(serial)
            if answer is not None and answer is not self._answers.get(name):
                self._answers[name] = answer
                self._note(name, *celsius_of_file(answer.text), answer.asked_at_s)

    def _note(
        self, name: str, celsius: float | None, quality: Quality, taken_at_s: float, why: str = ""
    ) -> None:
        reading = ProbeReading(name, self._places[name], celsius, quality, taken_at_s)
        self._newest = MappingProxyType({**self._newest, name: reading})
        if not quality.is_good:
            self._tell(name, f"{quality.value}{why}")

    def _tell(self, name: str, text: str) -> None:
        """Log it, but not every second of a fault that lasts."""
        now_s = self._clock.now_s()
        if now_s >= self._tell_again_at_s.get(name, now_s):
            self._tell_again_at_s[name] = now_s + TELL_EVERY_S
            log.warning("probe %s: %s", name, text)
