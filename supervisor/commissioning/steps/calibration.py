"""Zero of the shunt, and each channel's line against a reference.

A step that finds a channel off, or never calibrated, asks for new settings and is done once more
with them: what it finds then is the channel as left.
"""

from collections.abc import Iterator, Sequence
from math import hypot, sqrt
from typing import Any

from supervisor.commissioning.deeds import Deed, Flow, MeterReads, NoCurrent, Source
from supervisor.commissioning.measuring import CannotTell, Mean, Measuring, measuring
from supervisor.commissioning.steps.follows import Scan, follows, reversed_by
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.control.build_record import Finding
from supervisor.measurement.calibration import calibration
from supervisor.measurement.line_fit import LineFit, NoLine, Point, fit_line, known_zero
from supervisor.measurement.line_judged import (
    cautions,
    poor,
    settings_keys,
)
from supervisor.measurement.meter import Meter
from supervisor.measurement.uncertainty import COVERAGE_FACTOR, ONE_STEP, lsb_v
from supervisor.readings import Channel
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.hardware import CellChannel, ShuntChannel

POINT_S = 4.0
ZERO_S = 10.0
SETTLE_S = 2.0
FLAT_V = 3.30  # where an iron phosphate cell spends its charge; common practice, no source
MOST_UNSURE = 0.05  # of the gain: the settings take no more
ADVISED = 0.01  # of a reference: common practice, no source
MOST_CHANGE = 0.02  # of the gain; more is no tolerance of parts but a fault. Ours, no source

BENCH_CAUTIONS = (
    "Set the bench supply's current limit to its lowest: sense leads and their fuses bear little.",
    "Take the leads off the cells before the supply goes on them: never both.",
)
CURRENT_CAUTIONS = (
    "Hundreds of amperes at a few volts burn by heat and sparks: bolts tight, nothing that burns "
    "nearby, eye protection, and somebody else in the room.",
    "The mains side is work for a licensed electrician, by the rules that hold where you are.",
)


class ZeroStep:
    key = "zero"
    cautions = ("Unplug the supply before a cable of the shunt comes off.",)
    measures = (
        f"The current shown while none flows, for {ZERO_S:g} s. Good: nothing beyond the "
        "converter's own error, and less than sensing.zero_amperes."
    )

    def run(self, bench: Bench) -> Outcome:
        wiring = bench.settings.channels.shunt
        with measuring(bench.settings, bench.leaves) as channels:
            bench.person.does(NoCurrent())
            channels.wait(SETTLE_S)
            zero = channels.mean(Channel.SHUNT, ZERO_S)
        most_a = bench.settings.protection.sensing.zero_amperes
        own_a = calibration(wiring).budget.expanded(0.0)
        passed = abs(zero.value) <= min(own_a, most_a)
        return Outcome(
            (
                Finding(
                    "current shown while none flows",
                    passed,
                    measured=zero.value,
                    unit="A",
                    low=-min(own_a, most_a),
                    high=min(own_a, most_a),
                    uncertainty=COVERAGE_FACTOR * zero.standard,
                    defect="" if passed else "zero of the shunt",
                    remedy="Look for a thermo-voltage (a draught, a warm joint), for sense wires "
                    "that share a cable's lug, and for a current that does flow.",
                ),
            ),
            as_found={"offset_amperes": wiring.offset_amperes, "zero_a": zero.value},
        )


