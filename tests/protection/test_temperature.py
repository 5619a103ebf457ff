"""Temperature (function 26 of IEEE C37.2): the worst of all probes and limits."""

from dataclasses import replace
from math import inf, nextafter

import pytest
from cycles import CANNOT_TELL, CLEAR, TIMING, TRIP, cycle, states, told_open
from probes import GONE, SINK, WELL, Fed, reading, with_probes

from supervisor.protection.decision import Protection
from supervisor.protection.rules.temperature import TemperatureRule
from supervisor.protection.verdict import State
from supervisor.readings import Place
from supervisor.settings.hardware import Probe
from supervisor.settings.model import SupervisorSettings


@pytest.fixture
def fed(hut_settings: SupervisorSettings) -> Fed:
    return Fed(hut_settings)


LIMIT_CASES = [
    ("sink", 80.0, inf), ("iron", 100.0, inf), ("cell", 45.0, inf), ("cell", 5.0, -inf),
]  # fmt: skip


@pytest.mark.parametrize(("probe", "limit"), [case[:2] for case in LIMIT_CASES])
def test_at_the_limit_is_clear(fed: Fed, probe: str, limit: float) -> None:
    verdicts = fed.course(probe, [limit] * 20)
    assert set(states(verdicts)) == {CLEAR}
    assert verdicts[-1].since_s is None
    assert (verdicts[-1].left_s, verdicts[-1].remedy) == (None, "")


@pytest.mark.parametrize(("probe", "limit", "towards"), LIMIT_CASES)
def test_a_hair_past_it_times_and_trips(fed: Fed, probe: str, limit: float, towards: float) -> None:
    past = nextafter(limit, towards)
    verdicts = fed.course(probe, [past] * 8)
    assert states(verdicts) == [TIMING] * 4 + [TRIP] * 4
    assert [v.left_s for v in verdicts] == [4.0, 3.0, 2.0, 1.0] + [None] * 4
    for verdict in verdicts:
        assert (verdict.measured, verdict.limit, verdict.unit) == (past, limit, "°C")
        assert verdict.since_s == 0.0
        assert verdict.remedy


def test_says_who_it_is(fed: Fed) -> None:
    verdict = fed.at(0.0, **WELL)
    assert (fed.rule.key, fed.rule.function) == ("temperature", "26")
    assert (verdict.rule, verdict.unit) == ("temperature", "°C")
    assert fed.rule.remedy.startswith("look at the supply, wires and address of the probe")


def test_reasons_are_sentences_with_numbers(fed: Fed) -> None:
    hot = fed.course("sink", [86.25] * 6)
    assert hot[0].reason == "heat sink (probe sink) 86.2 °C is above 80.0 °C for 0.0 s"
    assert hot[5].reason == "heat sink (probe sink) 86.2 °C is above 80.0 °C for 5.0 s"
    assert hot[5].remedy.startswith("let the heat sink cool down")
    cold = Fed(fed.settings).course("cell", [-3.0] * 3)[2]
    assert cold.reason == (
        "cells (probe cell) -3.0 °C is below 5.0 °C for 2.0 s: charging so cold plates lithium"
    )
    assert cold.remedy.startswith("warm the room")
    warm = Fed(fed.settings).course("cell", [45.004] * 2)[1]
    assert warm.reason == "cells (probe cell) 45.004 °C is above 45.0 °C for 1.0 s"
    assert warm.remedy.startswith("keep away until it cools down by itself")
    iron = Fed(fed.settings).course("iron", [120.0])[0]
    assert iron.reason.startswith("transformer (probe iron) 120.0 °C is above 100.0 °C")
    assert iron.remedy.startswith("let the transformer cool down")


def test_when_clear_the_one_nearest_to_its_limit_is_shown(fed: Fed) -> None:
    verdict = fed.at(0.0, sink=75.0, iron=90.0, cell=30.0)
    assert (verdict.state, verdict.measured, verdict.limit) == (CLEAR, 75.0, 80.0)
    assert verdict.reason == "heat sink (probe sink) 75.0 °C is not above 80.0 °C"
    verdict = fed.at(1.0, cell=8.0)
    assert (verdict.state, verdict.measured, verdict.limit) == (CLEAR, 8.0, 5.0)
    assert verdict.reason == "cells (probe cell) 8.0 °C is not below 5.0 °C"


