"""The second line: raised over its own limit while the coil is fed, with no rule of software there.

Its converter is set as the daemon sets it. What then opens the contact is ALERT, by wire.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from math import hypot
from typing import Any

from gpiozero import InputDevice

from supervisor.commissioning.deeds import CoilOnly, MeterReads, Raise, Source
from supervisor.commissioning.meanwhile import meanwhile
from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.steps.calibration import BENCH_CAUTIONS, FLAT_V
from supervisor.commissioning.steps.coil import CoilOnBench, coil
from supervisor.commissioning.steps.contactor import COIL_CAUTIONS
from supervisor.commissioning.steps.drives import NEAR_V
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.commissioning.steps.trip_points import SLACK_S, TIMES_AS_SLOW
from supervisor.control.build_record import Finding
from supervisor.devices.comparator import LARGEST, Comparator, NotAsWritten, Register
from supervisor.measurement.uncertainty import COVERAGE_FACTOR
from supervisor.readings import Channel
from supervisor.settings.hardware import SecondLine
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.response import budgets

FRONT = (Channel.FRONT_CELL.value,)
V_PER_S = 0.001
SETTLE_S = 2.0


class SecondLineStep:
    """Where its comparator trips, and that this opens the contact."""

    key = "trip_second_line"
    cautions = (*COIL_CAUTIONS, *BENCH_CAUTIONS)
    measures = (
        "The coil is fed all the time, and the bench supply raised past the second line's limit. "
        "Good: it trips there by the reference meter, and the contact opens against the feed."
    )

    def run(self, bench: Bench) -> Outcome:
        line = bench.settings.second_line
        assert line
        budget = next(one for one in budgets(bench.settings) if one.rule == "second_line")
        meter = bench.person.meter("volts")
        raising = Raise(FRONT, line.trip_volts - NEAR_V, line.trip_volts + NEAR_V, V_PER_S)
        bench.person.does(CoilOnly())
        bench.person.does(Source(FRONT, FLAT_V))  # below its release, whatever was before
        with _alert(bench, line) as alert, coil(bench) as one:
            one.rest(SETTLE_S)
            bench.person.does(Source(FRONT, raising.begin))
            one.hold(SETTLE_S)
            acted = bool(alert.is_active) or _raised(bench, one, alert, raising)
            one.hold()
            closed = one.is_closed(held=True)
        shown_v = bench.person.reads(MeterReads(FRONT[0], "V"))
        unsure_v = COVERAGE_FACTOR * meter.standard(shown_v)
        return Outcome((_where(budget, shown_v, unsure_v, acted=acted), _holds_off(closed=closed)))


@contextmanager
def _alert(bench: Bench, line: SecondLine) -> Iterator[Any]:
    """The pin that shows ALERT, with its converter set. Raises CannotTell when that fails."""
    comparator = Comparator(line, bench.settings.converters[line.converter])
    limits = comparator.thresholds(line.release_volts, line.trip_volts)
    bus = bench.leaves.open_bus()
    try:
        comparator.configure(bus)
        comparator.write(bus, Register.HIGH, LARGEST)  # never LOW above HIGH on the way
        comparator.write(bus, Register.LOW, limits.low)
        comparator.write(bus, Register.HIGH, limits.high)
    except NotAsWritten as error:
        raise CannotTell(
            f"the second line's converter does not keep what is set: {error}"
        ) from None
    finally:
        bus.close()
    pin = InputDevice(line.pin, pull_up=True, pin_factory=bench.leaves.pin_factory)
    try:
        yield pin
    finally:
        pin.close()


def _raised(bench: Bench, one: CoilOnBench, alert: Any, raising: Raise) -> bool:
    """Whether ALERT goes low on the way, or soon after it; the coil is fed meanwhile. Raises
    CannotTell when it is not on before."""
    clock, beat_s = bench.leaves.clock, bench.settings.loop.cycle_s
    if not one.is_closed(held=True):
        raise CannotTell("the contactor did not close, with ALERT high (repeat the step drive)")
    meanwhile(bench.leaves, lambda: bench.person.does(raising), lambda: one.hold(beat_s))
    until_s = clock.now_s() + TIMES_AS_SLOW * raising.lasts_s + SLACK_S
    while not alert.is_active:
        if clock.now_s() > until_s:
            return False
        one.hold(beat_s)
        bench.person.is_shown("ALERT is high: the coil may be on")
    bench.person.tells("TRIPPED, ALERT is low: stop turning, and touch nothing.")
    return True


def _where(budget: RuleBudget, shown_v: float, unsure_v: float, *, acted: bool) -> Finding:
    most_v = hypot(budget.guard_band or 0.0, unsure_v)
    low_v, high_v = budget.limit - most_v, budget.limit + most_v + V_PER_S
    passed = acted and low_v <= shown_v <= high_v
    return Finding(
        "second_line: where it trips",
        passed,
        measured=shown_v,
        unit="V",
        low=low_v,
        high=high_v,
        uncertainty=unsure_v,
        words="ALERT went low" if acted else "ALERT stayed high",
        defect="" if passed else "trips at another value" if acted else "does not trip",
        remedy="Look at its leads, its gain and its ALERT wire; calibrate its gain against the "
        "meter.",
    )


def _holds_off(*, closed: bool) -> Finding:
    return Finding(
        "second_line: the contact opens though the coil is fed",
        not closed,
        words="closed" if closed else "open",
        defect="ALERT does not hold the coil off" if closed else "",
        remedy="Follow the wire from ALERT to the AND before the coil driver (hardware page).",
    )
