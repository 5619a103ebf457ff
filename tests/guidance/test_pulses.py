"""The pulsed hold: asks to close again only within every bound that the settings give."""

import pytest
from cycles import FAR, FRONT
from hypothesis import given
from hypothesis import strategies as st

from supervisor.guidance.pulses import HOUR_S, SHOWN, Pulses
from supervisor.guidance.seconds import Second
from supervisor.protection.session import SessionCount
from supervisor.settings.charge import PulsedHold
from supervisor.snapshot import Stage

HOLD, TAPER = Stage.HOLD, Stage.TAPER
ABOVE_V, BELOW_V = 3.56, 3.50
END_A, FULL_S = 8.0, 1800.0
NEW_AFTER_S, WINDOW_S = 6 * HOUR_S, 0.1


def hold(**changes: float) -> PulsedHold:
    return PulsedHold(open_above_volts=ABOVE_V, close_below_volts=BELOW_V, **changes)  # type: ignore[arg-type]


def pulses_of(made: SessionCount | None = None, **changes: float) -> Pulses:
    return Pulses(hold(**changes), END_A, FULL_S, made or SessionCount(NEW_AFTER_S, WINDOW_S))


def second(at_s: float, volts: float, amperes: float = 50.0, far_v: float | None = None) -> Second:
    return Second(at_s, {FRONT: volts, FAR: volts if far_v is None else far_v}, amperes, 0.5)


def pulse(pulses: Pulses, from_s: float, for_s: int, amperes: float = 50.0) -> float:
    """Closed for so long at this current, then opened; the time by then."""
    pulses.closed(from_s)
    for k in range(1, for_s):
        assert pulses.wants_to_open(second(from_s + k, ABOVE_V, amperes), HOLD) == ""
    at_s = from_s + for_s
    assert pulses.wants_to_open(second(at_s, ABOVE_V + 0.001, amperes), HOLD)
    pulses.opened(at_s)
    return at_s


def rests(pulses: Pulses, from_s: float, volts: float, most_s: int = 20_000) -> float:
    """Opened until it may close, is full, or has ended; the time by then."""
    for k in range(1, most_s):
        if pulses.may_close(second(from_s + k, volts, 0.0), from_s + k):
            return from_s + k
        if pulses.is_full or pulses.ended:
            return from_s + k
    raise AssertionError("it rests for ever")


# Opening


@pytest.mark.parametrize("stage", [Stage.BULK, TAPER])
def test_before_the_hold_it_does_not_pulse(stage: Stage) -> None:
    pulses = pulses_of()
    pulses.closed(0.0)
    assert pulses.wants_to_open(second(1.0, 3.7), stage) == ""
    assert not pulses.is_under_way


def test_opens_above_its_voltage_on_any_cell() -> None:
    pulses = pulses_of()
    pulses.closed(0.0)
    assert pulses.wants_to_open(second(1.0, ABOVE_V), HOLD) == ""
    told = pulses.wants_to_open(second(2.0, 3.5, far_v=3.562), HOLD)
    assert told == "pulsed hold: 3.562 V is above 3.56 V"


def test_once_begun_it_opens_in_any_stage() -> None:
    pulses = pulses_of()
    at_s = pulse(pulses, 0.0, 10)
    assert pulses.is_under_way
    pulses.closed(at_s + 100)
    assert pulses.wants_to_open(second(at_s + 101, 3.57), TAPER)


# Closing again


def test_closes_after_the_least_rest() -> None:
    pulses = pulses_of(least_rest_seconds=60)
    opened_s = pulse(pulses, 0.0, 10)
    assert not pulses.may_close(second(opened_s + 59, 3.4, 0.0), opened_s + 59)
    assert pulses.view().waits_for == "a rest of 60 s"
    assert pulses.may_close(second(opened_s + 60, 3.4, 0.0), opened_s + 60)
    assert pulses.view().waits_for == ""


@pytest.mark.parametrize("volts", [BELOW_V, 3.6, float("nan")])
def test_waits_for_every_cell_to_fall(volts: float) -> None:
    pulses = pulses_of()
    opened_s = pulse(pulses, 0.0, 10)
    for front_v, far_v in ((volts, 3.4), (3.4, volts)):
        told = second(opened_s + 100, front_v, 0.0, far_v=far_v)
        assert not pulses.may_close(told, opened_s + 100)
        assert pulses.view().waits_for.endswith("V to fall below 3.500 V")


def test_ends_after_its_pulses() -> None:
    pulses, at_s = pulses_of(most_pulses=2, most_per_hour=60), 0.0
    for _ in range(3):
        at_s = rests(pulses, pulse(pulses, at_s, 600), 3.4)
    assert pulses.ended == "2 pulses in this session: that is what is allowed"
    assert (pulses.view().count, pulses.view().most) == (2, 2)


