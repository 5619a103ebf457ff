"""Full: only when all of it held for all of the time counted; breaks are few and short."""

from math import inf, nan
from random import Random

import pytest
from cycles import FAR, FRONT, without_far_cell
from hypothesis import example, given
from hypothesis import strategies as st

from supervisor.guidance.completion import NO_FLOW, Completion
from supervisor.guidance.seconds import Second
from supervisor.settings.model import SupervisorSettings

OF_S = 60  # of one minute, the least there is
TOO_LONG_S = 5  # lost at a stretch, or a tenth of the time


def second(
    at_s: float,
    front_v: float = 3.55,
    far_v: float = 3.55,
    amperes: float = 5.0,
    unsure_a: float = 0.5,
) -> Second:
    return Second(at_s, {FRONT: front_v, FAR: far_v}, amperes, unsure_a)


def within(settings: SupervisorSettings, **changes: float) -> SupervisorSettings:
    """Full after a minute: end 8 A, hold from 3.52 V, 10 mV, 2688 Ah, unless changed."""
    assert settings.charge is not None
    assert settings.charge.full is not None
    full = settings.charge.full.model_copy(update={"minutes": 1.0, **changes})
    charge = settings.charge.model_copy(update={"full": full})
    return settings.model_copy(update={"charge": charge})


@pytest.fixture
def completion(hut_settings: SupervisorSettings) -> Completion:
    return Completion(within(hut_settings))


def missing(completion: Completion, told: Second, charged_ah: float = 5000.0) -> str:
    completion.take(told, charged_ah, told.at_s)
    return "; ".join(completion.view().missing)


def hold(completion: Completion, from_s: int, to_s: int) -> None:
    """Everything is met in each second from ... to, both included."""
    for at_s in range(from_s, to_s + 1):
        completion.take(second(at_s), 5000.0, at_s)


def test_full_after_its_time_and_not_a_second_before(completion: Completion) -> None:
    hold(completion, 101, 100 + OF_S - 1)
    assert completion.reason == ""
    assert completion.view().for_s == OF_S - 1
    hold(completion, 100 + OF_S, 100 + OF_S)
    assert completion.reason == "held at 3.550 V with 5.0 A, below 8.0 A for 1 min"
    assert completion.view().missing == ()


def test_a_new_one_knows_nothing(completion: Completion) -> None:
    view = completion.view()
    assert (view.for_s, view.of_s, view.missing) == (0.0, OF_S, ("no reading yet",))
    assert completion.reason == ""
    assert not completion.current_is_small


# What counts


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (second(1, front_v=3.519, far_v=3.519), "3.519 V is below the hold, 3.520 V"),
        (second(1, amperes=8.0, unsure_a=0.0), "8.0 A (+-0.0) is not below 8.0 A, either way"),
        (second(1, amperes=7.6, unsure_a=0.5), "7.6 A (+-0.5) is not below 8.0 A, either way"),
        (second(1, amperes=-9.0), "-9.0 A (+-0.5) is not below 8.0 A, either way"),
        (second(1, amperes=0.0), NO_FLOW),
        (second(1, amperes=0.5, unsure_a=0.5), NO_FLOW),
        (second(1, amperes=0.16, unsure_a=0.1), NO_FLOW),
        (second(1, amperes=-2.0), NO_FLOW),
        (second(1, front_v=3.5612), "far cell lags by 11 mV, more than 10 mV"),
        (second(1, far_v=3.5612), "front cell lags by 11 mV, more than 10 mV"),
    ],
)
def test_each_condition_is_told_in_words(completion: Completion, told: Second, words: str) -> None:
    assert missing(completion, told) == words


@pytest.mark.parametrize(
    ("charged_ah", "words"),
    [
        (2687.9, "2687.9 Ah charged, less than 2688.0 Ah: too little to be full"),
        (10752.1, "10752.1 Ah charged: more than the bank can hold"),
    ],
)
def test_too_little_and_too_much_charge(
    completion: Completion, charged_ah: float, words: str
) -> None:
    """32 cells of 280 Ah hold 8960 Ah, and a fifth more at the most."""
    assert missing(completion, second(1), charged_ah) == words


@pytest.mark.parametrize("charged_ah", [2688.0, 10752.0])
@pytest.mark.parametrize(
    "told",
    [
        second(1, front_v=3.52, far_v=3.511),  # the highest one is in the hold
        second(1, amperes=7.4, unsure_a=0.5),
        second(1, amperes=0.5, unsure_a=0.1),
        second(1, front_v=3.5599, far_v=3.55, amperes=1.6),
    ],
)
def test_just_met(completion: Completion, told: Second, charged_ah: float) -> None:
    assert missing(completion, told, charged_ah) == ""


def test_the_drop_along_the_bars_is_no_lag(hut_settings: SupervisorSettings) -> None:
    """30 microohm with 100 A: 3 mV that front shows more."""
    completion = Completion(within(hut_settings, end_amperes=120.0))
    assert missing(completion, second(1, front_v=3.5625, amperes=100.0)) == ""
    assert missing(completion, second(1, front_v=3.549, far_v=3.557, amperes=100.0)) == (
        "front cell lags by 11 mV, more than 10 mV"
    )