class LineStep:
    """One channel against a reference, at three points and over."""

    measures: str

    def __init__(self, channel: Channel) -> None:
        self._channel = channel
        self._is_current = channel is Channel.SHUNT
        self.key = "current" if self._is_current else channel.value
        self.cautions = CURRENT_CAUTIONS if self._is_current else BENCH_CAUTIONS
        self.measures = (
            f"{channel.words} beside the reference meter, at several points up to the trip limit. "
            "Good: no point differs by more than both may be wrong."
        )

    def run(self, bench: Bench) -> Outcome:
        unit = "A" if self._is_current else "V"
        meter = bench.person.meter("amperes" if self._is_current else "volts")
        wiring = fitted_channels(bench.settings)[self._channel]
        interest = self._limits(bench)
        # Before anybody takes a lead off for it.
        wrong = _coarse(self._channel, meter.limit(interest[0]) / interest[0])
        taken, wrong = ([], wrong) if wrong else self._measured(bench)
        if wrong:
            return Outcome((wrong,))
        errors = tuple(_finding(wiring, meter, mean, shown, unit) for mean, shown in taken)
        try:
            fit = fit_line(tuple(self._fit_points(wiring, meter, taken)))
        except NoLine as error:
            return Outcome((*errors, _no_line(str(error))))
        if coarse := _coarse(self._channel, max(_shared(fit, at) for at in interest)):
            return Outcome((coarse,))
        if refused := tuple(_refused(fit, wiring, interest)):
            return Outcome((*errors, *refused))
        keys = settings_keys(fit, wiring, interest)
        is_new = wiring.gain_uncertainty_percent is None
        is_off = not all(finding.passed for finding in errors)
        kept = self._kept(wiring, keys, interest) if is_new and not is_off else ()
        is_written = is_off or (is_new and not kept)
        return Outcome(
            errors,
            changes=self._changes(keys) if is_written else {},
            as_found={
                "gain": wiring.gain,
                "offset": _offset(wiring),
                **{f"error_at_{shown:.4g}_{unit.lower()}": mean.value - shown
                   for mean, shown in taken},
            },
            as_left=keys if is_written else {},
            notes=(*kept, *cautions(fit), *_residuals(fit, unit)),
        )  # fmt: skip

    def _measured(self, bench: Bench) -> tuple[list[tuple[Mean, float]], Finding | None]:
        """Reading and reference at each point; or what is wrong with the leads."""
        seen: list[Scan] = []
        try:
            with measuring(bench.settings, bench.leaves) as channels:
                taken = [self._take(bench, channels, deed, seen) for deed in self._points(bench)]
        except CannotTell as reason:
            if misled := reversed_by(self._channel, reason):
                return [], misled
            raise
        if self._is_current:
            bench.person.does(NoCurrent())  # before anybody touches a cable
            taken = _from_zero(taken)
        return taken, follows(self._channel, [shown for _, shown in taken], seen)

    def _points(self, bench: Bench) -> Sequence[Deed]:
        if self._is_current:
            most_a = bench.settings.protection.overcurrent.trip_amperes
            first, *others = (round(share * most_a, 1) for share in (0.25, 0.6, 1.0))
            more = [Flow(amperes, from_none=False) for amperes in others]
            return [NoCurrent(), Flow(first), *more]
        low_v = max(bench.settings.protection.undervoltage.trip_volts, 2.0)
        return [
            Source((self._channel.value,), value)
            for value in (low_v, FLAT_V, bench.settings.protection.overvoltage.trip_volts)
        ]

    def _take(
        self, bench: Bench, channels: Measuring, deed: Deed, seen: list[Scan]
    ) -> tuple[Mean, float]:
        """``seen`` takes up what all channels read there."""
        bench.person.does(deed)
        channels.wait(SETTLE_S)
        seen.append(channels.scan())
        mean = channels.mean(self._channel, POINT_S)
        unit = "A" if self._is_current else "V"
        shown = bench.person.reads(MeterReads(self._channel.value, unit))
        return mean, shown

    def _fit_points(
        self, wiring: CellChannel | ShuntChannel, meter: Meter, taken: Sequence[tuple[Mean, float]]
    ) -> Iterator[Point]:
        step = _step(wiring) / ONE_STEP
        for mean, shown in taken:
            raw = (mean.value - _offset(wiring)) / wiring.gain
            u_raw = hypot(mean.standard, step) / wiring.gain
            if shown:
                twice = hypot(meter.random(), meter.random() if self._is_current else 0.0)
                yield Point(raw, u_raw, shown, twice, meter)
            else:
                yield known_zero(raw, u_raw)

    def _limits(self, bench: Bench) -> tuple[float, ...]:
        rules = bench.settings.protection
        if self._is_current:
            return (rules.overcurrent.trip_amperes,)
        return (rules.overvoltage.trip_volts, rules.overvoltage_high_set.trip_volts)

    def _kept(
        self, wiring: CellChannel | ShuntChannel, keys: dict[str, float], interest: Sequence[float]
    ) -> tuple[str, ...]:
        """Why nothing is written though the channel agrees: with what a reference that is less sure
        than plate and data sheet brings, every limit's guard band would only grow wider. A cell's
        series resistors and divider stand on no plate: it is always calibrated."""
        if not self._is_current:
            return ()
        at = interest[0]
        as_found = calibration(wiring).budget.expanded(at)
        as_left = calibration(wiring.model_copy(update=keys)).budget.expanded(at)
        if as_left < as_found:
            return ()
        return (
            "nothing is written: the channel agrees with the reference, and by plate and data "
            f"sheet it is as sure or surer (at {at:g} A: \N{PLUS-MINUS SIGN}{as_found:.2g} A, with "
            f"this reference \N{PLUS-MINUS SIGN}{as_left:.2g} A)",
        )

    def _changes(self, keys: dict[str, float]) -> dict[str, float]:
        block = f"channels.{self._channel.value}"
        return {f"{block}.{key}": _rounded(value) for key, value in keys.items()}


