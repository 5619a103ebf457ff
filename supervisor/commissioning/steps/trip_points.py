"""Each rule driven over its limit, through the daemon's own loop, until the contactor lets go.

First slowly, to see where it trips; then at once, to see how long it takes. The contactor's coil is
fed, nothing is in its contacts.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot

from supervisor.commissioning.deeds import (
    CoilOnly,
    Jump,
    MeterReads,
    Raise,
    Source,
)
from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.steps.calibration import BENCH_CAUTIONS, FLAT_V
from supervisor.commissioning.steps.contactor import COIL_CAUTIONS
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.commissioning.trial import Trial, Tripped, trial
from supervisor.control.build_record import Finding
from supervisor.measurement.meter import Meter, Unit
from supervisor.measurement.uncertainty import COVERAGE_FACTOR
from supervisor.readings import Channel, Readings
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.response import budgets

SLACK_S = 20.0  # for a hand that begins late
SETTLED_S = 3.0
TIMES_AS_SLOW = 2  # a hand that turns at half the speed is a good one
COARSE_BANDS = 3  # a meter that much worse than the channel tells nothing of it; ours, no source
COARSE = "the meter is too coarse for this"
RESPONSE = "from its limit to the open contact"


@dataclass(frozen=True, slots=True)
class Drive:
    """How a rule is driven over its limit: from ``start`` slowly past ``limit`` to ``end``, and
    for its time from ``calm`` to ``beyond`` at once; in ``unit``, on ``channels``.

    A current begins at zero, with the circuit open, and comes to its start at ``approach_per_s``.
    """

    channels: tuple[str, ...]
    unit: Unit
    limit: float
    start: float
    end: float
    per_s: float
    calm: float
    beyond: float
    approach_per_s: float = 0.0

    @property
    def upwards(self) -> bool:
        return self.end > self.start


Driven = Callable[[SupervisorSettings], Drive]


class TripStep:
    """Where a rule trips, and how long it takes."""

    cautions = (*COIL_CAUTIONS, *BENCH_CAUTIONS)
    measures = (
        "The value at which it trips by the reference meter, and the time from the limit to the "
        "open contact. Good: both within what `holdwatch check` promises."
    )

    def __init__(self, rule: str, driven: Driven) -> None:
        self.rule = rule
        self.key = f"trip_{rule}"
        self._driven = driven

    def run(self, bench: Bench) -> Outcome:
        drive = self._driven(bench.settings)
        budget = next(one for one in budgets(bench.settings) if one.rule == self.rule)
        meter = bench.person.meter("volts" if drive.unit == "V" else "millivolts")
        bench.person.does(CoilOnly())
        self._calm(bench, drive, drive.start)
        with trial(bench.settings, bench.leaves, bench.person.tells) as loop:
            where = self._slowly(bench, loop, drive, budget, meter)
            if not where.passed:
                return Outcome((where,))
            self._calm(bench, drive, drive.calm)
            loop.reset()
            took = self._at_once(bench, loop, drive, budget)
        return Outcome((where, took))

    def _calm(self, bench: Bench, drive: Drive, value: float) -> None:
        """All channels where no rule minds, the driven ones at a value; a current at none."""
        value = 0.0 if drive.approach_per_s else value
        cells = [channel.value for channel in fitted_cells(bench.settings)]
        others = tuple(channel for channel in cells if channel not in drive.channels)
        if others:
            bench.person.does(Source(others, FLAT_V))
        if drive.unit == "V":
            bench.person.does(Source((Channel.SHUNT.value,), 0.0, millivolts=0.0))
        bench.person.does(Source(drive.channels, value, self._millivolts(bench, drive, value)))

    def _slowly(
        self, bench: Bench, loop: Trial, drive: Drive, budget: RuleBudget, meter: Meter
    ) -> Finding:
        loop.close()
        self._approach(bench, loop, drive, drive.start)
        ratio = self._per_ampere(bench, drive)
        raising = Raise(drive.channels, drive.start, drive.end, drive.per_s, ratio)
        loop.while_(lambda: bench.person.does(raising))
        tripped = loop.run(TIMES_AS_SLOW * raising.lasts_s + SLACK_S, self._shows(bench, drive))
        shown, unsure = _read(bench, drive, meter, ratio)
        lag = drive.per_s * budget.response_s
        most = hypot(budget.guard_band or 0.0, unsure)
        low, high = drive.limit - most, drive.limit + most
        low, high = (low, high + lag) if drive.upwards else (low - lag, high)
        by_it = tripped is not None and tripped.rule == self.rule
        is_coarse = unsure > COARSE_BANDS * (budget.guard_band or unsure)
        passed = by_it and low <= shown <= high and not is_coarse
        return Finding(
            f"{self.rule}: where it trips",
            passed,
            measured=shown,
            unit=drive.unit,
            low=low,
            high=high,
            uncertainty=unsure,
            words=_told(tripped),
            defect="" if passed else COARSE if is_coarse else self._defect(tripped),
            remedy="Calibrate the channel again; look at the limit in the settings; take "
            "a meter that is as good as the channel.",
        )

    def _at_once(self, bench: Bench, loop: Trial, drive: Drive, budget: RuleBudget) -> Finding:
        loop.close()
        self._approach(bench, loop, drive, drive.calm)
        millivolts = self._millivolts(bench, drive, drive.beyond)
        jump = Jump(drive.channels, drive.beyond, millivolts)
        loop.while_(lambda: bench.person.does(jump))
        channel = Channel(drive.channels[0])
        beyond = Beyond(channel, drive.limit, upwards=drive.upwards)
        return timed(bench, loop, budget, beyond)

    def _approach(self, bench: Bench, loop: Trial, drive: Drive, value: float) -> None:
        if drive.unit == "V":
            show_a_current(bench, loop)
        elif drive.approach_per_s and value:
            ratio = self._per_ampere(bench, drive)
            raising = Raise(drive.channels, 0.0, value, drive.approach_per_s, ratio)
            loop.while_(lambda: bench.person.does(raising))
            if tripped := loop.run(raising.lasts_s + SETTLED_S, self._shows(bench, drive)):
                raise CannotTell(f"on the way to {value:g} {drive.unit}: {_told(tripped)}")

    def _shows(self, bench: Bench, drive: Drive) -> Callable[[Readings], None]:
        channel = Channel(drive.channels[0])

        def look(readings: Readings) -> None:
            if readings.window_is_new and readings.window:
                value = readings.window[channel].good_value
                shown = "no value" if value is None else f"{value:.3f} {drive.unit}"
                bench.person.is_shown(f"{channel.words} {shown}, limit {drive.limit:g}")

        return look

    def _defect(self, tripped: Tripped | None) -> str:
        if tripped is None:
            return "does not trip"
        if tripped.rule != self.rule:
            return f"{tripped.rule} trips before it"
        return "trips at another value"

    def _per_ampere(self, bench: Bench, drive: Drive) -> float | None:
        shunt = bench.settings.channels.shunt
        return shunt.millivolts_per_ampere if drive.unit == "A" else None

    def _millivolts(self, bench: Bench, drive: Drive, value: float) -> float | None:
        ratio = self._per_ampere(bench, drive)
        return None if ratio is None else ratio * value


def _read(
    bench: Bench, drive: Drive, meter: Meter, per_ampere: float | None
) -> tuple[float, float]:
    """What the reference shows, in the drive's unit, and its expanded uncertainty."""
    if per_ampere is None:
        shown_v = bench.person.reads(MeterReads(drive.channels[0], "V"))
        return shown_v, COVERAGE_FACTOR * meter.standard(shown_v)
    shown_mv = bench.person.reads(MeterReads(drive.channels[0], "mV"))
    unsure_mv = 1000 * COVERAGE_FACTOR * meter.standard(shown_mv / 1000)
    return shown_mv / per_ampere, unsure_mv / per_ampere