def test_without_a_far_cell_nothing_lags(hut_settings: SupervisorSettings) -> None:
    completion = Completion(within(without_far_cell(hut_settings)))
    assert missing(completion, Second(1.0, {FRONT: 3.55}, 5.0, 0.5)) == ""


def test_all_that_is_missing_is_told(completion: Completion) -> None:
    completion.take(second(1, front_v=3.50, far_v=3.45, amperes=90.0), 10.0, 1.0)
    assert len(completion.view().missing) == 4


@pytest.mark.parametrize("odd", [nan, inf, -inf])
@pytest.mark.parametrize("what", ["front_v", "far_v", "amperes", "charged_ah"])
def test_what_is_no_number_is_never_met(completion: Completion, what: str, odd: float) -> None:
    charged_ah = odd if what == "charged_ah" else 5000.0
    odd_one = {} if what == "charged_ah" else {what: odd}
    for at_s in range(3 * OF_S):
        completion.take(second(at_s, **odd_one), charged_ah, at_s)
    assert completion.view().missing == ("a value that is no number",)
    assert (completion.reason, completion.view().for_s) == ("", 0.0)


@pytest.mark.parametrize("odd", [nan, inf])
def test_nor_is_a_current_known_to_nobody(completion: Completion, odd: float) -> None:
    assert missing(completion, second(1, unsure_a=odd)) != ""
    assert not completion.current_is_small


# The current by itself


def test_the_current_counts_whatever_else_is_missing(completion: Completion) -> None:
    missing(completion, second(1, front_v=3.3, far_v=3.2), charged_ah=0.0)
    assert completion.current_is_small
    missing(completion, second(2, amperes=7.6))
    assert not completion.current_is_small


def test_nor_is_much_of_it_backwards(completion: Completion) -> None:
    missing(completion, second(1, amperes=-9.0))
    assert not completion.current_is_small


# A supply that has died


def test_nothing_ever_flowed(completion: Completion) -> None:
    for at_s in range(10 * OF_S):
        completion.take(second(at_s, amperes=0.0), 5000.0, at_s)
    assert completion.view().missing == (NO_FLOW,)
    assert completion.view().for_s == 0
    assert completion.reason == ""


@pytest.mark.parametrize("before_a", [100.0, 7.0, 1.6])
@pytest.mark.parametrize("after_a", [0.4, 0.0, -0.4])
def test_the_supply_dies_in_the_hold(
    completion: Completion, before_a: float, after_a: float
) -> None:
    """The voltage stays up, as that of a bank nearly full may for an hour."""
    for at_s in range(50):
        completion.take(second(at_s, amperes=before_a), 5000.0, at_s)
    for at_s in range(50, 3600):
        completion.take(second(at_s, amperes=after_a), 5000.0, at_s)
        assert not completion.reason
    assert completion.view().missing == (NO_FLOW,)


@pytest.mark.parametrize(("zero_a", "is_full"), [(0.9, False), (0.2, True), (-0.9, True)])
def test_the_error_of_the_zero_is_no_current(
    completion: Completion, zero_a: float, is_full: bool
) -> None:
    """2.1 A are shown, 0.5 A of it unsure; 0.9 A were shown while nothing flowed."""
    for at_s in range(10 * OF_S):
        completion.take(second(at_s, amperes=2.1), 5000.0, at_s, zero_a)
    assert bool(completion.reason) is is_full


def test_nor_does_it_make_one_small(completion: Completion) -> None:
    for at_s in range(10 * OF_S):
        completion.take(second(at_s, amperes=7.0), 5000.0, at_s, -0.9)
    assert completion.reason == ""


def test_a_current_that_has_faded_away_counts_on(hut_settings: SupervisorSettings) -> None:
    """By a like share each second, from 4 A to nothing that could be told, within 20 min."""
    completion = Completion(within(hut_settings, minutes=20.0))
    for at_s in range(1201):
        completion.take(second(at_s, amperes=4.0 * 0.997**at_s), 5000.0, at_s)
    assert completion.reason


@pytest.mark.parametrize("shown_a", [0.55, 0.6, 1.4])
def test_a_current_that_drops_at_once_to_what_may_be_an_error_is_no_end(
    completion: Completion, shown_a: float
) -> None:
    """From 7 A: the supply is dead, and the rest is the shunt's offset."""
    for at_s in range(3600):
        completion.take(second(at_s, amperes=7.0 if at_s < 50 else shown_a), 5000.0, at_s)
    assert (completion.reason, completion.view().missing) == ("", (NO_FLOW,))


@pytest.mark.parametrize("spread_a", [0.01, 0.1, 0.4])
def test_noise_about_what_can_be_told_is_no_fading(completion: Completion, spread_a: float) -> None:
    rng = Random(5)
    for at_s in range(4 * 3600):
        amperes = 50.0 if at_s < 50 else 0.49 + rng.gauss(0, spread_a)
        completion.take(second(at_s, amperes=amperes), 5000.0, at_s)
    assert completion.reason == ""