def _from_zero(taken: Sequence[tuple[Mean, float]]) -> list[tuple[Mean, float]]:
    """What a clamp shows where nothing flows, at the first point, is taken off all of them."""
    (nothing, zero), *others = taken
    return [(nothing, 0.0), *((mean, shown - zero) for mean, shown in others)]


def _finding(
    wiring: CellChannel | ShuntChannel, meter: Meter, mean: Mean, shown: float, unit: str
) -> Finding:
    """Both may be wrong by their expanded uncertainties, and not by more together."""
    own = calibration(wiring).budget.expanded(shown)
    of_meter = meter.standard(shown) if shown else 0.0
    both = hypot(own, COVERAGE_FACTOR * of_meter)
    error = mean.value - shown
    passed = abs(error) <= both
    return Finding(
        f"reading minus reference, at {shown:.4g} {unit}",
        passed,
        measured=error,
        unit=unit,
        low=-both,
        high=both,
        uncertainty=COVERAGE_FACTOR * hypot(mean.standard, of_meter),
        defect="" if passed else "the gain is off" if shown else "the zero is off",
        remedy="It is put right by the calibration, if it is a matter of a per cent.",
    )


def _refused(
    fit: LineFit, wiring: CellChannel | ShuntChannel, interest: Sequence[float]
) -> Iterator[Finding]:
    """Why nobody may use this line; a gain that is far off is asked of a good line only."""
    bad = poor(fit, wiring, interest)
    yield from (_no_line(words) for words in bad)
    if not bad and (beyond := _beyond(fit, wiring)):
        yield beyond


def _shared(fit: LineFit, at: float) -> float:
    """What all points share of the reference's error, as a limit and a share of this value."""
    x = fit.reading(at)
    return sqrt(3 * (fit.standard_at(x) ** 2 - fit.random.at(x) ** 2)) / at


def _beyond(fit: LineFit, wiring: CellChannel | ShuntChannel) -> Finding | None:
    change = fit.gain / wiring.gain - 1
    if abs(change) <= MOST_CHANGE:
        return None
    return Finding(
        "the gain to be written",
        False,
        measured=100 * change,
        unit="%",
        low=-100 * MOST_CHANGE,
        high=100 * MOST_CHANGE,
        defect="the gain is off by more than parts explain",
        remedy="Look for a resistor in the sense lead, a wrong divider, another shunt than its "
        "plate says, or a converter that is no ADS1115; then do the step again. If the build is "
        "meant so, write the gain by hand first.",
    )


def _coarse(channel: Channel, share: float) -> Finding | None:
    """Of a reference that the settings could not take a calibration from."""
    if share <= MOST_UNSURE:
        return None
    what = "shunt" if channel is Channel.SHUNT else "channel"
    return Finding(
        "the reference is good enough",
        False,
        measured=100 * share,
        unit="%",
        high=100 * MOST_UNSURE,
        words="what it may be wrong by at the limit, its counts included",
        defect=f"this reference is not good enough for this {what}",
        remedy=f"Take one of {100 * ADVISED:g} % or better at the limit, counts included; of a "
        "clamp, on the lowest range that holds the current.",
    )


def _no_line(words: str) -> Finding:
    return Finding(
        "a straight line through the points",
        False,
        words=words,
        defect="poor fit",
        remedy="Take the points again, each when meter and reading stand still.",
    )


def _residuals(fit: LineFit, unit: str) -> Iterator[str]:
    for point, residual in zip(fit.points, fit.residuals, strict=True):
        thousandths = round(1000 * residual, 2) + 0.0  # no minus before a zero
        yield f"at {point.y:.4g} {unit}: {thousandths:+.2f} m{unit} off the line"


def _offset(wiring: Any) -> float:
    is_cell = isinstance(wiring, CellChannel)
    return float(wiring.offset_volts if is_cell else wiring.offset_amperes)


def _step(wiring: CellChannel | ShuntChannel) -> float:
    """One step of the converter in the channel's unit."""
    if isinstance(wiring, CellChannel):
        return wiring.step_volts
    return lsb_v(wiring) / wiring.ohms * wiring.gain


def _rounded(value: float) -> float:
    return round(value, 6)
