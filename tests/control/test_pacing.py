"""The beat: late cycles are counted and never made up for in a burst."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.control.pacing import Pacer
from supervisor.simulator.clock import SimulatedClock
from supervisor.snapshot import LATE_UP_TO_S


def test_cycles_begin_a_period_apart() -> None:
    clock = SimulatedClock()
    pacer = Pacer(clock, 0.01)
    begun = []
    for _ in range(5):
        pace = pacer.wait()
        begun.append(clock.now_s())
        assert pace.late_s == pytest.approx(0, abs=1e-12)
    assert begun == pytest.approx([0, 0.01, 0.02, 0.03, 0.04])


def test_a_stall_of_ten_periods_is_told_and_followed_by_no_burst() -> None:
    clock = SimulatedClock()
    pacer = Pacer(clock, 0.01)
    pacer.wait()
    clock.sleep_until(0.1105)
    pace = pacer.wait()
    assert pace.late_s == pytest.approx(0.1005)
    assert pace.misses == 10
    pacer.wait()
    assert clock.now_s() == pytest.approx(0.12)


def test_lateness_is_counted_in_classes() -> None:
    """Up to the upper end of a class, that included; the last class is beyond them all."""
    clock = SimulatedClock()
    pacer = Pacer(clock, 0.01)
    pacer.wait()
    clock.sleep_until(0.0125)
    pacer.wait()
    clock.sleep_until(5)
    pacer.wait()
    counted = dict(zip((*LATE_UP_TO_S, None), pacer.late_cycles, strict=True))
    assert {end: n for end, n in counted.items() if n} == {0.0005: 1, 0.005: 1, None: 1}
    assert pacer.late_sum_s == pytest.approx(0.0025 + 4.98)


def test_a_pause_on_purpose_is_no_miss() -> None:
    clock = SimulatedClock()
    pacer = Pacer(clock, 0.01)
    pacer.wait()
    clock.sleep_until(3)
    pacer.restart()
    assert pacer.wait().misses == 0


@given(st.lists(st.floats(0, 0.5), max_size=40))
def test_beginnings_are_never_early_and_lateness_never_negative(work_s: list[float]) -> None:
    clock = SimulatedClock()
    pacer = Pacer(clock, 0.0143)
    last_s = -1.0
    for duration_s in work_s:
        pace = pacer.wait()
        assert pace.late_s >= 0
        assert clock.now_s() > last_s or duration_s == 0
        last_s = clock.now_s()
        clock.sleep_until(last_s + duration_s)
