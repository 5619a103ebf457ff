"""What the front cell answers to each turn of the knob: volts per ampere, learned from the steps.

When the current changes by dI, a bank moves by dI times its resistance at once. What moves slowly
meanwhile is taken out by the drift before the step.
"""

from collections import deque
from math import sqrt
from typing import NamedTuple

from supervisor.protection.sensing.stretches import Stretch, Stretches
from supervisor.protection.slope import SlidingSlope
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings

STRETCH_S = 1.0
# Of a change of the current, with the stretches around it that it begins and ends in: a slower one
# is drowned in the bank's own drift.
LONGEST_S = 10.0 + 2 * STRETCH_S
DRIFT_OVER_S = 10.0  # before a step
FEWEST_BEFORE = 5  # stretches at one current, for their drift
STEADY_SHARE = 0.2  # of step_amperes: flicker of the mains
SMALL_DRIFT = 0.5  # of the least answer, until after the step
# Of a change between two means, in steps of the converter: their rounding, 1/sqrt(12) each, and the
# noise of some 70 conversions each.
KNOWN_TO_STEPS = 0.5
KEPT_SIGMAS = 6.0  # older steps are forgotten when the newer ones tell twice as well as they must
MOST_STEPS = 200
PER_MICROOHM = 1e6


class Step(NamedTuple):
    """A change of the current, what the front cell answered, and that answer's variance (V2)."""

    amperes: float
    volts: float
    variance: float


class KnobSteps:
    """All steps of ``step_amperes`` or more, as many of the newest as it takes.

    A regression through zero. Each change of the means before and after a step is known to
    ``KNOWN_TO_STEPS``, and to the whole of the drift that was taken out of it; where that drift is
    not small against the least answer, the step says nothing.
    """

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.sensing
        self._least_ohm = rule.least_answer_microohms / PER_MICROOHM
        self._step_a = rule.step_amperes
        self._known_v = KNOWN_TO_STEPS * settings.channels.front_cell.step_volts
        self._stretches = Stretches(STRETCH_S, settings.loop.window_s)
        self._steady_a = STEADY_SHARE * rule.step_amperes
        self._level = _Level(self._steady_a)
        self._next = _Level(self._steady_a)  # in the making
        self._steps: deque[Step] = deque(maxlen=MOST_STEPS)

    def take(self, readings: Readings) -> bool:
        """Whether this cycle's window completed a step."""
        stretch = self._stretches.take(readings)
        if stretch is None:
            return False
        step = self._step_to(stretch)
        if step is not None:
            self._steps.append(step)
            self._forget()
        self._follow(stretch, told=step is not None)
        return step is not None

    def clear(self) -> None:
        """Forget all steps; where the current stands is kept."""
        self._steps.clear()

    def __len__(self) -> int:
        return len(self._steps)

    @property
    def turned_a(self) -> float:
        """How far the current went in all these steps together."""
        return sum(abs(step.amperes) for step in self._steps)

    def _follow(self, stretch: Stretch, *, told: bool) -> None:
        """The old level is kept until the new one can serve in its place: a knob turned slowly from
        zero passes through a stretch that is steady enough, and is none to start from."""
        level = self._level
        if not level.is_steady(stretch):
            return
        if told or not level.can_start(stretch.at_s) or level.goes_on(stretch):
            level.take(stretch)
            self._next = _Level(self._steady_a)
            return
        self._next.take(stretch)
        if self._next.can_start(stretch.at_s):
            self._level, self._next = self._next, _Level(self._steady_a)

    def _step_to(self, new: Stretch) -> Step | None:
        """The step from the level before to this stretch, when it tells something."""
        level = self._level
        last, fit = level.last, level.drift.fit()
        if last is None or fit is None or not level.can_start(new.at_s):
            return None
        span_s = new.at_s - last.at_s
        amperes = new.amperes - last.amperes
        if abs(amperes) < self._step_a or not level.is_steady(new):
            return None
        drift_v, unsure_v = fit.slope * span_s, (abs(fit.slope) + fit.sigma) * span_s
        if unsure_v > SMALL_DRIFT * self._least_ohm * abs(amperes):
            return None
        return Step(amperes, new.volts - last.volts - drift_v, self._known_v**2 + unsure_v**2)

    def _forget(self) -> None:
        while len(self._steps) > 1:
            oldest = self._steps.popleft()
            if KEPT_SIGMAS * self.answer()[1] > self._least_ohm:
                self._steps.appendleft(oldest)
                return

    def answer(self) -> tuple[float, float]:
        """Volts per ampere over all steps kept, of which there must be one, and its standard
        uncertainty, in ohm."""
        squares = sum(step.amperes**2 for step in self._steps)
        products = sum(step.amperes * step.volts for step in self._steps)
        variance = sum(step.amperes**2 * step.variance for step in self._steps)
        return products / squares, sqrt(variance) / squares


class _Level:
    """The newest stretches at one steady current, and the front cell's drift over them."""

    def __init__(self, steady_a: float) -> None:
        self._steady_a = steady_a
        self._from_a = 0.0
        self.last: Stretch | None = None
        self.drift = SlidingSlope(DRIFT_OVER_S)

    def is_steady(self, stretch: Stretch) -> bool:
        return stretch.high_a - stretch.low_a <= self._steady_a

    def can_start(self, at_s: float) -> bool:
        """Whether a step from here could still be told, by then."""
        if self.last is None or at_s - self.last.at_s > LONGEST_S:
            return False
        return len(self.drift) >= FEWEST_BEFORE

    def goes_on(self, stretch: Stretch) -> bool:
        return self.last is not None and abs(stretch.amperes - self._from_a) <= self._steady_a

    def take(self, stretch: Stretch) -> None:
        """At another current, or after a long while, a new level begins."""
        late = self.last is not None and stretch.at_s - self.last.at_s > LONGEST_S
        if late or not self.goes_on(stretch):
            self.drift.clear()
            self._from_a = stretch.amperes
        self.drift.add(stretch.at_s, stretch.volts)
        self.last = stretch