def test_faded_and_then_backwards_is_no_end(completion: Completion) -> None:
    for at_s in range(600):
        completion.take(second(at_s, 3.5, 3.5, amperes=4.0 * 0.995**at_s), 5000.0, at_s)
    for at_s in range(600, 1200):
        completion.take(second(at_s, amperes=-2.9), 5000.0, at_s)
    assert (completion.reason, completion.view().missing) == ("", (NO_FLOW,))


def test_too_little_charge_counts_only_when_all_of_it_was_counted(completion: Completion) -> None:
    completion.take(second(1), 10.0, 1.0, is_whole=False)
    assert completion.view().missing == ()


def test_a_knob_turned_down_is_no_fading(hut_settings: SupervisorSettings) -> None:
    completion = Completion(within(hut_settings, minutes=10.0))
    for at_s in range(3600):
        completion.take(second(at_s, amperes=max(0.0, 7.0 - 0.3 * at_s)), 5000.0, at_s)
    assert completion.reason == ""


# Breaks


@pytest.mark.parametrize("way", ["not met", "missing"])
@pytest.mark.parametrize(("break_s", "goes_on"), [(1, True), (4, True), (5, False), (600, False)])
def test_a_break(completion: Completion, way: str, break_s: int, goes_on: bool) -> None:
    """Seconds 1 to 50 are met, then a break, then all are again: only what is met is counted."""
    hold(completion, 1, 50)
    for at_s in range(51, 51 + break_s):
        if way == "not met":
            completion.take(second(at_s, amperes=9.0), 5000.0, at_s)
    again_s = 51 + break_s
    hold(completion, again_s, again_s + 8)
    assert completion.reason == ""
    hold(completion, again_s + 9, again_s + 9)
    assert bool(completion.reason) is goes_on


@pytest.mark.parametrize(("met_s", "of_s"), [(1, 6), (1, 2), (3, 6), (4, 5)])
def test_met_now_and_then_is_not_held(completion: Completion, met_s: int, of_s: int) -> None:
    for at_s in range(3600):
        told = second(at_s) if at_s % of_s < met_s else second(at_s, amperes=9.0)
        completion.take(told, 5000.0, at_s)
    assert completion.reason == ""


def test_never_full_in_a_break(completion: Completion) -> None:
    hold(completion, 1, OF_S - 1)
    completion.take(second(OF_S, amperes=9.0), 5000.0, OF_S)
    assert completion.reason == ""
    hold(completion, OF_S + 1, OF_S + 1)
    assert completion.reason


def test_a_closing_begins_anew(completion: Completion) -> None:
    hold(completion, 1, 3 * OF_S)
    completion.begin()
    assert (completion.reason, completion.view().for_s) == ("", 0.0)
    assert not completion.current_is_small
    hold(completion, 3 * OF_S + 1, 4 * OF_S - 1)
    assert completion.reason == ""


MET = "met"
KINDS = {
    "low": second(0, front_v=3.51, far_v=3.51),
    "much current": second(0, amperes=7.9),
    "none": second(0, amperes=0.0),
    "front lags": second(0, front_v=3.53),
    "far lags": second(0, far_v=3.53),
    "no number": second(0, far_v=nan),
}
kinds = st.sampled_from([MET, MET, "missing", "too little", "too much", *KINDS])
stretches = st.lists(st.tuples(kinds, st.integers(1, 9) | st.integers(10, 70)), max_size=25)


@given(stretches, st.integers(0, 1_000_000))
@example([(MET, 1), ("missing", TOO_LONG_S), (MET, OF_S)], 0)
def test_full_only_after_so_many_seconds_met_with_little_lost_between(
    hut_settings: SupervisorSettings, stretches: list[tuple[str, int]], from_s: int
) -> None:
    completion = Completion(within(hut_settings))
    since_break: list[str] = []  # the seconds since the last break that was too long
    at_s = from_s
    for kind, for_s in stretches:
        for _ in range(for_s):
            at_s += 1
            since_break.append(kind)
            if MET not in since_break[-TOO_LONG_S:] and len(since_break) >= TOO_LONG_S:
                since_break.clear()
            if kind == "missing":
                continue
            charged_ah = {"too little": 2687.0, "too much": 11000.0}.get(kind, 5000.0)
            told = KINDS.get(kind, second(0))
            completion.take(told._replace(at_s=at_s), charged_ah, at_s)
            met_s = since_break.count(MET)
            assert completion.view().for_s <= met_s + 1
            if set(since_break) == {MET} and met_s >= OF_S:
                assert completion.reason
            if completion.reason:
                assert met_s >= OF_S
                return


def test_little_is_lost_between(completion: Completion) -> None:
    """At most a tenth of the time beyond the first break, in whatever order."""
    lost_s = 0
    for at_s in range(1, 5000):
        is_met = (at_s * 7919) % 9 != 0  # a ninth is not
        lost_s += not is_met
        told = second(at_s) if is_met else second(at_s, amperes=9.0)
        completion.take(told, 5000.0, at_s)
        if completion.reason:
            assert lost_s <= TOO_LONG_S + at_s / 9
            return
