"""Contactor and relay: delays, pulse-fed driver, weld."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

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
