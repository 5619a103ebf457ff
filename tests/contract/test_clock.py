"""One contract for the simulated and for the real clock."""

import threading
from datetime import UTC

import pytest

from supervisor.devices.clock import MonotonicClock
from supervisor.devices.protocols import Clock
from supervisor.simulator.clock import SimulatedClock

SHORT_S = 0.005


@pytest.fixture(params=[SimulatedClock, MonotonicClock])
def clock(request: pytest.FixtureRequest) -> Clock:
    made: Clock = request.param()
    return made


def test_sleeping_is_never_too_short(clock: Clock) -> None:
    due_s = clock.now_s() + SHORT_S
    clock.sleep_until(due_s)
    assert clock.now_s() >= due_s


def test_sleeping_until_the_past_returns(clock: Clock) -> None:
    before_s = clock.now_s()
    clock.sleep_until(before_s - 1000)
    assert clock.now_s() >= before_s


def test_time_never_goes_back(clock: Clock) -> None:
    times = [clock.now_s() for _ in range(100)]
    assert times == sorted(times)


def test_wall_clock_is_utc(clock: Clock) -> None:
    assert clock.wall().tzinfo is UTC


def rings_within(clock: Clock, rung: threading.Event, seconds: float) -> bool:
    """Sleep on the clock under test, then give a thread of the real one its chance."""
    clock.sleep_until(clock.now_s() + seconds)
    return rung.wait(0.0 if isinstance(clock, SimulatedClock) else 1.0)


def test_an_alarm_rings_not_early(clock: Clock) -> None:
    rung, rang_at_s = threading.Event(), []

    def ring() -> None:
        rang_at_s.append(clock.now_s())
        rung.set()

    alarm = clock.alarm(ring)
    due_s = clock.now_s() + SHORT_S
    alarm.set(due_s)
    assert rings_within(clock, rung, 2 * SHORT_S)
    alarm.close()
    assert len(rang_at_s) == 1
    assert rang_at_s[0] >= due_s


def test_an_alarm_set_again_and_again_rings_once_not_before_the_last_time(clock: Clock) -> None:
    rung, rang_at_s = threading.Event(), []

    def ring() -> None:
        rang_at_s.append(clock.now_s())
        rung.set()

    alarm = clock.alarm(ring)
    start_s = clock.now_s()
    for k in (3, 1, 2):
        alarm.set(start_s + k * SHORT_S)
    assert rings_within(clock, rung, 3 * SHORT_S)
    alarm.close()
    assert len(rang_at_s) == 1
    assert rang_at_s[0] >= start_s + 2 * SHORT_S


def test_a_cancelled_or_closed_alarm_is_silent(clock: Clock) -> None:
    rung = threading.Event()
    cancelled, closed = clock.alarm(rung.set), clock.alarm(rung.set)
    cancelled.set(clock.now_s() + SHORT_S)
    closed.set(clock.now_s() + SHORT_S)
    cancelled.cancel()
    closed.close()
    clock.sleep_until(clock.now_s() + 2 * SHORT_S)
    cancelled.close()  # joins the real one's thread: nothing can ring after
    assert not rung.is_set()


def test_an_alarm_can_be_set_after_it_has_rung(clock: Clock) -> None:
    rung = threading.Event()
    alarm = clock.alarm(rung.set)
    for _ in range(2):
        rung.clear()
        alarm.set(clock.now_s())
        assert rings_within(clock, rung, SHORT_S)
    alarm.close()
