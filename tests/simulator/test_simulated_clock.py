"""Virtual time: alarms are never late, never early, and come in order."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.simulator.clock import WALL_START, SimulatedClock

times = st.floats(min_value=0, max_value=1000, allow_nan=False)


def test_time_passes_only_in_sleep() -> None:
    clock = SimulatedClock(start_s=5.0)
    assert clock.now_s() == 5.0
    clock.sleep_until(7.5)
    assert clock.now_s() == 7.5
    clock.sleep_until(6.0)
    assert clock.now_s() == 7.5


@given(st.lists(times, max_size=12), st.lists(times, max_size=12))
def test_alarms_ring_in_order_each_at_its_time(alarms: list[float], sleeps: list[float]) -> None:
    clock = SimulatedClock()
    rung: list[tuple[float, float]] = []
    for at_s in alarms:
        clock.alarm(lambda at_s=at_s: rung.append((at_s, clock.now_s()))).set(at_s)  # type: ignore[misc]  # mypy cannot infer a lambda with a default
    for at_s in sleeps:
        clock.sleep_until(at_s)
    assert rung == [(at_s, at_s) for at_s in sorted(alarms) if at_s <= max(sleeps, default=-1.0)]


@given(st.lists(st.tuples(times, times), min_size=1, max_size=10), times)
def test_alarms_that_sleep_make_no_other_alarm_late(
    naps: list[tuple[float, float]], until_s: float
) -> None:
    """What an alarm does may be a bus transfer, which takes time by itself."""
    clock = SimulatedClock()
    late: list[float] = []

    def arm(at_s: float, nap_s: float) -> None:
        def ring() -> None:
            late.append(clock.now_s() - at_s)
            clock.sleep_until(clock.now_s() + nap_s)

        clock.alarm(ring).set(at_s)

    for at_s, nap_s in naps:
        arm(at_s, nap_s)
    clock.sleep_until(until_s)
    assert all(seconds == 0 for seconds in late)
    assert clock.now_s() >= until_s


def test_alarm_set_again_rings_once_at_the_new_time() -> None:
    clock = SimulatedClock()
    rung: list[float] = []
    alarm = clock.alarm(lambda: rung.append(clock.now_s()))
    alarm.set(1.0)
    alarm.set(3.0)
    clock.sleep_until(10.0)
    assert rung == [3.0]


def test_alarm_may_set_itself_again() -> None:
    clock = SimulatedClock()
    rung: list[float] = []

    def ring() -> None:
        rung.append(clock.now_s())
        if len(rung) < 3:
            alarm.set(clock.now_s() + 1.0)

    alarm = clock.alarm(ring)
    alarm.set(1.0)
    clock.sleep_until(10.0)
    assert rung == [1.0, 2.0, 3.0]


def test_alarm_for_the_past_rings_before_time_passes() -> None:
    clock = SimulatedClock(start_s=5.0)
    rung: list[float] = []
    clock.alarm(lambda: rung.append(clock.now_s())).set(2.0)
    clock.sleep_until(6.0)
    assert rung == [5.0]


def test_a_stalled_loop_oversleeps_but_its_alarms_ring_on_time() -> None:
    clock = SimulatedClock()
    rung: list[float] = []
    clock.alarm(lambda: rung.append(clock.now_s())).set(1.0)
    clock.stall(3.0)
    clock.sleep_until(0.5)
    assert (rung, clock.now_s()) == ([1.0], 3.5)
    clock.sleep_until(4.0)
    assert clock.now_s() == 4.0


def test_a_stalled_process_has_late_alarms_too() -> None:
    clock = SimulatedClock()
    rung: list[float] = []
    clock.alarm(lambda: rung.append(clock.now_s())).set(1.0)
    clock.stall(3.0, alarms_too=True)
    clock.sleep_until(0.5)
    assert (rung, clock.now_s()) == ([3.5], 3.5)


def test_wall_clock_steps_leave_the_monotonic_clock_alone() -> None:
    clock = SimulatedClock(start_s=100.0)
    clock.sleep_until(160.0)
    assert clock.wall() == WALL_START + timedelta(minutes=1)
    clock.step_wall(-86400)
    assert clock.wall() == WALL_START + timedelta(minutes=1, days=-1)
    assert clock.now_s() == 160.0


def test_with_a_speed_real_time_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    real_s = [1000.0]
    slept: list[float] = []

    def sleep(seconds: float) -> None:
        slept.append(seconds)
        real_s[0] += seconds

    monkeypatch.setattr("supervisor.simulator.clock.time.monotonic", lambda: real_s[0])
    monkeypatch.setattr("supervisor.simulator.clock.time.sleep", sleep)
    clock = SimulatedClock(speed=10.0)
    clock.sleep_until(0.019)  # 1.9 ms ahead: not worth a sleep
    assert slept == []
    clock.sleep_until(5.0)
    assert sum(slept) == pytest.approx(0.5)
    real_s[0] += 60.0  # a slow computer must not be caught up with
    clock.sleep_until(5.1)
    clock.sleep_until(15.1)
    assert sum(slept) == pytest.approx(1.5)
    clock.speed = None
    clock.sleep_until(1e6)
    assert sum(slept) == pytest.approx(1.5)


def test_speed_must_be_positive() -> None:
    with pytest.raises(ValueError, match="speed"):
        SimulatedClock(speed=0.0)
