"""Contactor and relay: delays, coil, bounce, pulse-fed driver, weld."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.coil import Coil
from supervisor.simulator.contactors import build_contactor
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.switches import CoilSettings, SwitchSettings
from supervisor.simulator.switch import NEVER, Switch


def until(switch: Switch, at_s: float) -> bool:
    """The contact at that time, just after whatever happens then."""
    while switch.due_s <= at_s:
        switch.move()
    return switch.closed


def test_contact_follows_the_level_with_its_delays() -> None:
    switch = Switch(pull_in_s=0.025, release_s=0.012)
    switch.input_changes(True, 1.0)
    assert [until(switch, t) for t in (1.0, 1.024, 1.025)] == [False, False, True]
    switch.input_changes(False, 2.0)
    assert [until(switch, t) for t in (2.0, 2.0119, 2.012)] == [True, True, False]
    assert switch.due_s == NEVER


def test_a_short_pulse_on_a_level_coil_closes_nothing() -> None:
    switch = Switch(pull_in_s=0.025, release_s=0.012)
    switch.input_changes(True, 1.0)
    switch.input_changes(False, 1.005)
    assert not any(until(switch, 1.0 + k / 1000) for k in range(100))


def test_a_pulse_fed_coil_drops_after_the_last_rising_edge_at_either_level() -> None:
    for last_level in (True, False):
        switch = Switch(pull_in_s=0.025, release_s=0.012, dropout_s=0.25)
        level, rose_at_s = not last_level, 0.0
        for k in range(101):
            level, at_s = not level, k * 0.0143
            rose_at_s = at_s if level else rose_at_s
            until(switch, at_s)
            switch.input_changes(level, at_s)
        assert level is last_level
        assert until(switch, rose_at_s + 0.25 + 0.0119)
        assert not until(switch, rose_at_s + 0.25 + 0.0121)


def test_a_falling_edge_never_feeds_a_pulse_fed_coil() -> None:
    switch = Switch(pull_in_s=0.025, release_s=0.012, dropout_s=0.25)
    switch.input_changes(True, 0.0)
    assert not until(switch, 3.0)
    switch.input_changes(False, 3.0)
    assert not any(until(switch, 3.0 + k / 1000) for k in range(400))


@given(st.lists(st.floats(min_value=0.001, max_value=0.6), min_size=1, max_size=40))
def test_a_pulse_fed_contact_is_closed_only_while_edges_come(gaps_s: list[float]) -> None:
    switch = Switch(pull_in_s=0.025, release_s=0.012, dropout_s=0.25)
    at_s = 0.0
    for gap_s in gaps_s:
        switch.input_changes(True, at_s)
        switch.input_changes(False, at_s)
        before_next = until(switch, at_s + gap_s)
        if gap_s > 0.25 + 0.012 + 1e-9:
            assert not before_next
        elif 0.0251 < gap_s < 0.2619:
            assert before_next
        at_s += gap_s


def test_a_weld_happens_on_closing_and_stays() -> None:
    switch = Switch(pull_in_s=0.025, release_s=0.012)
    switch.welded = True
    assert not until(switch, 1.0)
    switch.input_changes(True, 1.0)
    assert until(switch, 1.1)
    switch.input_changes(False, 2.0)
    assert until(switch, 10.0)
    switch.mend()
    assert not switch.closed


def test_stuck_open_never_closes() -> None:
    switch = Switch(pull_in_s=0.025, release_s=0.012)
    switch.stuck_open = True
    switch.input_changes(True, 1.0)
    assert not until(switch, 2.0)
    switch.mend()
    assert switch.closed


@pytest.mark.parametrize("stuck", [True, False])
def test_hold_closed_overrides(stuck: bool) -> None:
    switch = Switch(pull_in_s=0.025, release_s=0.012)
    switch.stuck_open = stuck
    switch.hold_closed()
    assert switch.closed


# --- with a real coil


def real(**changes: object) -> Switch:
    """12 V, 50 ohm, 0.5 H, clamp 24 V: 12.04 ms and 2.657 ms, the rest is travel."""
    coil = Coil(supply_v=12, ohm=50, henry=0.5, pull_in_a=0.168, hold_a=0.072, clamp_v=24)
    return Switch(0.025, 0.012, coil=coil, **changes)  # type: ignore[arg-type]


def test_a_real_coil_takes_the_times_it_is_given() -> None:
    switch = real()
    switch.input_changes(True, 1.0)
    assert [until(switch, t) for t in (1.02499, 1.02501)] == [False, True]
    switch.input_changes(False, 2.0)
    assert [until(switch, t) for t in (2.01199, 2.01201)] == [True, False]


def test_switched_on_again_before_the_coil_lets_go_nothing_moves() -> None:
    switch = real()
    switch.input_changes(True, 1.0)
    assert until(switch, 2.0)
    switch.input_changes(False, 2.0)
    assert until(switch, 2.0026)
    switch.input_changes(True, 2.0026)
    assert all(until(switch, 2.0026 + k / 10_000) for k in range(1000))


def test_switched_on_again_during_travel_the_current_goes_on_from_where_it_is() -> None:
    """Let go at 2.657 ms, on again at 3 ms: it must climb to pull-in, and the contact parts only
    if that takes longer than the 9.343 ms of travel."""
    switch = real()
    switch.input_changes(True, 1.0)
    until(switch, 2.0)
    switch.input_changes(False, 2.0)
    until(switch, 2.003)
    switch.input_changes(True, 2.003)
    start_a = (0.24 + 0.48) * math.exp(-0.3) - 0.48
    climb_s = 0.01 * math.log((0.24 - start_a) / (0.24 - 0.168))
    assert climb_s > 0.009
    opens_s = 2.002657 + 0.012 - 0.002657
    expected_open = 2.003 + climb_s > opens_s
    parted = not all(until(switch, 2.003 + k / 20_000) for k in range(2000))
    assert parted is expected_open
    assert until(switch, 3.0)


@pytest.mark.parametrize(("on_ms", "closes"), [(11.9, False), (12.2, False), (26, True)])
def test_a_short_pulse_has_to_pull_in_and_to_hold(on_ms: float, closes: bool) -> None:
    switch = real()
    switch.input_changes(True, 1.0)
    until(switch, 1.0 + on_ms / 1000)
    switch.input_changes(False, 1.0 + on_ms / 1000)
    assert any(until(switch, 1.0 + k / 10_000) for k in range(1000)) is closes
    assert not until(switch, 2.0)


@given(st.lists(st.floats(min_value=0.0005, max_value=0.06), min_size=1, max_size=40))
def test_a_real_coil_ends_where_it_was_told(gaps_s: list[float]) -> None:
    switch, at_s, level = real(bounces=3, bounce_s=0.001), 1.0, False
    for gap_s in gaps_s:
        level = not level
        switch.input_changes(level, at_s)
        until(switch, at_s + gap_s)
        at_s += gap_s
    assert until(switch, at_s + 0.2) is level
    assert switch.due_s == NEVER


def test_an_open_coil_lets_go_with_its_travel_alone_and_pulls_in_again_when_mended() -> None:
    switch = real()
    switch.input_changes(True, 1.0)
    until(switch, 2.0)
    switch.open_coil(True, 2.0)
    travel_s = 0.012 - 0.0026570
    assert [until(switch, 2.0 + t) for t in (travel_s - 1e-5, travel_s + 1e-5)] == [True, False]
    switch.open_coil(False, 3.0)
    assert [until(switch, t) for t in (3.0249, 3.0251)] == [False, True]


def test_a_broken_coil_never_closes() -> None:
    switch = real()
    switch.open_coil(True, 0.5)
    switch.input_changes(True, 1.0)
    assert not until(switch, 5.0)


def course(switch: Switch, until_s: float) -> list[tuple[float, bool]]:
    """Every change of the contact."""
    changes = []
    while switch.due_s <= until_s:
        at_s, was = switch.due_s, switch.closed
        switch.move()
        if switch.closed is not was:
            changes.append((round(at_s * 1000, 6), switch.closed))
    return changes


def test_bounces_halve_and_end_closed() -> None:
    switch = Switch(0.025, 0.012, bounces=2, bounce_s=0.004)
    switch.input_changes(True, 0.0)
    assert course(switch, 1.0) == [
        (25, True), (29, False), (33, True), (35, False), (37, True)
    ]  # fmt: skip
    switch.input_changes(False, 1.0)
    assert course(switch, 2.0) == [(1012, False)]


def test_a_weld_happens_at_the_first_touch() -> None:
    switch = Switch(0.025, 0.012, bounces=2, bounce_s=0.004)
    switch.welded = True
    switch.input_changes(True, 0.0)
    assert course(switch, 1.0) == [(25, True)]


def test_let_go_while_bouncing_it_stays_open() -> None:
    switch = Switch(0.025, 0.012, bounces=2, bounce_s=0.02)
    switch.input_changes(True, 0.0)
    assert course(switch, 0.05) == [(25, True), (45, False)]
    switch.input_changes(False, 0.05)
    assert course(switch, 1.0) == []


def test_the_auxiliary_contact_is_late_and_hides_short_bounces() -> None:
    switch = Switch(0.025, 0.012, bounces=1, bounce_s=0.001, auxiliary_lag_s=0.002)
    switch.input_changes(True, 0.0)
    shown = []
    for k in range(60):
        at_s = k / 1000 + 0.0005
        until(switch, at_s)
        shown.append(switch.auxiliary_closed(at_s))
    # Last touch at 27 ms, shown at 29 ms.
    assert shown == [False] * 29 + [True] * 31


def test_the_auxiliary_contact_of_a_stuck_one_shows_open() -> None:
    switch = Switch(0.025, 0.012, auxiliary_lag_s=0.002)
    switch.stuck_open = True
    switch.input_changes(True, 0.0)
    until(switch, 1.0)
    assert not switch.auxiliary_closed(1.0)


def test_the_usual_contactor(hut_settings: SupervisorSettings) -> None:
    usual = build_contactor(hut_settings, PlantSettings())
    assert usual.pull_in_s == pytest.approx(0.025, rel=1e-9)
    assert usual.release_s == pytest.approx(0.012, abs=1e-4)


@pytest.mark.parametrize(("suppression", "coil_ms"), [("diode", 10.8299), ("none", 0.0)])
def test_suppression_makes_the_release(
    hut_settings: SupervisorSettings, suppression: str, coil_ms: float
) -> None:
    coil = CoilSettings.model_validate({"suppression": suppression})
    plant = PlantSettings(switches=SwitchSettings(coil=coil))
    release_s = build_contactor(hut_settings, plant).release_s
    assert release_s * 1000 == pytest.approx(9.3 + coil_ms, abs=1e-4)


def test_a_weak_coil_supply_pulls_in_late(hut_settings: SupervisorSettings) -> None:
    plant = PlantSettings(switches=SwitchSettings(coil=CoilSettings(supply_volts=9)))
    expected_s = 0.025 + 0.01 * (math.log(0.18 / 0.012) - math.log(0.24 / 0.072))
    assert build_contactor(hut_settings, plant).pull_in_s == pytest.approx(expected_s, rel=1e-9)
