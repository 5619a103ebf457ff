"""The charging circuit: bank, supply, contactor and mains relay, brought forward in time.

Between two solutions of the circuit all mean voltages and currents move in straight lines; the next
solution comes when a switch moves, when somebody intervenes, or before an EMF has left its line by
``BEND_V`` (the chord is then at most a quarter of that away), or a turning knob makes the current
leave its own by ``BEND_A``.
Ripple is added analytically at the instant that is asked for.
"""

import copy
import math
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.bank import SECONDS_PER_HOUR, Ahead, Bank
from supervisor.simulator.contactors import build_contactor, build_mains_relay
from supervisor.simulator.output import NOTHING, Output
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.source import Source
from supervisor.simulator.supply import build_supply
from supervisor.simulator.switch import Switch

BEND_V = 50e-6
BEND_A = 0.05
SHORTEST_STEP_S = 0.005
FIRST_STEP_S = 1.0
LONGEST_STEP_S = 60.0  # what builds up over a step is a resistance: the longer, the more of them
LONGEST_TURNING_STEP_S = 1.0
MOST_GROWTH, MOST_SHRINKING, CAUTION = 5.0, 0.1, 0.9
LOOSE_JOINT = 2.0  # so many times the resistance of a sound bank: what a joint may make of it


class Plant:
    """True voltages and currents, not measured ones. Advances only; times never go back.

    ``before_change`` hears of every new solution before it counts, with its time.
    """

    def __init__(
        self,
        settings: SupervisorSettings,
        plant: PlantSettings,
        start_s: float = 0.0,
        *,
        seed: int = 1,
    ) -> None:
        self.bank = Bank(plant.cells, settings.bank, seed)
        self._never_above_v = settings.bank.never_above_volts
        self.supply = build_supply(plant.supply)
        self.contactor = build_contactor(settings, plant)
        self.mains = build_mains_relay(settings, plant)
        self.before_change: list[Callable[[float], None]] = []
        self.output = NOTHING
        self._charge_ah = 0.0
        self.peak_cell_v = 0.0
        self.stopped_at_s: float | None = None  # when the current last ceased
        self.solutions = 0
        self._now_s = start_s
        self._seen_s = start_s
        self._span_s = FIRST_STEP_S
        self._solve()

    # --- what is true

    @property
    def soc(self) -> float:
        """Of the whole bank, by capacity."""
        return self.bank.soc + self._fed_since_ah / float(self.bank.capacities_ah.sum())

    @property
    def charge_ah(self) -> float:
        """Fed into the bank since the start."""
        return self._charge_ah + self._fed_since_ah

    @property
    def current_a(self) -> float:
        """Mean into the bank."""
        return self.output.current_a + self._a_per_s * self._since_s

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
        return float((self.bank.volts + self._v_per_s * self._since_s).max())

    def cell_v(self, cell: int) -> float:
        """Terminal voltage of a cell without ripple; 0 is the front, -1 the far end."""
        return float(self.bank.volts[cell] + self._v_per_s[cell] * self._since_s)

    def cell_ripple_v(self, cell: int) -> float:
        """Amplitude of the ripple on that voltage."""
        return self.current_ripple_a * float(self.bank.ladder.volts_per_ampere[cell])

    @property
    def current_ripple_a(self) -> float:
        """Amplitude of the current's ripple at ``supply.ripple_hz``."""
        return self.output.ripple_a

    @contextmanager
    def as_solved(self) -> Iterator[None]:
        """Within it: as it was right after the newest solution, where the present lines began."""
        seen_s, self._seen_s = self._seen_s, self._now_s
        try:
            yield
        finally:
            self._seen_s = seen_s

    # --- what happens

    def advance(self, at_s: float) -> None:
        while self._next_s <= at_s:
            self._step(self._next_s)
        self._seen_s = max(at_s, self._now_s)

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

    def prepare(self, others: Iterable[Source] = ()) -> None:
        """Work out now what is asked of the supply, and of others that may take its place.

        Solving that as it comes takes many cycles of a loop that runs in real time.
        """
        emfs_v = (float(self.bank.emfs_v.min()), self._never_above_v)
        for supply in (self.supply, *others):
            supply.prepare(emfs_v, LOOSE_JOINT * self.bank.most_ohm(LONGEST_STEP_S))

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
        self._seen_s = at_s
        for listener in self.before_change:
            listener(at_s)
        span_s = at_s - self._now_s
        if span_s > 0:
            ahead = self._ahead if at_s == self._solve_by_s else self._look(span_s)[0]
            self.bank.arrive(ahead)
            mean_a = (self.output.current_a + ahead.feed_a) / 2
            self._charge_ah += mean_a * span_s / SECONDS_PER_HOUR
            self._now_s = at_s
        act()
        for switch in self._switches():
            while switch.due_s <= at_s:
                switch.move()
        self._solve()

    def _solve(self) -> None:
        self.solutions += 1
        before_a = self.output.current_a
        self.bank.settle()
        self.output = self._output()
        if before_a and not self.output.current_a:
            self.stopped_at_s = self._now_s
        self.bank.feed(self.output.current_a)
        self._note_peak()
        self._look_ahead()
        self._next_s = min(self._solve_by_s, self._switch_due_s())

    def _switch_due_s(self) -> float:
        return min(switch.due_s for switch in self._switches())

    def _output(self) -> Output:
        ladder = self.bank.ladder
        if not (self.contactor.closed and ladder.fed):
            return NOTHING
        rest_v = ladder.rest_v(self.bank.emfs_v)
        return self.supply.output(self._now_s, rest_v, ladder.feed_ohm, self.mains_on)

    def _note_peak(self) -> None:
        """Ripple included: the cell does not care how short it is."""
        above_mean_a = max(self.output.peak_a - self.output.current_a, 0.0)
        volts = self.bank.volts + above_mean_a * self.bank.ladder.volts_per_ampere
        self.peak_cell_v = max(self.peak_cell_v, float(volts.max()))

    def _look_ahead(self) -> None:
        """As far as all goes in straight lines; remembers how far that was for the next time."""
        turning = self.supply.turning(self._now_s)
        span_s = min(self._span_s, LONGEST_TURNING_STEP_S if turning else LONGEST_STEP_S)
        ahead, bend = self._look(span_s)
        while bend > 1 and span_s > SHORTEST_STEP_S:
            span_s = max(span_s * _step_factor(bend), SHORTEST_STEP_S)
            ahead, bend = self._look(span_s)
        self._span_s = span_s * _step_factor(bend)
        self._ahead = ahead
        self._solve_by_s = self._now_s + span_s
        self._a_per_s = (ahead.feed_a - self.output.current_a) / span_s
        self._v_per_s = (ahead.volts - self.bank.volts) / span_s

    def _look(self, span_s: float) -> tuple[Ahead, float]:
        """The bank then, and how far something leaves its straight line: 1 is the most."""
        knob_bend_a = 0.0

        def feeding(rest_v: float, bank_ohm: float) -> float:
            nonlocal knob_bend_a
            if not self.contactor.closed:
                return 0.0
            first_a, middle_a, last_a = (
                self.supply.output(at_s, rest_v, bank_ohm, self.mains_on).current_a
                for at_s in (self._now_s, self._now_s + span_s / 2, self._now_s + span_s)
            )
            knob_bend_a = abs(middle_a - (first_a + last_a) / 2)
            return last_a

        ahead = self.bank.ahead(span_s, feeding)
        return ahead, max(ahead.error_v / BEND_V, knob_bend_a / BEND_A)

    @property
    def _fed_since_ah(self) -> float:
        mean_a = (self.output.current_a + self.current_a) / 2
        return mean_a * self._since_s / SECONDS_PER_HOUR

    @property
    def _since_s(self) -> float:
        return self._seen_s - self._now_s

    def _switches(self) -> tuple[Switch, ...]:
        return (self.contactor,) if self.mains is None else (self.contactor, self.mains)


def _step_factor(bend: float) -> float:
    """How much longer a step may be: its bend goes with the square of its length."""
    factor = CAUTION / math.sqrt(max(bend, 1e-6))
    return min(max(factor, MOST_SHRINKING), MOST_GROWTH)
