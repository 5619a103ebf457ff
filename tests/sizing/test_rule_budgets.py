"""Budgets of the rules that may be left out, against published values and sums by hand."""

from collections.abc import Callable
from math import hypot, sqrt

import pytest
from cycles import TRIP, cycle, with_rule

from supervisor.protection.curves import CURVES
from supervisor.protection.rules.overcurrent_inverse import OvercurrentInverseRule
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import OvercurrentInverse
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.fitness import with_value
from supervisor.sizing.response import budgets
from supervisor.sizing.steps import Stage

BudgetOf = Callable[[SupervisorSettings, str], RuleBudget]

# Published check values (ADS1115 data-sheet limits, 20 K, k = 2): a cell at 3.6 V on +-4.096 V;
# a shunt of 200 A / 50 mV, 0.25 %, on +-0.256 V.
CELL_AT_3V6 = 8.2117e-3
SHUNT_AT_0_A, SHUNT_AT_200_A = 0.11553, 0.72184

# By hand, example with LM75, second line and three channels: a scan of 3 x (1.15/860 + 1.9 ms) and
# three more transfers of 0.475 ms; 2 windows and a cycle before; 16 cycles late; 250 and 30 ms.
SCAN_S = 3 * (1.15 / 860 + 0.0019) + 3 * 0.000475
WINDOWS_S = 0.2 + 0.1 / 7 + SCAN_S
OPENING_S = 1.6 / 7 + 0.25 + 0.03


def shunt_uncertainty_a(amperes: float) -> float:
    """From the two published values: what grows with the current, and what does not."""
    growing = (SHUNT_AT_200_A**2 - SHUNT_AT_0_A**2) / 200**2
    return sqrt(SHUNT_AT_0_A**2 + growing * amperes**2)


def test_rules_that_are_not_there_have_no_budget(full: SupervisorSettings) -> None:
    optional = {
        "overcurrent_inverse", "supply_thermal", "temperature", "knob_speed", "balance",
        "session_time", "session_charge", "session_hold", "stage_limits",
    }  # fmt: skip
    assert optional <= {found.rule for found in budgets(full)}
    bare = full.protection.model_copy(update=dict.fromkeys(optional))
    left = {found.rule for found in budgets(full.model_copy(update={"protection": bare}))}
    assert not optional & left
    assert "overvoltage" in left


def test_titles_are_unique_and_stand_in_the_order_of_the_settings(
    full: SupervisorSettings,
) -> None:
    titles = [found.title for found in budgets(full)]
    assert len(set(titles)) == len(titles)
    rules = list(dict.fromkeys(found.rule for found in budgets(full)))
    fields = [name for name in type(full.protection).model_fields if name != "without"]
    assert rules == [*fields, "second_line", "hang"]


def test_none_of_them_bounds_a_voltage_but_the_second_line(full: SupervisorSettings) -> None:
    bounding = {found.rule for found in budgets(full) if found.highest_v is not None}
    assert bounding == {
        "overvoltage", "overvoltage_high_set", "rate_of_rise", "sensing", "stale", "loop_overrun",
        "second_line", "hang",
    }  # fmt: skip


def test_limits_name_settings_that_are_there_and_hold_their_values(
    full: SupervisorSettings,
) -> None:
    for found in budgets(full):
        value: object = full
        for key in found.limit_key.split("."):
            value = getattr(value, key)
        if found.rule != "hang":  # there the drop-out may cap it
            assert value == found.limit, found.title


def test_only_a_balance_is_about_zero_and_only_low_limits_are_passed_downwards(
    full: SupervisorSettings,
) -> None:
    assert {found.title for found in budgets(full) if found.about_zero} == {"balance"}
    downwards = {found.title for found in budgets(full) if not found.upper}
    assert downwards == {"undervoltage", "temperature, cells below"}


# Inverse time


@pytest.mark.parametrize(
    ("curve", "at_twice_s"),  # IEC 60255-151 and IEEE C37.112, multiplier 1, published tables
    [
        ("iec_standard_inverse", 10.0290),
        ("iec_very_inverse", 13.5),
        ("iec_extremely_inverse", 26.6667),
        ("iec_long_time_inverse", 120),
        ("ieee_moderately_inverse", 3.8033),
        ("ieee_very_inverse", 7.0277),
        ("ieee_extremely_inverse", 9.5217),
    ],
)
@pytest.mark.parametrize("multiplier", [1.0, 0.5])
def test_inverse_time_at_twice_the_pick_up(
    full: SupervisorSettings, budget_of: BudgetOf, curve: str, at_twice_s: float, multiplier: float
) -> None:
    block = OvercurrentInverse(trip_amperes=115, curve=curve, time_multiplier=multiplier)
    protection = full.protection.model_copy(update={"overcurrent_inverse": block})
    found = budget_of(full.model_copy(update={"protection": protection}), "overcurrent_inverse")
    assert CURVES[curve].operate_s(2) == pytest.approx(at_twice_s, abs=0.001)
    read_low = shunt_uncertainty_a(230) / 115
    expected_s = multiplier * CURVES[curve].operate_s(2 - read_low) + WINDOWS_S + OPENING_S
    assert found.response_s == pytest.approx(expected_s, abs=0.001)
    assert found.response_at == 230
    assert found.limit == 115
    assert found.guard_band == pytest.approx(shunt_uncertainty_a(115), abs=2e-5)
    assert found.effective_limit == pytest.approx(115 + shunt_uncertainty_a(115), abs=2e-5)


