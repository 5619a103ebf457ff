"""Heat of the supply: rectifier 150 A, 300 s, transformer 140 A, 2400 s; form factor 1.2; 90 %."""

from math import exp, inf, log, nan, nextafter
from typing import Any

import pytest
from cycles import CANNOT_TELL, CLEAR, TIMING, TRIP, Value, cycle, feed, states, told_open
from thermal import STEP_S, carry, heated, part, with_thermal

from supervisor.protection.rules.supply_thermal import SupplyThermalRule
from supervisor.protection.verdict import Remembers
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

BAD = Quality.TOO_FEW
# IEC 60255-149, tau 600 s, currents in multiples of the continuous one: seconds to a trip from
# cold, and after a prior load of 0.5 and of 0.9.
TIMES_S = {
    1.1: (1050.76, 911.90, 386.61),
    1.5: (352.67, 282.00, 84.90),
    2.0: (172.61, 133.89, 36.85),
    6.0: (16.90, 12.72, 3.25),
}


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> SupplyThermalRule:
    return SupplyThermalRule(with_thermal(hut_settings))


@pytest.fixture
def hut_rule(hut_settings: SupervisorSettings) -> SupplyThermalRule:
    return SupplyThermalRule(hut_settings)


def test_what_it_is(hut_rule: SupplyThermalRule) -> None:
    assert (hut_rule.key, hut_rule.function) == ("supply_thermal", "49")
    assert hut_rule.remedy.startswith("let the supply cool")
    assert isinstance(hut_rule, Remembers)


# Heating


@pytest.mark.parametrize(
    ("current", "prior", "seconds"),
    [
        (current, prior, seconds)
        for current, times in TIMES_S.items()
        for prior, seconds in zip((0.0, 0.5, 0.9), times, strict=True)
    ],
)
def test_trips_after_the_published_time(
    rule: SupplyThermalRule, current: float, prior: float, seconds: float
) -> None:
    verdicts = carry(heated(rule, prior**2), 100 * current, seconds + 1)
    trip_s = (states(verdicts).index(TRIP) + 1) * STEP_S
    assert 0 <= trip_s - seconds <= STEP_S + 0.01
    assert {CLEAR, TIMING} >= set(states(verdicts)[: states(verdicts).index(TRIP)])


def test_the_form_factor_makes_the_mean_effective(hut_settings: SupervisorSettings) -> None:
    """125 A mean are 150 A effective: 1.5 times the continuous current, 352.67 s."""
    rule = heated(SupplyThermalRule(with_thermal(hut_settings, form_factor=1.2)), 0.0)
    verdicts = carry(rule, 125.0, 354)
    assert (states(verdicts).index(TRIP) + 1) * STEP_S == pytest.approx(353.0)
    assert "at 150 A effective" in verdicts[0].reason


def test_a_reverse_current_heats_as_well(rule: SupplyThermalRule) -> None:
    verdicts = carry(heated(rule, 0.0), -150.0, 354)
    assert TRIP in states(verdicts)
    assert "at 150 A effective" in verdicts[0].reason


def test_clear_then_warned_then_tripped(rule: SupplyThermalRule) -> None:
    """From cold at 1.5: 2.25 (1 - e^(-t/600)) is 0.9 at 306.5 s, and 1 at 352.67 s."""
    verdicts = carry(heated(rule, 0.0), 150.0, 354)
    warned_s = (states(verdicts).index(TIMING) + 1) * STEP_S
    assert warned_s == 306.5
    warned, tripped = verdicts[states(verdicts).index(TIMING)], verdicts[-1]
    assert (warned.limit, warned.unit, warned.since_s) == (100.0, "%", 306.5)
    assert warned.measured == pytest.approx(225 * (1 - exp(-306.5 / 600)))
    assert warned.left_s == pytest.approx(352.67 - 306.5, abs=0.01)
    assert warned.reason == (
        "rectifier at 90 % of the heat that trips: at 150 A effective 46 s remain"
    )
    assert (tripped.state, tripped.since_s, tripped.left_s) == (TRIP, 306.5, 0.0)
    assert tripped.reason == "rectifier at 100 % of the heat that trips, at 150 A effective"
    clear = verdicts[0]
    assert (clear.state, clear.since_s) == (CLEAR, None)
    assert clear.measured == pytest.approx(225 * (1 - exp(-0.5 / 600)))
    assert clear.left_s == pytest.approx(352.17, abs=0.01)
    assert clear.reason == (
        "rectifier at 0 % of the heat that trips: at 150 A effective 6 min remain"
    )


