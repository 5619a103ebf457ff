"""The charging circuit: bank, supply, contactor and mains relay, brought forward in time.

Between two solutions of the circuit all mean voltages and currents stand still; the next solution
comes when a switch moves, when somebody intervenes, or before a cell has moved by ``STEP_V``.
Ripple is added analytically at the instant that is asked for.
"""

import copy
from collections.abc import Callable

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.bank import SECONDS_PER_HOUR, Bank
from supervisor.simulator.output import NOTHING, Output
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.supply import Supply
from supervisor.simulator.switch import Switch

STEP_V = 50e-6
SHORTEST_STEP_S = 0.005
LONGEST_STEP_S = 1.0
TURNING_STEP_S = 0.01


class Plant:
    """True voltages and currents, not measured ones. Advances only; times never go back.

    ``before_change`` hears of every new solution before it counts, with its time.
    """

    def __init__(
        self, settings: SupervisorSettings, plant: PlantSettings, start_s: float = 0.0
    ) -> None:
        self.bank = Bank(plant.cells, settings.bank)
        self.supply = Supply(plant.supply)
        self.contactor = _contactor(settings, plant)
        self.mains = _mains_relay(settings, plant)
        self.before_change: list[Callable[[float], None]] = []
        self.output = NOTHING
        self.charge_ah = 0.0
        self.peak_cell_v = 0.0
        self.stopped_at_s: float | None = None  # when the current last ceased
        self.solutions = 0
        self._now_s = start_s
        self._solve()

    # --- what is true

    @property
    def soc(self) -> float:
        return self.bank.soc

    @property
    def current_a(self) -> float:
        """Mean into the bank."""
        return self.output.current_a

    @property
    def contactor_closed(self) -> bool:
        """The main contact, whatever the coil was told."""
        return self.contactor.closed

    @property
    def mains_on(self) -> bool:
        return self.mains is None or self.mains.closed

    @property
    def max_cell_v(self) -> float:
        """Highest terminal voltage of all cells now, without ripple."""
        return max(self.bank.volts)

    def cell_v(self, group: int) -> float:
        """Terminal voltage of a group of cells without ripple; 0 is the front, -1 the far end."""
        return self.bank.volts[group]

    def cell_ripple_v(self, group: int) -> float:
        """Amplitude of the ripple on that voltage."""
        return self.current_ripple_a * self.bank.ladder.volts_per_ampere[group]

    @property
    def current_ripple_a(self) -> float:
        """Amplitude of the current's ripple at ``supply.ripple_hz``."""
        return self.output.ripple_a

    # --- what happens

    def advance(self, at_s: float) -> None:
        while self._next_s <= at_s:
            self._step(self._next_s)

    def change(self, at_s: float, act: Callable[[], None]) -> None:
        """Do something to the parts at this time (or now, when the plant is past it)."""
        self.advance(at_s)
        self._step(max(at_s, self._now_s), act)

    def drive(self, switch: Switch, level: bool, at_s: float) -> None:
        """The input of a switch changes; nothing moves yet, so nothing is solved."""
        self.advance(at_s)
        switch.input_changes(level, at_s)
        self._next_s = min(self._solve_by_s, self._switch_due_s())

    def enable_contactor(self, enabled: bool, at_s: float) -> None:
        """The second line lets the coil be energised, or not: likewise."""
        self.advance(at_s)
        self.contactor.enable(enabled, at_s)
        self._next_s = min(self._solve_by_s, self._switch_due_s())

    def turn_knob(self, position: float, at_s: float, over_s: float = 0.0) -> None:
        self.change(at_s, lambda: self.supply.turn(position, self._now_s, over_s))

    def twin(self) -> "Plant":
        """A copy that nobody listens to."""
        listeners, self.before_change = self.before_change, []
        try:
            return copy.deepcopy(self)
        finally:
            self.before_change = listeners

    def unprotected(self, for_s: float, every_s: float = 1.0) -> list[tuple[float, float]]:
        """What if the circuit stayed closed at the present knob: (seconds from now, highest
        cell voltage), without touching this plant."""
        twin = self.twin()
        start_s = twin._now_s
        twin.change(start_s, twin._close_for_good)
        course = []
        for k in range(1, int(for_s / every_s) + 1):
            twin.advance(start_s + k * every_s)
            course.append((k * every_s, twin.max_cell_v))
        return course

    def _close_for_good(self) -> None:
        self.contactor.hold_closed()
        self.mains = None

    def _step(self, at_s: float, act: Callable[[], None] = lambda: None) -> None:
        for listener in self.before_change:
            listener(at_s)
        span_s = at_s - self._now_s
        if span_s > 0:
            self.bank.pass_time(span_s)
            self.charge_ah += self.current_a * span_s / SECONDS_PER_HOUR
            self._now_s = at_s
        act()
        for switch in self._switches():
            while switch.due_s <= at_s:
                switch.move()
        self._solve()

    def _solve(self) -> None:
        self.solutions += 1
        before_a = self.current_a
        self.output = self._output() if self.contactor.closed else NOTHING
        if before_a and not self.current_a:
            self.stopped_at_s = self._now_s
        self.bank.feed(self.current_a)
        self._note_peak()
        self._solve_by_s = self._now_s + self._step_s()
        self._next_s = min(self._solve_by_s, self._switch_due_s())

    def _switch_due_s(self) -> float:
        return min(switch.due_s for switch in self._switches())

    def _output(self) -> Output:
        rest_v = self.bank.ladder.at_rest(self.bank.emfs_v)[0]
        bank_ohm = self.bank.ladder.volts_per_ampere[0]
        return self.supply.output(self._now_s, rest_v, bank_ohm, self.mains_on)

    def _note_peak(self) -> None:
        """Ripple included: the cell does not care how short it is."""
        above_mean_a = max(self.output.peak_a - self.current_a, 0.0)
        rises_ohm = self.bank.ladder.volts_per_ampere
        highest = max(
            v + above_mean_a * ohm for v, ohm in zip(self.bank.volts, rises_ohm, strict=True)
        )
        self.peak_cell_v = max(self.peak_cell_v, highest)

    def _step_s(self) -> float:
        if self.supply.turning(self._now_s):
            return TURNING_STEP_S
        fastest = self.bank.fastest_v_per_s()
        return min(max(STEP_V / (fastest + 1e-12), SHORTEST_STEP_S), LONGEST_STEP_S)

    def _switches(self) -> tuple[Switch, ...]:
        return (self.contactor,) if self.mains is None else (self.contactor, self.mains)


def _contactor(settings: SupervisorSettings, plant: PlantSettings) -> Switch:
    dropout_ms = settings.contactor.dropout_milliseconds
    return Switch(
        plant.switches.pull_in_milliseconds / 1000,
        plant.switches.release_milliseconds / 1000,
        dropout_ms / 1000 if settings.contactor.drive == "pulse" and dropout_ms else None,
    )


def _mains_relay(settings: SupervisorSettings, plant: PlantSettings) -> Switch | None:
    """None when the supply hangs on the mains directly."""
    if settings.mains_contactor is None:
        return None
    return Switch(
        plant.switches.mains_pull_in_milliseconds / 1000,
        plant.switches.mains_release_milliseconds / 1000,
    )