def test_waits_for_the_hour_to_be_over() -> None:
    """Closes again at 70 s and 140 s; the hour from the first of them ends at 3670 s."""
    pulses, at_s = pulses_of(most_per_hour=2), 0.0
    for expected_s in (70, 140, 70 + 3600):
        opened_s = pulse(pulses, at_s, 10, amperes=5000.0)
        at_s = rests(pulses, opened_s, 3.4)
        assert at_s == expected_s


def test_says_so_while_it_waits_for_the_hour() -> None:
    pulses = pulses_of(most_per_hour=1)
    at_s = rests(pulses, pulse(pulses, 0.0, 10), 3.4)
    opened_s = pulse(pulses, at_s, 10)
    assert not pulses.may_close(second(opened_s + 100, 3.4, 0.0), opened_s + 100)
    assert pulses.view().waits_for == "the hour in which it closed 1 times to be over"


def test_ends_after_its_hours() -> None:
    """Opens at 300 s and every 360 s then; the hour is over at 3900 s, when it opens once more."""
    pulses, at_s = pulses_of(most_hours=1, most_pulses=1000, most_per_hour=60), 0.0
    while not pulses.ended:
        at_s = rests(pulses, pulse(pulses, at_s, 300), 3.4)
    assert pulses.ended == "1 h of pulses: that is what is allowed"
    assert at_s == 300 + 3600 + 1


def test_ends_when_the_voltage_does_not_fall() -> None:
    pulses = pulses_of(most_rest_minutes=20)
    opened_s = pulse(pulses, 0.0, 100)
    assert rests(pulses, opened_s, 3.52) == opened_s + 1200
    assert pulses.ended.startswith("3.520 V after 20 min: it does not fall below 3.500 V")
    assert not pulses.may_close(second(opened_s + 1300, 3.4, 0.0), opened_s + 1300), "for good"


# Full


def test_full_when_the_mean_over_pulse_and_rest_stays_small() -> None:
    """100 A for 60 s are 6000 As: below 8 A in the mean after 750 s, and for 30 min at 2551 s."""
    pulses = pulses_of()
    opened_s = pulse(pulses, 0.0, 60, amperes=100.0)
    assert rests(pulses, opened_s, 3.52) == 750 + 1 + FULL_S
    assert pulses.is_full
    assert not pulses.ended


@pytest.mark.parametrize("volts", [3.40, 3.499])
def test_not_full_while_only_something_else_keeps_it_open(volts: float) -> None:
    """The hour's allowance, or a rule that is timing: such a bank takes more, if it were let."""
    pulses = pulses_of(most_per_hour=1)
    opened_s = pulse(pulses, rests(pulses, pulse(pulses, 0.0, 10), 3.4), 10)
    for k in range(1, 3500):
        assert not pulses.may_close(second(opened_s + k, volts, 0.0), opened_s + k)
        assert not pulses.is_full


def test_what_falls_in_between_has_to_stay_up_for_the_whole_time_again() -> None:
    pulses = pulses_of(most_per_hour=1, most_rest_minutes=600)
    opened_s = pulse(pulses, rests(pulses, pulse(pulses, 0.0, 10), 3.4), 10)
    for k in range(1, 2 * int(FULL_S)):
        volts = 3.40 if k % 1700 == 0 else 3.52
        pulses.may_close(second(opened_s + k, volts, 0.0), opened_s + k)
        assert not pulses.is_full


def test_pulses_in_which_nothing_flowed_are_no_end() -> None:
    pulses = pulses_of(most_rest_minutes=60)
    opened_s = pulse(pulses, 0.0, 60, amperes=0.0)
    assert rests(pulses, opened_s, 3.52) == opened_s + 3600
    assert not pulses.is_full
    assert pulses.ended


def test_not_full_while_the_pulses_carry_more() -> None:
    """100 A for 100 s, and 300 s of rest: 25 A in the mean."""
    pulses, at_s = pulses_of(least_rest_seconds=300), 0.0
    for _ in range(12):
        at_s = rests(pulses, pulse(pulses, at_s, 100, amperes=100.0), 3.4)
        assert not pulses.is_full
        assert not pulses.ended


def test_a_reverse_current_makes_no_mean_small() -> None:
    pulses = pulses_of()
    pulses.closed(0.0)
    for k in range(1, 61):
        pulses.wants_to_open(second(k, 3.57, 100.0 if k <= 30 else -100.0), HOLD)
    pulses.opened(60.0)
    assert rests(pulses, 60.0, 3.52) == 375 + 1 + FULL_S


# Shown


