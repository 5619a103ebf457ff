"""Temperature: answers that fail, that age, and that cannot be true."""

from math import inf, isnan, nan, nextafter

import pytest
from cycles import CANNOT_TELL, CLEAR, TIMING, TRIP, states
from hypothesis import given
from hypothesis import strategies as st
from probes import GONE, PROBES, WELL, Celsius, Fed

from supervisor.protection.verdict import State
from supervisor.readings import Place, ProbeReading, Quality
from supervisor.settings.model import SupervisorSettings


@pytest.fixture
def fed(hut_settings: SupervisorSettings) -> Fed:
    return Fed(hut_settings)


@pytest.mark.parametrize("probe", PROBES)
def test_a_good_answer_counts_until_it_is_too_old(fed: Fed, probe: str) -> None:
    fed.at(0.0, **WELL)
    verdicts = []
    for at_s in (1.0, 8.0, 15.0, nextafter(15.0, inf), 16.0):
        answers = {**WELL, probe: GONE}
        verdicts.append(fed.at(at_s, **answers))
    assert states(verdicts) == [CLEAR] * 3 + [CANNOT_TELL] * 2
    for verdict in verdicts[3:]:
        assert (verdict.measured, verdict.since_s, verdict.left_s) == (None, None, None)
        assert verdict.remedy == ""
    assert verdicts[4].reason.endswith(f"(probe {probe}): no answer, no temperature for 16.0 s")


def test_back_in_time_nothing_has_happened(fed: Fed) -> None:
    fed.at(0.0, **WELL)
    assert fed.at(15.0, **{**WELL, "sink": GONE}).state is CLEAR
    assert fed.at(16.0, **WELL).state is CLEAR
    assert fed.at(31.0, **{**WELL, "sink": GONE}).state is CLEAR


@pytest.mark.parametrize("quality", [quality for quality in Quality if quality is not Quality.GOOD])
def test_every_flaw_is_told(fed: Fed, quality: Quality) -> None:
    fed.at(0.0, **WELL)
    verdict = fed.at(20.0, **{**WELL, "sink": quality})
    assert verdict.state is CANNOT_TELL
    assert verdict.reason == (f"heat sink (probe sink): {quality.value}, no temperature for 20.0 s")
    assert (verdict.limit, verdict.unit) == (80.0, "°C")


def test_a_good_answer_that_hangs_ages_as_well(fed: Fed) -> None:
    """A read that hangs in the kernel: the newest answer stays good, and gets old."""
    fed.at(0.0, **WELL)
    assert fed.at(15.0, sink=40.0, iron=40.0).state is CLEAR
    verdict = fed.at(15.5, sink=40.0, iron=40.0)
    assert verdict.state is CANNOT_TELL
    assert verdict.reason == "cells (probe cell): no fresh answer, no temperature for 15.5 s"


@pytest.mark.parametrize("probe", PROBES)
def test_never_answered_it_cannot_tell_from_the_start(fed: Fed, probe: str) -> None:
    verdict = fed.at(0.0, **{**WELL, probe: GONE})
    assert verdict.state is CANNOT_TELL
    assert verdict.reason.endswith(f"(probe {probe}): no answer, and no temperature so far")


def test_of_two_that_are_lost_the_one_last_seen_nearer_to_its_limit_is_named(fed: Fed) -> None:
    """One that never answered comes after both: nothing is known of it."""
    fed.at(0.0, sink=70.0, iron=99.0, cell=GONE)
    assert "(probe iron)" in fed.at(20.0, sink=GONE, iron=GONE).reason
    fed.at(21.0, iron=20.0)
    assert "(probe sink)" in fed.at(40.0, sink=GONE, iron=GONE).reason


def test_a_probe_missing_from_the_readings_has_no_answer(fed: Fed) -> None:
    fed.at(0.0, **WELL)
    del fed.seen["iron"]
    assert fed.at(15.0, sink=40.0, cell=20.0).state is CLEAR
    verdict = fed.at(15.5, sink=40.0, cell=20.0)
    assert verdict.state is CANNOT_TELL
    assert "transformer (probe iron): no answer" in verdict.reason


@pytest.mark.parametrize("value", [nan, inf, -inf])
def test_no_number_is_no_temperature(fed: Fed, value: float) -> None:
    assert fed.at(0.0, **{**WELL, "sink": value}).state is CANNOT_TELL
    assert fed.at(1.0, **WELL).state is CLEAR
    assert fed.at(17.0, **{**WELL, "sink": value}).state is CANNOT_TELL


