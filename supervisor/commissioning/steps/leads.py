"""Every sense lead at its place, the right way round, and missed when it comes off."""

from collections.abc import Iterator

from supervisor.commissioning.deeds import Source, TakeOff
from supervisor.commissioning.measuring import CannotTell, Measuring, measuring
from supervisor.commissioning.steps.calibration import BENCH_CAUTIONS
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.control.build_record import Finding
from supervisor.readings import Channel, Quality
from supervisor.settings.fitted import fitted_channels

VOLTS = {Channel.FRONT_CELL: 3.30, Channel.FAR_CELL: 3.10}
SHUNT_SHARE = 0.25  # of its rating
CLOSE_V = 0.05
CLOSE_SHARE = 0.1
SETTLE_S = 2.0
MEAN_S = 1.0
SEEN_WITHIN_S = 3.0

# Not what a converter that fails looks like: that says nothing of a lead.
OF_A_LEAD = (Quality.OUT_OF_RANGE, Quality.LEAD_OPEN, Quality.LEAD_SHORTED)


class LeadsStep:
    key = "leads"
    cautions = BENCH_CAUTIONS
    measures = (
        "A voltage of its own on each channel, then each lead off. Good: every channel shows its "
        "own, with the right sign, and says so when its lead is off."
    )

    def run(self, bench: Bench) -> Outcome:
        with measuring(bench.settings, bench.leaves) as channels:
            return Outcome(tuple(self._findings(bench, channels)))

    def _findings(self, bench: Bench, channels: Measuring) -> Iterator[Finding]:
        fitted = fitted_channels(bench.settings)
        wanted = {channel: VOLTS[channel] for channel in fitted if channel in VOLTS}
        for channel, value in wanted.items():
            bench.person.does(Source((channel.value,), value))
        wiring = bench.settings.channels.shunt
        amperes = SHUNT_SHARE * wiring.rated_amperes
        millivolts = amperes * wiring.millivolts_per_ampere
        bench.person.does(Source((Channel.SHUNT.value,), amperes, millivolts))
        channels.wait(SETTLE_S)
        shown = {channel: _shown(channels, channel) for channel in fitted}
        for channel, value in {**wanted, Channel.SHUNT: amperes}.items():
            yield _placed(channel, value, shown, wanted)
        for channel, value in wanted.items():
            bench.person.does(TakeOff(channel.value))
            yield _missed(channels, channel)
            bench.person.does(Source((channel.value,), value))


def _shown(channels: Measuring, channel: Channel) -> float | str:
    """The mean, or why there is none."""
    try:
        return channels.mean(channel, MEAN_S).value
    except CannotTell as reason:
        return str(reason)


def _placed(
    channel: Channel,
    value: float,
    shown: dict[Channel, float | str],
    wanted: dict[Channel, float],
) -> Finding:
    found = shown[channel]
    most = CLOSE_V if channel in wanted else CLOSE_SHARE * value
    passed = isinstance(found, float) and abs(found - value) <= most
    return Finding(
        f"{channel.words} shows what is put on its leads",
        passed,
        measured=found if isinstance(found, float) else None,
        unit=channel.unit,
        low=value - most,
        high=value + most,
        words=found if isinstance(found, str) else "",
        defect="" if passed else _defect(channel, found, value, wanted),
        remedy="Put each lead on its own terminal: plus to plus, front to front; and check the "
        "inputs in the settings.",
    )


def _defect(
    channel: Channel, found: float | str, value: float, wanted: dict[Channel, float]
) -> str:
    if isinstance(found, str):
        return "reversed lead" if Quality.LEAD_REVERSED.value in found else "no value"
    if abs(found + value) <= max(CLOSE_V, CLOSE_SHARE * abs(value)):
        return "reversed lead"
    others = (other for other in wanted if other is not channel)
    if any(abs(found - wanted[other]) <= CLOSE_V for other in others):
        return "swapped leads"
    return "another value than is put on it"


def _missed(channels: Measuring, channel: Channel) -> Finding:
    """The chain must call it no value within the time."""
    channels.wait(SEEN_WITHIN_S)
    reading = channels.scan()[channel]
    passed = reading.quality in OF_A_LEAD
    defect = "an open lead is not seen" if reading.quality.is_good else "something else fails"
    return Finding(
        f"{channel.words}: an open lead is seen",
        passed,
        measured=reading.value,
        unit=channel.unit,
        words=reading.quality.value,
        defect="" if passed else defect,
        remedy="Fit the bleed resistor at the converter's input (hardware page)."
        if reading.quality.is_good
        else "Do the step parts again: this says nothing of the lead.",
    )
