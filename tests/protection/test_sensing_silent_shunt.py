"""A current that does not show: 1 A for 10 min is 0.17 Ah, and moves no bank by 10 mV.

Steepest charge curve: 31.5 V per unit of charge, from 3.33399 V at 0.99 to 3.64856 V at 1.00 (BPX
LFP example set). The example's 8960 Ah move by 0.6 mV at the most.
"""

from math import inf, nan, nextafter

import pytest
from cycles import TRIP, Value, told_closed, told_open, with_rule
from levels import Levels

from supervisor.protection.rules.sensing import SensingRule
from supervisor.protection.sensing.silent_shunt import REMEDY, SilentShunt, allowed_rise_v
from supervisor.protection.verdict import Verdict
from supervisor.readings import Quality
from supervisor.settings.model import Bank, SupervisorSettings

V = 3.3
MV = 1e-3


@pytest.fixture
def levels(hut_settings: SupervisorSettings) -> Levels:
    assert hut_settings.protection.sensing.zero_amperes == 1.0
    return Levels(SilentShunt(hut_settings))


def test_the_words_in_full(levels: Levels) -> None:
    levels.hold(0.1, V, 60)
    assert levels.hold(0.1, V + 12.3 * MV, 1.9) is None, "until a stretch of two seconds is full"
    assert levels.hold(0.1, V + 12.3 * MV, 0.1) == Verdict(
        rule="sensing",
        state=TRIP,
        measured=pytest.approx(12.3 * MV),
        limit=0.010,
        unit="V",
        since_s=pytest.approx(1.05),
        reason="front cell has risen by 12.3 mV in 1.0 min while less than 1.0 A were read; that "
        "is less than 0.17 Ah in 10 min, which cannot move this bank so: a current flows that "
        "does not show",
        remedy=REMEDY,
    )


@pytest.mark.parametrize(("rise_v", "trips"), [(0.00999, False), (0.01001, True)])
@pytest.mark.parametrize("amperes", [0.0, 0.999, -0.999])
def test_ten_millivolts_are_the_most(
    levels: Levels, rise_v: float, trips: bool, amperes: float
) -> None:
    levels.hold(amperes, V, 10)
    assert (levels.hold(amperes, V + rise_v, 2) is not None) is trips


@pytest.mark.parametrize("amperes", [1.0, -1.0, 90.0, -90.0])
def test_a_current_that_shows_begins_it_anew(levels: Levels, amperes: float) -> None:
    """One window of it is enough."""
    levels.hold(0.0, V, 10)
    levels.window(amperes, V)
    assert levels.hold(0.0, V + 0.02, 60) is None
    assert levels.hold(0.0, V + 0.031, 2.1) is not None


def test_just_below_the_limit_shows_nothing(levels: Levels) -> None:
    levels.hold(0.0, V, 10)
    levels.window(nextafter(1.0, 0.0), V)
    assert levels.hold(0.0, V + 0.02, 4) is not None


@pytest.mark.parametrize(("mv_in_10_min", "trips"), [(9.8, False), (10.2, True)])
def test_a_slow_rise_is_a_rise_within_ten_minutes(
    levels: Levels, mv_in_10_min: float, trips: bool
) -> None:
    levels.hold(0.0, lambda s: V + mv_in_10_min * MV * s / 600, 2000)
    assert (levels.first is not None) is trips


def test_the_rise_counts_from_the_lowest_point(levels: Levels) -> None:
    levels.hold(0.0, V, 10)
    levels.hold(0.0, V - 8 * MV, 10)
    assert levels.hold(0.0, V + 1 * MV, 10) is None
    assert levels.hold(0.0, V + 3 * MV, 10) is not None


def test_after_ten_minutes_the_lowest_point_is_forgotten(levels: Levels) -> None:
    levels.hold(0.0, V - 8 * MV, 2)
    assert levels.hold(0.0, V, 602) is None
    assert levels.hold(0.0, V + 8 * MV, 10) is None


def test_until_then_it_is_not(levels: Levels) -> None:
    levels.hold(0.0, V - 8 * MV, 2)
    assert levels.hold(0.0, V, 594) is None
    assert levels.hold(0.0, V + 8 * MV, 4) is not None


@pytest.mark.parametrize("bad", [Quality.TOO_FEW, nan, inf])
def test_readings_that_are_not_believed_are_no_evidence_either_way(
    levels: Levels, bad: Value
) -> None:
    levels.hold(0.0, V, 10)
    for _ in range(20):
        levels.window(bad, V + 0.02)
        levels.window(0.0, bad)
    assert levels.first is None
    assert levels.hold(0.0, V + 0.02, 4) is not None


# --- open, closing, open again


def test_the_last_voltage_before_closing_is_where_it_begins(levels: Levels) -> None:
    """The knob is up: the bank's resistance shows at once."""
    levels.contactor = told_open(0.0)
    levels.hold(0.0, V - 9 * MV, 2)
    levels.hold(0.0, V + 5 * MV, 100)
    levels.hold(0.0, V, 20)
    levels.contactor = told_closed(levels.at_s)
    assert levels.hold(0.0, V + 9.9 * MV, 60) is None
    assert levels.hold(0.0, V + 10.1 * MV, 60) is not None


