"""The lease alarm of the real clock: it acts whatever happens, or says that it cannot."""

import threading
from collections.abc import Iterator

import pytest

from supervisor.devices.clock import MonotonicClock, ThreadAlarm

PATIENCE_S = 10


class Act:
    """Fails so many times, then succeeds."""

    def __init__(self, failures: int) -> None:
        self.left = failures
        self.done = threading.Event()

    def __call__(self) -> None:
        if self.left:
            self.left -= 1
            raise MemoryError
        self.done.set()


@pytest.fixture
def act() -> Act:
    return Act(failures=0)


@pytest.fixture
def alarm(act: Act) -> Iterator[ThreadAlarm]:
    alarm = MonotonicClock().alarm(act)
    yield alarm
    alarm.close()


def test_it_acts_once_its_time_has_passed(alarm: ThreadAlarm, act: Act) -> None:
    alarm.set(MonotonicClock().now_s() + 0.005)
    assert act.done.wait(PATIENCE_S)


def test_an_earlier_time_than_the_one_waited_for_wakes_it(alarm: ThreadAlarm, act: Act) -> None:
    alarm.set(MonotonicClock().now_s() + 3600)
    alarm.set(MonotonicClock().now_s() + 0.005)
    assert act.done.wait(PATIENCE_S)


@pytest.mark.parametrize("failures", [1, 5])
def test_an_act_that_fails_is_tried_until_it_succeeds(
    alarm: ThreadAlarm, act: Act, failures: int
) -> None:
    act.left = failures
    alarm.set(MonotonicClock().now_s())
    assert act.done.wait(PATIENCE_S)


def test_an_alarm_whose_thread_is_gone_refuses_to_be_relied_on(act: Act) -> None:
    alarm = ThreadAlarm(act)
    alarm.close()
    with pytest.raises(RuntimeError, match="not running"):
        alarm.set(0.0)
