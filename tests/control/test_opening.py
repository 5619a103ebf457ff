"""After the coil was dropped: what counts as open, and what does not."""

import pytest

from supervisor.control.opening import Opening, OpeningWatch
from supervisor.readings import Channel, ContactorState, Pace, Quality, Reading, Readings
from supervisor.settings.model import SupervisorSettings

OPENED_AT_S = 10.0
CYCLE_S = 0.1 / 7


@pytest.fixture
def watch(hut_settings: SupervisorSettings) -> OpeningWatch:
    return OpeningWatch(OPENED_AT_S, hut_settings)


def seen(
    now_s: float, current_a: float | None, auxiliary: bool | None, *, told_to_close: bool = False
) -> Readings:
    quality = Quality.GOOD if current_a is not None else Quality.NO_ANSWER
    shunt = Reading(Channel.SHUNT, current_a, quality, 0.1, now_s)
    contactor = ContactorState(told_to_close, 3.0 if told_to_close else OPENED_AT_S, auxiliary)
    return Readings({Channel.SHUNT: shunt}, None, False, contactor, Pace(0.0, 0))


@pytest.mark.parametrize("current_a", [None, 0.1, -0.1, 80.0, -80.0])
@pytest.mark.parametrize("auxiliary", [None, True, False])
def test_confirmed_only_by_what_is_known_and_contradicted_by_nothing(
    watch: OpeningWatch, current_a: float | None, auxiliary: bool | None
) -> None:
    for now_s in (10.2, 10.25, 10.31):
        outcome = watch.look(seen(now_s, current_a, auxiliary), now_s, failed=False)
    no_current = current_a is None or abs(current_a) < 3.0
    known = current_a is not None or auxiliary is not None
    open_as_far_as_known = known and no_current and auxiliary is not True
    assert outcome is (Opening.CONFIRMED if open_as_far_as_known else Opening.WAITING)
    assert watch.opened_in_s == (pytest.approx(0.2) if open_as_far_as_known else None)


def test_between_two_pulses_of_the_rectifier_it_is_not_open(watch: OpeningWatch) -> None:
    """Welded, 100 Hz pulses, no filter: some conversions fall between two pulses."""
    now_s = OPENED_AT_S
    for scan in range(30):
        now_s += CYCLE_S
        current_a = 90.0 if scan % 3 == 0 else 0.0
        assert watch.look(seen(now_s, current_a, None), now_s, failed=False) is Opening.WAITING


def test_readings_from_before_the_opening_confirm_and_condemn_nothing(
    watch: OpeningWatch,
) -> None:
    """The cycle that opens still holds the contactor's state and readings of before."""
    for now_s in (10.0, 10.1, 10.2, 10.3):
        before = seen(9.99, 0.0, None, told_to_close=now_s == 10.0)
        assert watch.look(before, now_s, failed=False) is Opening.WAITING


def test_not_confirmed_when_nothing_tells_in_time(watch: OpeningWatch) -> None:
    outcomes = [watch.look(seen(t, None, None), t, failed=False) for t in (10.9, 11.5, 20.0)]
    assert outcomes == [Opening.WAITING, Opening.WAITING, Opening.UNKNOWN]
    assert watch.opened_in_s is None


def test_the_rules_verdict_is_final(watch: OpeningWatch) -> None:
    assert watch.look(seen(10.6, 80.0, True), 10.6, failed=True) is Opening.FAILED
    assert watch.look(seen(10.8, 0.0, False), 10.8, failed=False) is Opening.FAILED


def test_seen_to_be_open_after_a_long_standstill_is_confirmed(watch: OpeningWatch) -> None:
    """The bus hung, the lease dropped the coil, and the loop comes back long after: it is open."""
    outcomes = [watch.look(seen(t, None, False), t, failed=False) for t in (20.0, 20.05, 20.11)]
    assert outcomes == [Opening.WAITING, Opening.WAITING, Opening.CONFIRMED]
    assert watch.opened_in_s == pytest.approx(10.0)