def show_a_current(bench: Bench, loop: Trial) -> None:
    """Once closed: a cell that rises while no current shows is a fault of its own.

    More than what counts as none, less than what says that the contactor did not open.
    """
    rules = bench.settings.protection
    none_a, open_a = rules.sensing.zero_amperes, rules.failed_to_open.current_amperes
    value = (none_a + open_a) / 2 if open_a > none_a else 1.5 * none_a
    ratio = bench.settings.channels.shunt.millivolts_per_ampere
    source = Source((Channel.SHUNT.value,), value, ratio * value)
    loop.while_(lambda: bench.person.does(source))
    if tripped := loop.run(SETTLED_S):
        raise CannotTell(f"with {value:g} A shown: {_told(tripped)}")


class Beyond:
    """Watches for the first conversion beyond a limit."""

    def __init__(self, channel: Channel, limit: float, *, upwards: bool = True) -> None:
        self._channel = channel
        self._limit = limit
        self._upwards = upwards
        self.since_s: float | None = None

    def look(self, readings: Readings) -> None:
        reading = readings.scan[self._channel]
        value = reading.good_value
        if value is None or self.since_s is not None:
            return
        if value > self._limit if self._upwards else value < self._limit:
            self.since_s = reading.taken_at_s


def timed(bench: Bench, loop: Trial, budget: RuleBudget, beyond: Beyond) -> Finding:
    """From the first conversion beyond a limit to the open contact; whoever trips first counts."""
    tripped = loop.run(budget.response_s + SLACK_S, beyond.look)
    took_s = _took_s(bench.settings, tripped, beyond)
    passed = took_s is not None and took_s <= budget.response_s
    return Finding(
        f"{budget.rule}: {RESPONSE}",
        passed,
        measured=took_s,
        unit="s",
        high=budget.response_s,
        words=_told(tripped),
        defect="" if passed else "slow to trip" if tripped else "does not trip",
        remedy="Repeat the step release; see `holdwatch check` for where the time goes.",
    )


def _took_s(settings: SupervisorSettings, tripped: Tripped | None, beyond: Beyond) -> float | None:
    """None when it did not trip, or nobody saw when it began.

    A source on the shunt goes on after the contact is open, and hides it: then it is the longest
    that the settings know.
    """
    if tripped is None or beyond.since_s is None:
        return None
    opened_in_s = tripped.lockout.opened_in_s
    if opened_in_s is None:
        contactor = settings.contactor
        dropout_ms = contactor.dropout_milliseconds if contactor.drive == "pulse" else None
        opened_in_s = ((dropout_ms or 0.0) + contactor.release_milliseconds) / 1000
    return tripped.coil_off_s - beyond.since_s + opened_in_s


def _told(tripped: Tripped | None) -> str:
    return "no trip" if tripped is None else f"tripped by {tripped.rule}"