@pytest.mark.parametrize("taken_at_s", [nan, inf, 0.001])
def test_an_answer_from_the_future_or_from_no_time_is_none(fed: Fed, taken_at_s: float) -> None:
    fed.at(0.0, iron=40.0, cell=20.0)
    assert fed.at(0.0, taken_at_s=taken_at_s, sink=40.0).state is CANNOT_TELL


def test_a_good_reading_without_a_value_is_none(fed: Fed) -> None:
    fed.at(0.0, **WELL)
    fed.seen["sink"] = ProbeReading("sink", Place.HEAT_SINK, None, Quality.GOOD, 1.0)
    assert fed.at(16.0, iron=40.0, cell=20.0).state is CANNOT_TELL


def test_a_bad_quality_with_a_value_is_not_believed(fed: Fed) -> None:
    fed.at(0.0, **WELL)
    for k in range(1, 11):
        fed.seen["sink"] = ProbeReading("sink", Place.HEAT_SINK, 90.0, Quality.CHIP_RESET, float(k))
        assert fed.at(float(k), iron=40.0, cell=20.0).state is CLEAR


def test_silence_neither_completes_a_timing_nor_ends_it(fed: Fed) -> None:
    fed.at(0.0, **WELL)
    fed.at(1.0, sink=90.0)
    fed.at(2.0, sink=90.0)
    silent = [fed.at(float(s), **{**WELL, "sink": GONE}) for s in range(3, 18)]
    assert set(states(silent)) == {TIMING}
    assert fed.at(17.5, **{**WELL, "sink": GONE}).state is CANNOT_TELL
    again = fed.at(18.0, **{**WELL, "sink": 90.0})
    assert (again.state, again.since_s) == (TRIP, 1.0)


def test_too_hot_and_then_lost_stays_a_trip(fed: Fed) -> None:
    """Who does not know that it cooled down must not say so."""
    fed.course("sink", [90.0] * 6)
    lost = fed.at(100.0, **{**WELL, "sink": GONE})
    assert (lost.state, lost.measured) == (TRIP, 90.0)
    assert lost.reason == (
        "heat sink (probe sink) was above 80.0 °C for 100.0 s, "
        "now no answer, no temperature for 95.0 s"
    )
    assert states([fed.at(101.0 + k, **WELL) for k in range(3)]) == [TRIP, CLEAR, CLEAR]


values = st.one_of(st.floats(-60, 130), st.sampled_from([GONE, Quality.CHIP_RESET, nan]))
steps = st.lists(st.tuples(values, values, values, st.floats(0.01, 20)), max_size=25)


@given(steps)
def test_clear_only_while_every_probe_was_seen_within_its_limits_of_late(
    hut_settings: SupervisorSettings, steps: list[tuple[Celsius, Celsius, Celsius, float]]
) -> None:
    fed = Fed(hut_settings)
    now_s = 0.0
    last_good: dict[str, tuple[float, float]] = {}
    for sink, iron, cell, passed_s in steps:
        now_s += passed_s
        answers = {"sink": sink, "iron": iron, "cell": cell}
        for name, value in answers.items():
            if not isinstance(value, Quality) and not isnan(value):
                last_good[name] = (value, now_s)
        verdict = fed.at(now_s, **answers)
        if verdict.state is State.CLEAR:
            assert set(last_good) == set(PROBES)
            assert all(now_s - at_s <= 15.0 for _, at_s in last_good.values())
            assert last_good["sink"][0] <= 80
            assert last_good["iron"][0] <= 100
            assert 5 <= last_good["cell"][0] <= 45


@given(steps=st.lists(st.tuples(st.floats(60, 100), st.floats(0, 20)), max_size=30))
def test_hotter_never_turns_a_trip_into_anything_else(
    hut_settings: SupervisorSettings, steps: list[tuple[float, float]]
) -> None:
    cooler, hotter = Fed(hut_settings), Fed(hut_settings)
    for k, (celsius, by) in enumerate(steps):
        tripped = cooler.at(float(k), **{**WELL, "sink": celsius}).state is TRIP
        now = hotter.at(float(k), **{**WELL, "sink": celsius + by}).state
        assert now is TRIP or not tripped