@pytest.mark.parametrize(
    ("celsius", "state"), [(36.0, CLEAR), (45.1, TIMING)], ids=["near", "past"]
)
def test_hot_cells_are_hidden_by_nothing_that_is_hotter(
    fed: Fed, celsius: float, state: State
) -> None:
    """The heat sink is nearer to its limit, or farther past it; but cells burn."""
    sink = 79.0 if state is CLEAR else 95.0
    verdict = fed.at(0.0, sink=sink, iron=60.0, cell=celsius)
    assert (verdict.state, verdict.measured, verdict.limit) == (state, celsius, 45.0)


def test_cells_that_are_only_near_hide_no_part_that_is_past(fed: Fed) -> None:
    verdict = fed.at(0.0, sink=81.0, iron=60.0, cell=44.0)
    assert (verdict.state, verdict.measured) == (TIMING, 81.0)


def test_of_two_that_are_past_the_one_farther_past_is_named(fed: Fed) -> None:
    for k in range(6):
        verdict = fed.at(float(k), sink=82.0, iron=103.0, cell=20.0)
    assert (verdict.state, verdict.measured) == (TRIP, 103.0)
    for k in range(6, 12):
        verdict = fed.at(float(k), sink=90.0, iron=103.0, cell=20.0)
    assert (verdict.state, verdict.measured) == (TRIP, 90.0)
    for k in range(12, 18):  # two kelvin too hot, three too cold
        verdict = fed.at(float(k), sink=82.0, iron=40.0, cell=2.0)
    assert (verdict.state, verdict.measured) == (TRIP, 2.0)


def test_a_probe_that_trips_counts_more_than_one_that_is_lost(fed: Fed) -> None:
    """And one that is lost more than one that is only on its way."""
    fed.at(0.0, **WELL)
    verdicts = [fed.at(14.0 + k, sink=90.0, iron=40.0) for k in range(6)]
    assert states(verdicts) == [TIMING, TIMING, CANNOT_TELL, CANNOT_TELL, TRIP, TRIP]
    assert verdicts[2].reason.startswith("cells (probe cell)")
    assert verdicts[4].reason.startswith("heat sink (probe sink) 90.0")


# -- debounce


def test_one_odd_answer_neither_trips_nor_saves(hut_settings: SupervisorSettings) -> None:
    """2 of 3: one answer a second, so that a glitch is not timed on."""
    odd = Fed(hut_settings, delay_seconds=0).course("sink", [40.0, 120.0, 40.0, 40.0] * 20)
    assert TRIP not in states(odd)
    saved = Fed(hut_settings).course("sink", [90.0, 90.0, 40.0, 90.0, 90.0])
    assert states(saved) == [TIMING] * 4 + [TRIP]
    assert saved[2].reason == "heat sink (probe sink) was above 80.0 °C for 2.0 s, now 40.0 °C"
    assert saved[4].since_s == 0.0
    at_the_limit = Fed(hut_settings).course("sink", [90.0, 80.0])[1]
    assert at_the_limit.reason == (
        "heat sink (probe sink) was above 80.0 °C for 1.0 s, now 80.0 °C"
    )


def test_back_for_two_answers_ends_the_timing_and_the_trip(fed: Fed) -> None:
    verdicts = fed.course("sink", [90.0] * 3 + [79.0] * 3 + [90.0] * 6 + [79.0] * 3)
    assert states(verdicts) == (
        [TIMING] * 4 + [CLEAR] * 2 + [TIMING] * 4 + [TRIP] * 3 + [CLEAR] * 2
    )
    assert verdicts[12].reason == "heat sink (probe sink) was above 80.0 °C for 6.0 s, now 79.0 °C"


def test_without_a_delay_the_second_answer_trips(hut_settings: SupervisorSettings) -> None:
    verdicts = Fed(hut_settings, delay_seconds=0).course("iron", [110.0] * 3)
    assert states(verdicts) == [TIMING, TRIP, TRIP]
    assert verdicts[0].left_s == 0.0


def test_an_answer_counts_once_however_many_cycles_see_it(
    hut_settings: SupervisorSettings,
) -> None:
    """A glitch that stands for a second must not be confirmed by itself."""
    fed = Fed(hut_settings, delay_seconds=0)
    fed.at(0.0, **WELL)
    first = fed.at(1.0, sink=120.0)
    for k in range(70):
        assert fed.at(1.0 + k / 70) == replace(first, reason=fed.at(1.0 + k / 70).reason)
    assert fed.at(2.0, sink=40.0).state is TIMING
    assert fed.at(3.0, sink=40.0).state is CLEAR


