"""Response budget against a small simulation of the loop, and its monotony."""

from dataclasses import replace
from itertools import product
from math import nextafter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.measurement.uncertainty import cell_uncertainty_v, current_uncertainty_a
from supervisor.protection.debounce import Debounce
from supervisor.settings.cross_checks.timing import scan_s
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import RULE_KEYS
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.fitness import with_value
from supervisor.sizing.response import budgets
from supervisor.sizing.steps import Stage


def budget(settings: SupervisorSettings, title: str) -> RuleBudget:
    return next(b for b in budgets(settings) if b.title == title)


def with_values(settings: SupervisorSettings, **values: float) -> SupervisorSettings:
    for key, value in values.items():
        settings = with_value(settings, key.replace("__", "."), value)
    return settings


def to_decision_s(found: RuleBudget) -> float:
    """The budget without lateness and release, which the simulations below leave out."""
    return found.response_s - found.stage_s(Stage.LATE) - found.stage_s(Stage.OPEN)


# An independent model of the loop. Cycles begin one period apart; all channels are read within
# ``reading_s``, then the rules are asked. A fault is a step to just above the limit, so that only
# a window or conversion that lies wholly behind it is over.


def asked_at(after_s: float, cycle_s: float, phase_s: float, reading_s: float) -> float:
    """When the rules are asked, in the first cycle that begins at or after a time."""
    cycles = -((phase_s - after_s) // cycle_s)  # ceil((after - phase) / cycle)
    return phase_s + cycles * cycle_s + reading_s


def windows_to_trip_s(
    fault_s: float, phase_s: float, bad: set[int], settings: SupervisorSettings
) -> float:
    """Overvoltage, from the fault to the decision. Windows in ``bad`` say nothing."""
    rule, loop = settings.protection.overvoltage, settings.loop
    history: list[bool] = []
    since_s: float | None = None
    debounce = Debounce(rule.confirm, rule.of, rule.delay_seconds)
    for number in range(1000):
        start_s = number * loop.window_s
        now_s = asked_at(start_s + loop.window_s, loop.cycle_s, phase_s, scan_s(settings))
        over = start_s >= fault_s and number not in bad
        history = [*history, over][-rule.of :]
        if over and since_s is None:
            since_s = now_s
        timed = since_s is not None and now_s - since_s >= rule.delay_seconds
        tripped = over and timed and sum(history) >= rule.confirm
        assert debounce.update(over, now_s) is tripped  # the rules' own agrees
        if tripped:
            return now_s - fault_s
    raise AssertionError("never tripped")


@pytest.mark.parametrize(
    ("confirm", "of", "delay_s"),
    [(1, 1, 0.0), (3, 4, 0.0), (3, 4, 0.25), (3, 4, 1.0), (2, 5, 0.35), (4, 5, 3.0)],
)
def test_windows_never_take_longer_than_the_budget_and_nearly_as_long(
    hut_settings: SupervisorSettings, confirm: int, of: int, delay_s: float
) -> None:
    settings = with_values(
        hut_settings,
        protection__overvoltage__confirm=confirm,
        protection__overvoltage__of=of,
        protection__overvoltage__delay_seconds=delay_s,
    )
    bound_s = to_decision_s(budget(settings, "overvoltage"))
    window_s, cycle_s = settings.loop.window_s, settings.loop.cycle_s
    bad_after_the_first = {2 + n for n in range(of - confirm)}
    worst_s = max(
        windows_to_trip_s(fault / 40 * window_s + 1e-6, phase / 20 * cycle_s, bad, settings)
        for fault, phase, bad in product(range(40), range(20), ({*()}, bad_after_the_first))
    )
    spare_s = cycle_s / 20 + 1e-5 + (window_s if delay_s else 0)  # a delay may just miss a window
    assert bound_s - spare_s <= worst_s <= bound_s + 1e-9


def conversions_to_trip_s(
    fault_s: float, turn_s: float, bad: set[int], settings: SupervisorSettings
) -> float:
    """High set, from the fault to the decision; the channel is read ``turn_s`` into a scan."""
    rule, cycle_s = settings.protection.overvoltage_high_set, settings.loop.cycle_s
    history: list[bool] = []
    for number in range(1000):
        over = number * cycle_s + turn_s >= fault_s and number not in bad
        history = [*history, over][-rule.of :]
        if over and sum(history) >= rule.confirm:
            return number * cycle_s + scan_s(settings) - fault_s
    raise AssertionError("never tripped")


@pytest.mark.parametrize(("confirm", "of"), [(1, 1), (2, 3), (2, 2), (3, 7)])
def test_conversions_never_take_longer_than_the_budget_and_nearly_as_long(
    hut_settings: SupervisorSettings, confirm: int, of: int
) -> None:
    settings = with_values(
        hut_settings,
        protection__overvoltage_high_set__confirm=confirm,
        protection__overvoltage_high_set__of=of,
    )
    bound_s = to_decision_s(budget(settings, "overvoltage_high_set"))
    cycle_s, reading_s = settings.loop.cycle_s, scan_s(settings)
    bad_after_the_first = {2 + n for n in range(of - confirm)}
    worst_s = max(
        conversions_to_trip_s(fault / 100 * cycle_s + 1e-6, turn * reading_s, bad, settings)
        for fault, turn, bad in product(range(101), (0.0, 0.5), ({*()}, bad_after_the_first))
    )
    assert bound_s - cycle_s / 50 <= worst_s <= bound_s + 1e-9


def test_figures_of_the_example(hut_settings: SupervisorSettings) -> None:
    """By hand: 2 windows, 11 windows for the delay, a cycle, a scan of 3 x (1.15/860 + 1.9 ms),
    16 cycles late, 250 ms drop-out, 30 ms release; 0.02 V/s; U at 3.6 V is 8.2117 mV."""
    found = budget(hut_settings, "overvoltage")
    by_hand_s = 0.2 + 1.1 + 0.1 / 7 + 3 * (1.15 / 860 + 0.0019) + 1.6 / 7 + 0.25 + 0.03
    assert found.response_s == pytest.approx(by_hand_s)
    assert found.guard_band == pytest.approx(8.2117e-3, abs=1e-7)
    assert found.effective_limit == pytest.approx(3.6082117, abs=1e-7)
    assert found.acceptance_limit == pytest.approx(3.59179, abs=6e-6)
    assert found.highest_v == pytest.approx(3.6082117 + 0.02 * by_hand_s, abs=1e-7)
    assert found.fits


def test_a_cell_that_just_reaches_the_makers_limit_does_not_fit(full: SupervisorSettings) -> None:
    found = replace(budget(full, "overvoltage"), response=(), starts_at_v=3.65)
    assert (found.highest_v, found.never_above_v) == (3.65, 3.65)
    assert not found.fits
    assert replace(found, starts_at_v=nextafter(3.65, 0)).fits


def test_every_rule_has_a_budget(full: SupervisorSettings) -> None:
    assert {found.rule for found in budgets(full)} == {*RULE_KEYS, "hang"}


def test_guard_bands_are_the_channels_uncertainties(hut_settings: SupervisorSettings) -> None:
    channels, rules = hut_settings.channels, hut_settings.protection
    low = budget(hut_settings, "undervoltage")
    assert low.guard_band == cell_uncertainty_v(channels.front_cell, rules.undervoltage.trip_volts)
    assert low.effective_limit == rules.undervoltage.trip_volts - low.guard_band
    current = budget(hut_settings, "overcurrent")
    assert current.guard_band == current_uncertainty_a(channels.shunt, current.limit)


def test_the_worse_cell_channel_counts(hut_settings: SupervisorSettings) -> None:
    calibrated = with_value(hut_settings, "channels.front_cell.gain_uncertainty_percent", 0.02)
    before, after = budget(hut_settings, "overvoltage"), budget(calibrated, "overvoltage")
    assert after.guard_band == before.guard_band
    both = with_value(calibrated, "channels.far_cell.gain_uncertainty_percent", 0.02)
    assert budget(both, "overvoltage").guard_band == pytest.approx(3.4589e-3, abs=1e-7)


def test_slope_guard_band_is_the_published_noise_where_there_is_no_slope(
    hut_settings: SupervisorSettings,
) -> None:
    """sigma * sqrt(12/(n(n^2-1)))/dt is 1.100964e-4 V/s for 1 mV, 1 s, n 10; here sigma is 1 LSB
    of 125 uV, dt 0.2 s and n 10, so 0.125/0.2 of that, per minute, k = 2; and the 3 sigma that the
    rule takes off."""
    settings = with_values(
        hut_settings,
        loop__window_milliseconds=200,
        protection__rate_of_rise__over_seconds=2.0,
        protection__rate_of_rise__trip_volts_per_minute=0.0,
    )
    expected = 1.100964e-4 * 0.125 / 0.2 * 60 * (2 + 3)
    assert budget(settings, "rate_of_rise").guard_band == pytest.approx(expected, rel=1e-6)


def test_level_drive_has_no_drop_out(hut_settings: SupervisorSettings) -> None:
    contactor = hut_settings.contactor.model_copy(update={"drive": "level"})
    level = hut_settings.model_copy(update={"contactor": contactor})
    assert budget(level, "the loop hangs").response_s == pytest.approx(0.4 + 0.03)
    # No more rising edges: the driver lets go by itself.
    assert budget(hut_settings, "the loop hangs").response_s == pytest.approx(0.25 + 0.03)


KEYS = st.sampled_from(
    [
        ("overvoltage", "protection.overvoltage.trip_volts", 3.0, 3.7),
        ("overvoltage", "protection.overvoltage.delay_seconds", 0.0, 60.0),
        ("overvoltage", "bank.fastest_rise_volts_per_second", 1e-4, 1.0),
        ("overvoltage_high_set", "protection.overvoltage_high_set.trip_volts", 3.0, 3.7),
        ("overvoltage_high_set", "bank.fastest_rise_volts_per_second", 1e-4, 1.0),
        ("overvoltage_high_set", "contactor.release_milliseconds", 1.0, 500.0),
        ("stale", "protection.stale.trip_after_seconds", 0.01, 5.0),
        ("stale", "protection.overvoltage.trip_volts", 3.0, 3.7),
        ("sensing", "protection.sensing.trip_after_seconds", 0.01, 5.0),
        ("the loop hangs", "loop.lease_milliseconds", 50.0, 2000.0),
        ("loop_overrun", "protection.loop_overrun.trip_late_seconds", 0.01, 0.4),
    ]
)


SHARE = st.floats(0, 1)


@given(KEYS, st.tuples(SHARE, SHARE), st.floats(1e-3, 0.1), st.booleans())
def test_highest_voltage_never_falls_as_limit_delay_or_rise_grows(
    hut_settings: SupervisorSettings,
    key: tuple[str, str, float, float],
    shares: tuple[float, float],
    rise_v_per_s: float,
    both_cells: bool,
) -> None:
    title, path, lowest, highest = key
    base = with_value(hut_settings, "bank.fastest_rise_volts_per_second", rise_v_per_s)
    if not both_cells:
        channels = base.channels.model_copy(update={"far_cell": None})
        base = base.model_copy(update={"channels": channels})
    less, more = (
        budget(with_value(base, path, lowest + share * (highest - lowest)), title).highest_v
        for share in sorted(shares)
    )
    assert less is not None
    assert more is not None
    assert less <= more


def test_looking_ahead_begins_where_the_slope_is_watched(hut_settings: SupervisorSettings) -> None:
    far = with_value(hut_settings, "protection.rate_of_rise.look_ahead_seconds", 60.0)
    watched_from_v = hut_settings.protection.rate_of_rise.above_volts
    starts_at_v = budget(far, "rate_of_rise, look ahead").starts_at_v
    uncertainty_v = cell_uncertainty_v(hut_settings.channels.front_cell, watched_from_v)
    assert starts_at_v == watched_from_v + uncertainty_v


@given(st.floats(0.1, 60), st.floats(0.1, 60))
def test_looking_farther_ahead_never_reaches_higher(
    hut_settings: SupervisorSettings, one_s: float, other_s: float
) -> None:
    path = "protection.rate_of_rise.look_ahead_seconds"
    near, far = (
        budget(with_value(hut_settings, path, ahead_s), "rate_of_rise, look ahead").highest_v
        for ahead_s in sorted((one_s, other_s))
    )
    assert near is not None
    assert far is not None
    assert far <= near
