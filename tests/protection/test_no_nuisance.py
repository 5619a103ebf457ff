"""Fault-free noise, ripple and work of a careful operator trip nothing, and time nothing.

Ripple of a full-wave rectifier: even harmonics of the mains (Fourier series), their shares from
memory; averaging nulls of a 100 ms window from |sinc(fT)| (0.009860 at 50.5 Hz). A thousand hours:
tests/benchmarks/nuisance.py.
"""

from collections.abc import Iterator
from math import pi, sin
from random import Random

import pytest
from careful_charge import CarefulCharge

from supervisor.measurement.calibration import calibration
from supervisor.measurement.chain import MeasurementChain
from supervisor.protection.decision import Decision, Protection
from supervisor.protection.verdict import State
from supervisor.readings import Channel, ContactorState, Pace, Quality, Readings, Sample
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.model import SupervisorSettings

HERTZ = (49.5, 50.0, 50.5, 59.5, 60.0, 60.5)
# A little below each limit; the ripple is ten times what the hardware page's filter lets through.
MEANS = {Channel.FRONT_CELL: 3.594, Channel.FAR_CELL: 3.590, Channel.SHUNT: 118.0}
RIPPLES = {Channel.FRONT_CELL: 0.015, Channel.FAR_CELL: 0.010, Channel.SHUNT: 30.0}
HARMONICS = {2: 1.0, 4: 0.25, 6: 0.1}  # of the mains' frequency
NOISE_LSB = 1.0
CLOSED = ContactorState(told_to_close=True, told_at_s=0.0, auxiliary_closed=True)


def decisions(
    settings: SupervisorSettings, hertz: float, seconds: float, seed: int
) -> Iterator[Decision]:
    """The decisions on so many seconds of codes, taken at the loop's uneven times."""
    rng = Random(seed)
    chain, protection = MeasurementChain(settings), Protection(settings)
    wired = fitted_channels(settings)
    lines = {channel: calibration(wiring) for channel, wiring in wired.items()}
    cycle_s = settings.loop.cycle_s
    for k in range(round(seconds / cycle_s)):
        at_s = k * cycle_s + rng.uniform(0, 0.001)
        samples = []
        for channel, line in lines.items():
            at_s += rng.uniform(0.0030, 0.0034)
            wave = sum(a * sin(2 * pi * n * hertz * at_s + n) for n, a in HARMONICS.items())
            value = MEANS[channel] + RIPPLES[channel] * wave
            code = round((value - line.offset) / line.scale + rng.gauss(0, NOISE_LSB))
            samples.append(Sample(channel, code, Quality.GOOD, at_s))
        scan = chain.take(samples)
        window, is_new = chain.window()
        yield protection.judge(Readings(scan, window, is_new, CLOSED, Pace(0.0, 0)), at_s)


@pytest.mark.parametrize("hertz", HERTZ)
def test_ripple_with_harmonics_near_every_limit(
    hut_settings: SupervisorSettings, hertz: float
) -> None:
    for number, decision in enumerate(decisions(hut_settings, hertz, 40.0, seed=round(hertz))):
        assert decision.trip is None
        if number > hut_settings.loop.scans_per_window + 1:  # the first window is complete
            busy = [v for v in decision.verdicts if v.state is not State.CLEAR]
            assert decision.permit, busy
            assert not busy


def test_the_same_ripple_a_little_higher_trips(hut_settings: SupervisorSettings) -> None:
    """So that the test above can fail: 8 mV more is over the limit."""
    higher = hut_settings.protection.overvoltage.model_copy(update={"trip_volts": 3.592})
    protection = hut_settings.protection.model_copy(update={"overvoltage": higher})
    settings = hut_settings.model_copy(update={"protection": protection})
    trips = [d.trip.rule for d in decisions(settings, 50.0, 3.0, seed=1) if d.trip]
    assert trips[0] == "overvoltage"


@pytest.mark.parametrize("seed", range(3))
def test_a_careful_operator_at_the_steep_end(hut_settings: SupervisorSettings, seed: int) -> None:
    """The last quarter of an hour before the hold and its beginning, knob work and flicker."""
    charge = CarefulCharge(hut_settings, seed, HERTZ[seed], state_of_charge=0.9955)
    protection = Protection(hut_settings)
    for now_s, readings in charge.readings(0.5):
        decision = protection.judge(readings, now_s)
        assert decision.trip is None, decision.trip
    assert charge.highest_v > 3.5, "it came near the limit"