def test_lengths_shorten_as_recorded() -> None:
    pulses, at_s = pulses_of(most_per_hour=60, most_hours=100), 0.0
    lengths_s = [float(n) for n in range(300, 300 - 20 * 14, -20)]
    for length_s in lengths_s:
        opened_s = pulse(pulses, at_s, int(length_s), amperes=5000.0)
        at_s = rests(pulses, opened_s, 3.4)
    view = pulses.view()
    assert view.lengths_s == tuple(lengths_s[-SHOWN:])
    assert list(view.lengths_s) == sorted(view.lengths_s, reverse=True)
    assert view.count == len(lengths_s) - 1


def test_a_closing_that_was_asked_for_begins_anew() -> None:
    pulses, at_s = pulses_of(most_hours=1, most_pulses=1000, most_per_hour=60), 0.0
    while not pulses.ended:
        at_s = rests(pulses, pulse(pulses, at_s, 300), 3.4)
    pulses.begin()
    assert not pulses.is_under_way
    assert (pulses.ended, pulses.is_full, pulses.view().lengths_s) == ("", False, ())
    made = pulses.view().count
    opened_s = pulse(pulses, at_s, 10)
    assert rests(pulses, opened_s, 3.4) == opened_s + 60
    assert pulses.view().count == made, "the first closing is no pulse of its own"


def test_a_closing_that_was_asked_for_is_no_new_allowance() -> None:
    """Nor is another object of the same session: another profile, a restart."""
    made = SessionCount(NEW_AFTER_S, WINDOW_S)
    pulses, at_s = pulses_of(made, most_pulses=2), 0.0
    while not pulses.ended:
        at_s = rests(pulses, pulse(pulses, at_s, 10), 3.4)
    pulses.begin()
    for again in (pulses, pulses_of(made, most_pulses=2)):
        assert again.ended == ""
        at_s = rests(again, pulse(again, at_s, 10), 3.4)
        assert again.ended == "2 pulses in this session: that is what is allowed"


def test_a_closing_that_was_asked_for_does_not_end_the_hour() -> None:
    pulses = pulses_of(most_per_hour=1)
    at_s = rests(pulses, pulse(pulses, 0.0, 10), 3.4)
    pulse(pulses, at_s, 10)
    pulses.begin()
    assert rests(pulses, pulse(pulses, at_s + 100, 10), 3.4) == at_s + HOUR_S


# Invariants


@st.composite
def bounds(draw: st.DrawFn) -> PulsedHold:
    return hold(
        least_rest_seconds=draw(st.integers(10, 120)),
        most_rest_minutes=draw(st.integers(1, 60)),
        most_pulses=draw(st.integers(1, 30)),
        most_per_hour=draw(st.integers(1, 8)),
        most_hours=draw(st.floats(0.2, 3)),
    )


levels = st.lists(st.tuples(st.floats(3.3, 3.65), st.floats(3.3, 3.65)), min_size=2, max_size=12)


@given(bounds(), levels, st.integers(1, 40), st.floats(0, 200), st.integers(0, 3))
def test_never_closes_beyond_any_bound(
    bounds: PulsedHold,
    levels: list[tuple[float, float]],
    each_s: int,
    amperes: float,
    refuses: int,
) -> None:
    """Voltages that jump about; the guard closes at once or lets it ask some times more."""
    pulses = Pulses(bounds, END_A, FULL_S, SessionCount(NEW_AFTER_S, WINDOW_S))
    reclosed_s: list[float] = []
    opened_s = began_s = -1.0
    closed, asked = True, 0
    pulses.closed(0.0)
    for k in range(1, 9000):
        at_s = float(k)
        front_v, far_v = levels[k // each_s % len(levels)]
        told = second(at_s, front_v, amperes if closed else 0.0, far_v=far_v)
        if closed:
            if pulses.wants_to_open(told, HOLD):
                assert max(front_v, far_v) > ABOVE_V
                pulses.opened(at_s)
                closed, opened_s = False, at_s
                began_s = at_s if began_s < 0 else began_s
            continue
        if not pulses.may_close(told, at_s):
            if pulses.ended:
                break
            continue
        assert max(front_v, far_v) < BELOW_V
        assert at_s - opened_s >= bounds.least_rest_seconds
        assert at_s - opened_s < bounds.most_rest_minutes * 60
        assert at_s - began_s < bounds.most_hours * HOUR_S
        asked += 1
        if asked % (refuses + 1) == 0:
            reclosed_s.append(at_s)
            assert len(reclosed_s) <= bounds.most_pulses
            assert sum(at_s - s < HOUR_S for s in reclosed_s) <= bounds.most_per_hour
            pulses.closed(at_s)
            closed = True
    assert pulses.view().count == len(reclosed_s)