def test_the_rule_itself_trips_within_the_budget(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    """A step to twice the pick-up in the middle of a window: only the next one is all over it."""
    found = budget_of(full, "overcurrent_inverse")
    rule = OvercurrentInverseRule(full)
    step_s, window_s = 1e-6, 0.1
    tripped_s = next(
        now_s
        for now_s, amperes in ((k * window_s, 230.0 if k > 1 else 0.0) for k in range(1000))
        if rule.judge(cycle(now_s, amperes=amperes), now_s).state is TRIP
    )
    within_s = found.response_s - OPENING_S
    assert within_s - 3 * window_s <= tripped_s - step_s <= within_s


# Balance


def test_balance_combines_both_cells_and_the_drop(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    found = budget_of(full, "balance")
    drop_v = shunt_uncertainty_a(130) * 30e-6
    assert found.guard_band == pytest.approx(hypot(CELL_AT_3V6, CELL_AT_3V6, drop_v), abs=2e-7)
    assert found.response_s == pytest.approx(5.1 + WINDOWS_S + OPENING_S)
    assert (found.limit, found.unit) == (0.05, "V")


def test_the_drop_counts_where_it_is_large(full: SupervisorSettings, budget_of: BudgetOf) -> None:
    found = budget_of(with_rule(full, "balance", bars_microohms=10000), "balance")
    expected_v = hypot(CELL_AT_3V6, CELL_AT_3V6, shunt_uncertainty_a(130) * 0.01)
    assert found.guard_band == pytest.approx(expected_v, abs=5e-7)


@pytest.mark.parametrize(("limit_v", "fits"), [(0.0116, False), (0.0117, True)])
def test_a_balance_within_its_own_error_does_not_fit(
    full: SupervisorSettings, budget_of: BudgetOf, limit_v: float, fits: bool
) -> None:
    found = budget_of(with_rule(full, "balance", trip_volts=limit_v), "balance")
    assert found.guard_band is not None
    assert 0.0116 < found.guard_band < 0.0117
    assert found.is_discernible is fits
    assert found.fits is fits
    assert found.is_low_enough


def test_a_limit_equal_to_its_error_is_none(full: SupervisorSettings, budget_of: BudgetOf) -> None:
    guard_band = budget_of(full, "balance").guard_band
    at_it = budget_of(with_rule(full, "balance", trip_volts=guard_band), "balance")
    assert not at_it.is_discernible


# Knob speed


def test_knob_speed_has_a_limit_each_for_current_and_voltage(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    """20 means of 0.1 s; noise of 1 LSB (31.25 mA, 125 uV) by sigma sqrt(12/(n(n^2-1)))/dt; k = 2
    and the 3 sigma that the rule takes off. Gains: 0.15, 0.1, 0.25 % and 140 ppm of the shunt, for
    cells 0.15, 0.1 and 0.08 %, all rectangular."""
    per_lsb = sqrt(12 / (20 * 399)) / 0.1
    noise_a, noise_v = 0.03125 * per_lsb, 125e-6 * per_lsb
    gain_a = 15 * hypot(0.0015, 0.001, 0.0025, 0.00014) / sqrt(3)
    gain_v = 0.01 * hypot(0.0015, 0.001, 0.0008) / sqrt(3)
    current, voltage = (
        budget_of(full, "knob_speed, current"),
        budget_of(full, "knob_speed, voltage"),
    )
    assert (current.limit, current.unit) == (15, "A/s")
    assert (voltage.limit, voltage.unit) == (0.01, "V/s")
    assert current.guard_band == pytest.approx(2 * hypot(gain_a, noise_a) + 3 * noise_a)
    assert voltage.guard_band == pytest.approx(2 * hypot(gain_v, noise_v) + 3 * noise_v)
    for found in (current, voltage):
        assert found.response_s == pytest.approx(2.0 + WINDOWS_S + OPENING_S)
        assert found.stage_s(Stage.DELAY) == 2.0


def test_the_guard_band_of_a_slope_a_minute_by_hand(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    """100 means of 0.1 s, 1 LSB of 125 uV each; gains as above, of 0.06 V/min."""
    steep = with_value(full, "protection.rate_of_rise.trip_volts_per_minute", 6.0)
    noise = 60 * 125e-6 * sqrt(12 / (100 * 9999)) / 0.1
    for settings, limit in ((full, 0.06), (steep, 6.0)):
        gain = limit * hypot(0.0015, 0.001, 0.0008) / sqrt(3)
        found = budget_of(settings, "rate_of_rise")
        assert found.guard_band == pytest.approx(2 * hypot(gain, noise) + 3 * noise)


def test_a_slope_needs_one_window_after_its_stretch(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    at_once = with_value(full, "protection.rate_of_rise.delay_seconds", 0.0)
    one_window_s = WINDOWS_S + OPENING_S
    assert budget_of(at_once, "rate_of_rise").response_s == pytest.approx(10 + one_window_s)
    look_ahead = budget_of(full, "rate_of_rise, look ahead")
    assert look_ahead.response_s == pytest.approx(one_window_s)


def test_a_gain_scales_the_noise_of_the_current(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    before = budget_of(full, "knob_speed, current").guard_band
    doubled = with_value(full, "channels.shunt.gain", 2.0)
    after = budget_of(doubled, "knob_speed, current").guard_band
    noise_a = 0.03125 * sqrt(12 / (20 * 399)) / 0.1
    gain_a = 15 * hypot(0.0015, 0.001, 0.0025, 0.00014) / sqrt(3)
    assert before == pytest.approx(2 * hypot(gain_a, noise_a) + 3 * noise_a)
    assert after == pytest.approx(2 * hypot(gain_a, 2 * noise_a) + 6 * noise_a)


def test_the_worse_cell_counts_for_the_slope(full: SupervisorSettings, budget_of: BudgetOf) -> None:
    one = with_value(full, "channels.front_cell.gain_uncertainty_percent", 0.02)
    both = with_value(one, "channels.far_cell.gain_uncertainty_percent", 0.02)
    for title in ("knob_speed, voltage", "rate_of_rise"):
        before, after = budget_of(full, title).guard_band, budget_of(both, title).guard_band
        assert budget_of(one, title).guard_band == before
        assert before is not None
        assert after is not None
        assert after < before


# Failed to open


def test_a_contactor_that_fails_to_open_is_told_by_the_first_window_after(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    """Nothing opens any more at the end of it: no release in the sum."""
    found = budget_of(full, "failed_to_open")
    assert found.response_s == pytest.approx(0.5 + WINDOWS_S + 1.6 / 7)
    assert found.stage_s(Stage.OPEN) == 0


# Session


@pytest.mark.parametrize(
    ("title", "limit", "unit"),
    [("session_time", 120, "h"), ("session_hold", 24, "h"), ("session_charge", 8960, "Ah")],
)
def test_session_limits_are_told_within_a_window(
    full: SupervisorSettings, budget_of: BudgetOf, title: str, limit: float, unit: str
) -> None:
    found = budget_of(full, title)
    assert (found.limit, found.unit) == (limit, unit)
    assert found.response_s == pytest.approx(WINDOWS_S + OPENING_S)
    assert (found.guard_band is None) is (unit == "h")


def test_charge_is_off_by_the_gain_and_by_an_offset_that_adds_up(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    """Per ampere 0.1 % of 200 A published: sqrt(0.72184^2 - 0.11553^2) / 200; 120 h of offset."""
    share = sqrt(SHUNT_AT_200_A**2 - SHUNT_AT_0_A**2) / 200
    found = budget_of(full, "session_charge")
    assert found.guard_band == pytest.approx(hypot(share * 8960, SHUNT_AT_0_A * 120), abs=2e-3)
    endless = full.protection.model_copy(update={"session_time": None})
    alone = budget_of(full.model_copy(update={"protection": endless}), "session_charge")
    by_gain = 2 * 8960 * hypot(0.0015, 0.001, 0.0025, 0.00014) / sqrt(3)
    assert alone.guard_band == pytest.approx(by_gain, rel=1e-9)


def test_sensing_says_what_is_found_later(full: SupervisorSettings, budget_of: BudgetOf) -> None:
    """Less than 1 A for 10 min is 0.167 Ah: nothing to 8960 Ah, so the least rise, 10 mV, counts;
    to 1 Ah at 31.5 V per unit of charge and thrice that, it is 15.75 V."""
    assert "20 A or more" in budget_of(full, "sensing").note
    assert "risen by 10 mV" in budget_of(full, "sensing").note
    tiny = full.bank.model_copy(update={"cells_in_parallel": 1, "cell_ampere_hours": 1.0})
    small = full.model_copy(update={"bank": tiny})
    assert "risen by 15750 mV" in budget_of(small, "sensing").note
