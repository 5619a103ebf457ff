"""After the coil was dropped: what counts as open, and what does not."""

import itertools

import pytest

from supervisor.control.opening import Opening, OpeningWatch
from supervisor.readings import Channel, ContactorState, Pace, Quality, Reading, Readings

OPENED_AT_S = 10.0


def seen(
    now_s: float, current_a: float | None, auxiliary: bool | None, *, told_to_close: bool = False
) -> Readings:
    quality = Quality.GOOD if current_a is not None else Quality.NO_ANSWER
    shunt = Reading(Channel.SHUNT, current_a, quality, 0.1, now_s)
    contactor = ContactorState(told_to_close, 3.0 if told_to_close else OPENED_AT_S, auxiliary)
    return Readings({Channel.SHUNT: shunt}, None, False, contactor, Pace(0.0, 0))


@pytest.mark.parametrize(
    ("current_a", "auxiliary"),
    list(itertools.product([None, 0.1, -0.1, 80.0, -80.0], [None, True, False])),
)
def test_confirmed_only_by_what_is_known_and_contradicted_by_nothing(
    current_a: float | None, auxiliary: bool | None
) -> None:
    watch = OpeningWatch(OPENED_AT_S, no_current_a=3.0, within_s=0.5)
    outcome = watch.look(seen(10.2, current_a, auxiliary), 10.2, failed=False)
    no_current = current_a is None or abs(current_a) < 3.0
    known = current_a is not None or auxiliary is not None
    open_as_far_as_known = known and no_current and auxiliary is not True
    assert outcome is (Opening.CONFIRMED if open_as_far_as_known else Opening.WAITING)
    assert watch.opened_in_s == (pytest.approx(0.2) if open_as_far_as_known else None)


def test_readings_from_before_the_opening_confirm_and_condemn_nothing() -> None:
    """The cycle that opens still holds the contactor's state and readings of before."""
    watch = OpeningWatch(OPENED_AT_S, no_current_a=3.0, within_s=0.5)
    before = seen(9.99, 0.0, None, told_to_close=True)
    assert watch.look(before, OPENED_AT_S, failed=False) is Opening.WAITING
    late = seen(9.99, 0.0, None)
    assert watch.look(late, 10.3, failed=False) is Opening.WAITING


def test_unknown_when_nothing_tells_in_time() -> None:
    watch = OpeningWatch(OPENED_AT_S, no_current_a=3.0, within_s=0.5)
    assert watch.look(seen(10.9, None, None), 10.9, failed=False) is Opening.WAITING
    assert watch.look(seen(11.1, None, None), 11.1, failed=False) is Opening.UNKNOWN


def test_the_rules_verdict_is_final() -> None:
    watch = OpeningWatch(OPENED_AT_S, no_current_a=3.0, within_s=0.5)
    assert watch.look(seen(10.6, 80.0, True), 10.6, failed=True) is Opening.FAILED
    assert watch.look(seen(10.8, 0.0, False), 10.8, failed=False) is Opening.FAILED
