"""The guide runs within the loop: whatever it is fed, it raises nothing and shows only numbers."""

import json
from dataclasses import asdict
from math import inf, nan
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.guidance.attention import Attention
from supervisor.guidance.guide import Guide
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Channel, ContactorState, Pace, Quality, Reading, Readings
from supervisor.settings.load import read_document
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.fitness import examine_document, fit
from supervisor.snapshot import Circuit

ODD = (None, nan, inf, -inf, 0.0, -1.0, 5000.0, -5000.0)  # more is out of every range
VOLTS = st.one_of(st.sampled_from(ODD), st.floats(3.2, 3.7))
AMPERES = st.one_of(st.sampled_from(ODD), st.floats(-50, 150))
SPANS_S = st.one_of(st.just(0.1), st.floats(0.05, 5), st.sampled_from([0.0, 60.0, 86400.0]))
RULES = ("rate_of_rise", "knob_speed", "overvoltage", "supply_thermal", "temperature")


@pytest.fixture(scope="module")
def pulsed(hut_path: Path) -> SupervisorSettings:
    changes = {
        "profiles": {},
        "charge.full.minutes": 1,
        "charge.full.least_percent": 0,
        "charge.rest.minutes": 1,
        "charge.pulsed_hold": {"open_above_volts": 3.56, "close_below_volts": 3.5},
    }
    return fit(examine_document(read_document(hut_path).with_overrides(changes)))


stretches = st.lists(
    st.tuples(
        st.sampled_from(list(Circuit)),
        VOLTS,
        VOLTS,
        AMPERES,
        SPANS_S,
        st.integers(1, 150),
        st.sampled_from(list(State)),
        st.sampled_from(ODD),
    ),
    min_size=1,
    max_size=25,
)


@given(stretches=stretches)
@settings(max_examples=100)
def test_nothing_it_is_fed_makes_it_raise(
    pulsed: SupervisorSettings, stretches: list[tuple[object, ...]]
) -> None:
    guide, attention, now_s, told_at_s = Guide(pulsed), Attention(), 1000.0, 1000.0
    for circuit, front, far, amperes, span_s, times, state, measured in stretches:
        closed = circuit is Circuit.CLOSED
        told_at_s = now_s
        for _ in range(times):  # type: ignore[call-overload]
            now_s += span_s  # type: ignore[operator]
            values = zip(Channel, (front, far, amperes), strict=True)
            window = {
                channel: Reading(
                    channel,
                    value,  # type: ignore[arg-type]
                    Quality.NO_ANSWER if value is None else Quality.GOOD,
                    0.1,
                    now_s,
                )
                for channel, value in values
            }
            contactor = ContactorState(closed, told_at_s, closed)
            readings = Readings(window, window, True, contactor, Pace(0.0, 0))
            verdicts = [
                Verdict(rule, state, measured, 0.06, "V/min", None, "said so")  # type: ignore[arg-type]
                for rule in RULES
            ]
            guide.take(readings, verdicts, circuit, now_s)  # type: ignore[arg-type]
            attention.sound(guide.cues, now_s, alarm=circuit is Circuit.LOCKED_OUT)
        json.dumps(asdict(guide.view(now_s)), allow_nan=False)
        json.dumps(dict(guide.tally.memory()), allow_nan=False)