def test_a_current_that_is_borne_has_no_end(rule: SupplyThermalRule) -> None:
    clear = carry(heated(rule, 0.5), 50.0, STEP_S)[-1]
    assert (clear.state, clear.left_s) == (CLEAR, None)
    assert clear.reason == "rectifier at 49 % of the heat that trips"
    warned = carry(heated(rule, 0.95), 99.0, STEP_S)[-1]
    assert (warned.state, warned.left_s) == (TIMING, None)
    assert warned.reason == (
        "rectifier at 95 % of the heat that trips: at 99 A effective it does not trip"
    )


@pytest.mark.parametrize(
    ("theta", "state"),
    [(nextafter(0.9, 0), CLEAR), (0.9, TIMING), (nextafter(1.0, 0), TIMING), (1.0, TRIP)],
)
def test_the_limits_themselves(rule: SupplyThermalRule, theta: float, state: Any) -> None:
    """No time has passed: it is as hot as it was told."""
    verdict = heated(rule, theta).judge(cycle(0.0, amperes=50.0), 0.0)
    assert verdict.state is state
    assert verdict.measured == theta * 100


def test_the_first_window_only_begins_to_count(rule: SupplyThermalRule) -> None:
    verdict = rule.judge(cycle(5.0, amperes=600.0), 5.0)
    assert (verdict.state, verdict.measured) == (CLEAR, 0.0)
    assert verdict.left_s == pytest.approx(16.90, abs=0.01)


@pytest.mark.parametrize(
    ("left_s", "words"),
    [(50.0, "50 s"), (119.9, "120 s"), (120.1, "2 min"), (7199.0, "120 min"), (7201.0, "2.0 h")],
)
def test_times_in_words(hut_settings: SupervisorSettings, left_s: float, words: str) -> None:
    """At sqrt 2 of the continuous current, tau ln 2 from cold."""
    settings = with_thermal(hut_settings, rectifier=part(100, left_s / log(2)))
    verdict = SupplyThermalRule(settings).judge(cycle(0.0, amperes=100 * 2**0.5), 0.0)
    assert verdict.left_s == pytest.approx(left_s)
    assert verdict.reason.endswith(f" {words} remain")


# Two parts


def test_the_hotter_part_is_told(hut_rule: SupplyThermalRule) -> None:
    verdict = heated(hut_rule, 0.2, 0.95).judge(cycle(0.0, amperes=50.0), 0.0)
    assert (verdict.state, verdict.measured) == (TIMING, 95.0)
    assert verdict.reason.startswith("transformer at 95 %")
    assert heated(hut_rule, 0.3, 0.2).judge(cycle(0.0), 0.0).measured == 30.0


def test_the_part_that_trips_first_is_told_beside_the_hotter_one(
    hut_rule: SupplyThermalRule,
) -> None:
    """120 A mean, 144 A effective: too much for the transformer only."""
    verdict = heated(hut_rule, 0.85, 0.5).judge(cycle(0.0, amperes=120.0), 0.0)
    left_s = 2400 * log(((144 / 140) ** 2 - 0.5) / ((144 / 140) ** 2 - 1))
    assert verdict.left_s == pytest.approx(left_s)
    assert verdict.reason == (
        "rectifier at 85 % of the heat that trips; transformer at 50 %: at 144 A effective "
        "91 min remain"
    )


def test_of_two_parts_on_their_way_the_first_is_told(hut_rule: SupplyThermalRule) -> None:
    """150 A mean, 180 A effective: too much for both, and the rectifier is quicker."""
    verdict = heated(hut_rule, 0.2, 0.5).judge(cycle(0.0, amperes=150.0), 0.0)
    assert verdict.left_s == pytest.approx(300 * log((1.44 - 0.2) / (1.44 - 1)))
    assert verdict.reason == (
        "transformer at 50 % of the heat that trips; rectifier at 20 %: at 180 A effective "
        "5 min remain"
    )


def test_either_part_trips(hut_rule: SupplyThermalRule) -> None:
    for thetas, name in ((0.2, 1.0), "transformer"), ((1.0, 0.2), "rectifier"):
        verdict = heated(hut_rule, *thetas).judge(cycle(0.0), 0.0)
        assert verdict.state is TRIP
        assert verdict.reason == f"{name} at 100 % of the heat that trips, at 60 A effective"