def test_nothing_is_said_while_open(levels: Levels) -> None:
    levels.contactor = told_open(0.0)
    levels.hold(0.0, lambda s: V + s * MV, 300)
    assert levels.first is None


def test_opening_ends_it_and_a_mended_shunt_is_trusted_again(levels: Levels) -> None:
    levels.hold(0.0, V, 10)
    assert levels.hold(0.0, V + 0.02, 4) is not None
    levels.contactor = told_open(levels.at_s)
    assert levels.window(0.0, V + 0.02) is None
    levels.hold(0.0, V + 0.02, 20)
    levels.contactor = told_closed(levels.at_s)
    assert levels.hold(0.0, V + 0.025, 20) is None
    assert levels.hold(90.0, V + 0.2, 60) is None


def test_a_cell_that_others_feed_may_go_on_rising_as_it_did_before_closing(
    levels: Levels,
) -> None:
    """Unequal cells, just bolted together: the front one lags, and nobody needs the supply."""
    pace = 0.05 * MV
    levels.contactor = told_open(0.0)
    levels.hold(0.0, lambda s: V + pace * s, 60)
    levels.contactor = told_closed(levels.at_s)
    at_closing = V + 60 * pace
    assert levels.hold(0.0, lambda s: at_closing + pace * s, 580) is None
    # 590 s after the last stretch before closing that pace explains 29.5 mV, and 10 mV are allowed.
    at_580 = at_closing + pace * 580
    assert levels.hold(0.0, at_580 + 8 * MV, 4) is None
    said = levels.hold(0.0, at_580 + 13 * MV, 6)
    assert said is not None
    assert said.limit == pytest.approx(0.010 + pace * 590, abs=0.3 * MV)


def test_a_cell_that_fell_before_closing_gets_no_bonus_and_no_malus(levels: Levels) -> None:
    levels.contactor = told_open(0.0)
    levels.hold(0.0, lambda s: V - 0.1 * MV * s, 60)
    levels.contactor = told_closed(levels.at_s)
    assert levels.hold(0.0, V - 6 * MV + 9 * MV, 60) is None
    assert levels.hold(0.0, V - 6 * MV + 11 * MV, 60) is not None


def test_the_pace_is_that_of_the_newest_time_open(levels: Levels) -> None:
    levels.contactor = told_open(0.0)
    levels.hold(0.0, lambda s: V + 1 * MV * s, 60)
    levels.contactor = told_closed(levels.at_s)
    levels.hold(50.0, V + 0.06, 10)
    levels.contactor = told_open(levels.at_s)
    levels.hold(0.0, V + 0.06, 60)
    levels.contactor = told_closed(levels.at_s)
    assert levels.hold(0.0, V + 0.06 + 11 * MV, 60) is not None


# --- how much a bank can move


@pytest.mark.parametrize(
    ("cells", "ampere_hours", "allowed_v"),
    [
        (32, 280, 0.010),
        (8, 280, 0.010),
        (4, 280, 3 * 31.5 / 6 / 1120),
        (1, 280, 3 * 31.5 / 6 / 280),
        (1, 100, 3 * 31.5 / 6 / 100),
    ],
)
def test_a_small_bank_may_move_more(cells: int, ampere_hours: float, allowed_v: float) -> None:
    """Thrice 1 A for 10 min at the steepest: 14 mV for 1120 Ah, 56 mV for 280 Ah."""
    bank = Bank.model_validate(
        {
            "name": "a bank",
            "cells_in_parallel": cells,
            "cell_ampere_hours": ampere_hours,
            "never_above_volts": 3.65,
        }
    )
    assert allowed_rise_v(bank, 1 / 6) == pytest.approx(allowed_v)


def test_its_limit_is_that_of_the_settings(hut_settings: SupervisorSettings) -> None:
    levels = Levels(SilentShunt(with_rule(hut_settings, "sensing", zero_amperes=2.5)))
    levels.hold(2.4, V, 10)
    said = levels.hold(2.4, V + 0.02, 2)
    assert said is not None
    assert "less than 2.5 A were read; that is less than 0.42 Ah" in said.reason


def test_a_small_bank_in_the_rule(hut_settings: SupervisorSettings) -> None:
    bank = hut_settings.bank.model_copy(update={"cells_in_parallel": 2})
    levels = Levels(SilentShunt(hut_settings.model_copy(update={"bank": bank})))
    levels.hold(0.0, V, 10)
    assert levels.hold(0.0, V + 0.028, 10) is None
    assert levels.hold(0.0, V + 0.0285, 10) is not None


def test_the_rule_trips(hut_settings: SupervisorSettings) -> None:
    levels = Levels(SensingRule(hut_settings))
    levels.hold(0.0, V, 10)
    levels.hold(0.0, V + 0.02, 2)
    assert levels.said is not None
    assert levels.said.state is TRIP
    assert "does not show" in levels.said.reason