def test_an_answer_older_than_the_last_one_is_no_new_one(fed: Fed) -> None:
    fed.at(10.0, **WELL)
    assert fed.at(11.0, taken_at_s=9.0, sink=90.0).state is CLEAR
    assert fed.at(11.0, taken_at_s=10.0, sink=90.0).state is CLEAR
    assert fed.at(12.0, taken_at_s=10.5, sink=90.0).state is TIMING


def test_the_delay_counts_from_when_it_was_measured(fed: Fed) -> None:
    fed.at(0.0, **WELL)
    verdicts = [fed.at(k + 0.9, taken_at_s=float(k), sink=90.0) for k in range(1, 6)]
    assert states(verdicts) == [TIMING] * 4 + [TRIP]
    assert verdicts[0].since_s == 1.0
    assert verdicts[0].left_s == pytest.approx(4.0 - 0.9)


def test_time_left_is_never_negative(fed: Fed) -> None:
    fed.at(0.0, **WELL)
    fed.at(1.0, sink=90.0)
    assert fed.at(10.0).left_s == 0.0


def test_it_looks_once_a_window(fed: Fed) -> None:
    """Answers come once a second; between two windows the last verdict stands."""
    fed.at(0.0, **WELL)
    between = replace(fed.readings(20.0), window_is_new=False)
    assert fed.rule.judge(between, 20.0).state is CLEAR
    assert fed.rule.judge(fed.readings(20.0), 20.0).state is CANNOT_TELL
    fresh = Fed(fed.settings)
    first = replace(fresh.readings(0.0), window=None, window_is_new=False)
    assert fresh.rule.judge(first, 0.0).state is CANNOT_TELL


# -- whatever the contactor does


def test_it_forbids_closing_as_well(fed: Fed) -> None:
    """Nobody shall close on a hot rectifier or on frozen cells; and no reset while it stands."""
    for k in range(6):
        fed.seen |= {
            name: reading(name, fed.places[name], what, float(k))
            for name, what in {**WELL, "cell": -1.0}.items()
            if what is not None
        }
        now = replace(fed.readings(float(k)), contactor=told_open(-1000.0))
        verdict = fed.rule.judge(now, float(k))
    assert verdict.state is TRIP


# -- settings


def test_limits_left_out_watch_nothing(hut_settings: SupervisorSettings) -> None:
    fed = Fed(hut_settings, cells_below_celsius=None, transformer_above_celsius=None)
    for k in range(8):
        verdict = fed.at(float(k), sink=40.0, iron=GONE, cell=-30.0)
        assert verdict.state is CLEAR


def test_two_probes_of_one_place_are_each_watched(hut_settings: SupervisorSettings) -> None:
    settings = with_probes(hut_settings, {"left": SINK, "right": {**SINK, "address": 0x4D}},
                           heat_sink_above_celsius=80.0, delay_seconds=0)  # fmt: skip
    rule = TemperatureRule(settings)
    for k in range(2):
        probes = {
            name: reading(name, Place.HEAT_SINK, value, float(k))
            for name, value in (("left", 40.0), ("right", 90.0))
        }
        verdict = rule.judge(replace(cycle(float(k)), probes=probes), float(k))
    assert (verdict.state, verdict.measured) == (TRIP, 90.0)
    assert "(probe right)" in verdict.reason


@pytest.mark.parametrize("place", ["heat_sink", "cells"])
def test_with_nothing_to_watch_it_cannot_tell(hut_settings: SupervisorSettings, place: str) -> None:
    """The settings' check refuses such a file; should it get here, it is not clear."""
    settings = with_probes(hut_settings, {}, transformer_above_celsius=90.0)
    verdict = TemperatureRule(settings).judge(cycle(0.0), 0.0)
    assert (verdict.state, verdict.reason) == (CANNOT_TELL, "no probe has a limit")
    assert (verdict.measured, verdict.limit, verdict.unit) == (None, 0.0, "°C")
    other = settings.model_copy(update={"probes": {"x": Probe(chip="lm75", place=place)}})  # type: ignore[arg-type]
    assert TemperatureRule(other).judge(cycle(0.0), 0.0).state is CANNOT_TELL


def test_without_the_block_there_is_no_rule(fed: Fed, hut_settings: SupervisorSettings) -> None:
    keys = [rule.key for rule in Protection(hut_settings).rules]
    assert "temperature" not in keys
    assert "temperature" in [rule.key for rule in Protection(fed.settings).rules]
    assert TemperatureRule(hut_settings).judge(cycle(0.0), 0.0).state is CANNOT_TELL