# Open


def test_it_cools_while_open_and_clears_below_the_warning(rule: SupplyThermalRule) -> None:
    """600 ln(1 / 0.9) = 63.2 s; reset and closing wait so long."""
    ways = {"contactor": told_open(0.0)}
    verdicts = carry(heated(rule, 1.0), 0.0, 80, **ways)
    assert states(verdicts) == [TIMING] * 126 + [CLEAR] * 34
    assert verdicts[0].left_s is None
    assert verdicts[0].since_s == STEP_S
    assert verdicts[0].reason == (
        "rectifier at 99 % of the heat that trips: closing waits 63 s, until it is below 90 %"
    )
    assert verdicts[-1].reason == "rectifier at 87 % of the heat that trips"
    assert verdicts[-1].since_s is None


def test_the_slower_part_says_how_long_closing_waits(hut_rule: SupplyThermalRule) -> None:
    """300 ln(1.1 / 0.9) = 60 s against 2400 ln(1 / 0.9) = 253 s."""
    verdict = heated(hut_rule, 1.1, 1.0).judge(cycle(0.0, amperes=0.0, contactor=told_open(0)), 0)
    assert verdict.state is TIMING
    assert verdict.reason == (
        "rectifier at 110 % of the heat that trips: closing waits 4 min, until it is below 90 %"
    )


@pytest.mark.parametrize("unseen", [{"amperes": BAD}, {"amperes": nan}, {"means": "none yet"}])
def test_open_it_cools_even_unseen(rule: SupplyThermalRule, unseen: dict[str, Any]) -> None:
    """IEC 60255-149, tau 600 s: 415.888 s to one half."""
    ways = unseen | {"contactor": told_open(0.0)}
    verdicts = feed(heated(rule, 1.0), [(k * 4.15888, ways) for k in range(101)])
    assert verdicts[-1].measured == pytest.approx(50.0, abs=1e-3)
    assert verdicts[-1].state is CLEAR


def test_a_contactor_that_failed_to_open_goes_on_heating(rule: SupplyThermalRule) -> None:
    verdict = carry(heated(rule, 0.0), 150.0, 400, contactor=told_open(0.0))[-1]
    assert verdict.state is TIMING
    assert verdict.measured == pytest.approx(225 * (1 - exp(-400 / 600)))


# What cannot be told


@pytest.mark.parametrize("bad", [BAD, Quality.CLIPPED, nan, inf, -inf])
def test_without_a_good_current_it_cannot_tell(rule: SupplyThermalRule, bad: Value) -> None:
    carry(heated(rule, 0.95), 100.0, STEP_S)
    (verdict,) = carry(rule, bad, STEP_S, from_s=STEP_S)
    assert (verdict.state, verdict.left_s, verdict.since_s) == (CANNOT_TELL, None, None)
    assert verdict.measured == pytest.approx(95.0, abs=0.1)
    assert verdict.reason.startswith("no good reading, current: ")


def test_before_the_first_window_it_cannot_tell(rule: SupplyThermalRule) -> None:
    verdict = rule.judge(cycle(0.0, means="none yet"), 0.0)
    assert (verdict.state, verdict.reason) == (
        CANNOT_TELL, "no window of readings is complete yet",
    )  # fmt: skip


@pytest.mark.parametrize(("before", "after"), [(150.0, 50.0), (50.0, 150.0)])
def test_unknown_time_counts_as_the_worse_of_before_and_after(
    rule: SupplyThermalRule, before: float, after: float
) -> None:
    """Windows without a good current for 100 s, or none at all: the same."""
    for unseen in (BAD, None):
        heated(rule, 0.0).judge(cycle(0.0, amperes=before), 0.0)
        if unseen is not None:
            carry(rule, unseen, 99.0)
        verdict = rule.judge(cycle(100.0, amperes=after), 100.0)
        assert verdict.measured == pytest.approx(225 * (1 - exp(-100 / 600)))


def test_a_trip_outlasts_a_bad_reading(rule: SupplyThermalRule) -> None:
    tripped = heated(rule, 1.0).judge(cycle(0.0), 0.0)
    assert rule.judge(cycle(1.0, amperes=BAD), 1.0) is tripped


def test_between_windows_the_last_verdict_stands(rule: SupplyThermalRule) -> None:
    last = carry(rule, 150.0, 10.0)[-1]
    assert rule.judge(cycle(50.0, amperes=0.0, new=False), 50.0) is last
