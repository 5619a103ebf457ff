"""The simulated world: the rig in time, with an agenda of what happens when.

It replaces only the leaves of the real thing: the I2C bus, the pin factory and the clock.
"""

import heapq
import itertools
from collections.abc import Callable, Iterable

from supervisor.devices.protocols import Clock, I2CBus
from supervisor.readings import Channel
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.i2c import SimulatedI2C
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.supply import AnySupplySettings
from supervisor.simulator.rig import Rig
from supervisor.simulator.supply import build_supply


class World(Rig):
    """Plant, converters and pins, brought forward lazily to ``clock.now_s()``.

    Whoever looks (a bus transfer, a pin read or written, ``catch_up``) makes the world catch up:
    scheduled acts happen in the order of their times, each with the plant at exactly its time.
    The same seed gives the same run to the bit on a SimulatedClock; on a real clock the world
    runs in real time.
    """

    def __init__(
        self, settings: SupervisorSettings, plant: PlantSettings, clock: Clock, *, seed: int = 1
    ) -> None:
        self._agenda: list[tuple[float, int, Callable[[], None]]] = []
        self._order = itertools.count()
        self._acting_at_s: float | None = None
        self._faults: list[FaultSettings] = []
        self.owner_lives = True
        """Whether the process that holds the pins is there; the bench tells."""
        super().__init__(settings, plant, clock, seed)

    def open_bus(self) -> I2CBus:
        return SimulatedI2C(self.wire)

    def now_s(self) -> float:
        """The clock's time; inside a scheduled act the time it was scheduled for."""
        return self.clock.now_s() if self._acting_at_s is None else self._acting_at_s

    def at(self, at_s: float, act: Callable[[], None]) -> None:
        """Schedule an act; acts of one time happen in the order they were scheduled in."""
        with self.lock:
            heapq.heappush(self._agenda, (at_s, next(self._order), act))

    def catch_up(self) -> None:
        until_s = self.clock.now_s()
        while self._agenda and (due := self._take_due(until_s)) is not None:
            self._act_at(*due)
        self.bring_to(until_s)

    def fault(self, fault: FaultSettings) -> None:
        """Strike now. Raises ValueError when the rig lacks the part."""
        with self.lock:
            self.bring_to(self.now_s())
            fault.strike(self)
            self._faults.append(fault)

    @property
    def faults(self) -> tuple[FaultSettings, ...]:
        """Struck and not cleared, those of an instant included."""
        return tuple(self._faults)

    def clear(self, kind: str) -> None:
        """Heal all faults of a kind. Raises ValueError when none has struck."""
        with self.lock:
            struck = [fault for fault in self._faults if fault.kind == kind]
            if not struck:
                present = ", ".join(fault.kind for fault in self._faults) or "none"
                raise ValueError(f"no fault {kind} to clear; present: {present}")
            self.bring_to(self.now_s())
            for fault in struck:
                fault.heal(self)
                self._faults.remove(fault)

    def knob(self, position: float, over_s: float = 0.0) -> None:
        """Turn the supply's knob to a position, 0 to 1, evenly over some seconds."""
        at_s = self.now_s()
        self.change(lambda: self.plant.supply.turn(position, at_s, over_s))

    def prepare(self, others: Iterable[AnySupplySettings] = ()) -> None:
        """For a clock that does not wait: what takes long is done now, for these supplies too."""
        self.plant.prepare(build_supply(other) for other in others)

    def refit(self, supply: AnySupplySettings | None, shunt_ohm: float | None) -> None:
        """Another supply, another shunt; as hands would do it, with the circuit open."""
        if supply is not None:
            other = build_supply(supply)
            self.change(lambda: setattr(self.plant, "supply", other))
        if shunt_ohm is not None:
            gain = self.settings.channels.shunt.gain
            self.change(lambda: self.leads[Channel.SHUNT].rescale(shunt_ohm / gain))

    def knob_position(self) -> float:
        return self.plant.supply.knob(self.now_s())

    def owner_dies(self) -> None:
        """The process that holds the pins is killed."""
        self.bring_to(self.now_s())
        self.owner_lives = False
        self.pin_factory.owner_dies()

    def press_reset(self, pressed: bool) -> None:
        """Press or release the reset button."""
        self.reset_pressed = pressed
        self.pin_factory.refresh()

    def unprotected(self, for_s: float, every_s: float = 1.0) -> list[tuple[float, float]]:
        """What if the contactor stayed closed at this knob: (seconds from now, highest cell V)."""
        with self.lock:
            self.bring_to(self.now_s())
            return self.plant.unprotected(for_s, every_s)

    def _take_due(self, until_s: float) -> tuple[float, Callable[[], None]] | None:
        with self.lock:
            if not self._agenda or self._agenda[0][0] > until_s:
                return None
            at_s, _, act = heapq.heappop(self._agenda)
            return at_s, act

    def _act_at(self, at_s: float, act: Callable[[], None]) -> None:
        """Without the lock: the act may call into code that holds locks of its own."""
        self.bring_to(at_s)
        before, self._acting_at_s = self._acting_at_s, at_s
        try:
            act()
        finally:
            self._acting_at_s = before
