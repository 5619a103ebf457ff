"""What was measured before a trip: fine for seconds, coarse for a minute, nothing invented."""

from itertools import pairwise

from cycles import WINDOW_S, cycle

from supervisor.control.lookback import Lookback
from supervisor.readings import Quality
from supervisor.snapshot import Moment


def filled(seconds: float) -> tuple[Lookback, float]:
    lookback = Lookback()
    at_s = 0.0
    for k in range(round(seconds / WINDOW_S) + 1):
        at_s = k * WINDOW_S
        lookback.note(cycle(at_s, front=3.4 + k * 1e-4, far=None, amperes=float(k)))
    return lookback, at_s


def test_nothing_was_measured() -> None:
    assert Lookback().moments(5.0) == ()


def test_the_last_windows_one_by_one_and_a_minute_by_the_second() -> None:
    lookback, now_s = filled(200.0)
    moments = lookback.moments(now_s)
    ages = [moment.before_s for moment in moments]
    assert ages == sorted(ages, reverse=True)
    assert ages[-1] == 0.0
    assert ages[-30:] == [round(k * WINDOW_S, 3) for k in reversed(range(30))]
    assert 55 <= ages[0] <= 60
    coarse = ages[:-30]
    assert all(0.99 <= a - b <= 1.11 for a, b in pairwise(coarse))
    assert moments[-1] == Moment(0.0, 3.6, None, 2000.0)


def test_a_bad_mean_is_a_gap_and_cycles_between_windows_add_nothing() -> None:
    lookback = Lookback()
    lookback.note(cycle(1.0, front=Quality.FROZEN, far=3.3, amperes=5.0))
    lookback.note(cycle(1.1, new=False))
    lookback.note(cycle(1.2, means="none yet"))
    assert lookback.moments(1.5) == (Moment(0.5, None, 3.3, 5.0),)
