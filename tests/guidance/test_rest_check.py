"""The rest after a full charge: an hour, at its end 3.33 to 3.55 V, 10 mV, 30 mV an hour."""

from collections.abc import Callable

import pytest
from cycles import FAR, FRONT

from supervisor.guidance.rest_check import RestCheck, State
from supervisor.guidance.seconds import Second
from supervisor.settings.charge import Rest

OPENED_S = 1000.0
HOUR_S = 3600
Volts = Callable[[float], float]  # of the seconds since it opened


def steady(volts: float, fall_v_per_h: float = 0.0) -> Volts:
    return lambda rested_s: volts - fall_v_per_h * rested_s / HOUR_S


def rested(
    front: Volts,
    far: Volts | None = None,
    *,
    rest: Rest | None = None,
    until_s: int = HOUR_S,
    gap: range = range(0),
) -> RestCheck:
    check = RestCheck(rest or Rest(), OPENED_S)
    for rested_s in range(1, until_s + 1):
        if rested_s not in gap:
            volts = {FRONT: front(rested_s)} | ({FAR: far(rested_s)} if far else {})
            check.take(Second(OPENED_S + rested_s, volts, 0.0, 0.5))
    return check


def test_passed() -> None:
    check = rested(steady(3.40), steady(3.395))
    view = check.view()
    assert check.state is State.PASSED
    assert (view.state, view.findings) == ("passed", ())
    assert (view.for_s, view.of_s, view.front_v) == (HOUR_S, HOUR_S, 3.40)
    assert view.lag_v == pytest.approx(0.005)
    assert view.fall_v_per_h == pytest.approx(0.0, abs=1e-9)


def test_watched_to_the_last_second() -> None:
    check = rested(steady(3.0), until_s=HOUR_S - 1)
    view = check.view()
    assert check.state is State.WATCHING
    assert (view.state, view.for_s, view.findings) == ("watching", HOUR_S - 1, ())


def test_nothing_seen_yet() -> None:
    view = RestCheck(Rest(), OPENED_S).view()
    assert (view.state, view.for_s) == ("watching", 0.0)
    assert (view.front_v, view.lag_v, view.fall_v_per_h) == (None, None, None)


@pytest.mark.parametrize(
    ("front", "far", "finding"),
    [
        (steady(3.329), steady(3.335),
         "front cell rests at 3.329 V, below 3.330 V: it is not full"),
        (steady(3.335), steady(3.329),
         "far cell rests at 3.329 V, below 3.330 V: it is not full"),
        (steady(3.551), steady(3.545),
         "front cell rests at 3.551 V, above 3.550 V: it has not come to rest"),
        (steady(3.40), steady(3.389),
         "front and far cell differ by 11 mV, more than 10 mV: the balance did not take"),
        (steady(3.389), steady(3.40),
         "front and far cell differ by 11 mV, more than 10 mV: the balance did not take"),
        (steady(3.45, 0.031), steady(3.42),
         "front cell still falls by 31 mV an hour, more than 30: it may discharge itself"),
        (steady(3.42), steady(3.45, 0.031),
         "far cell still falls by 31 mV an hour, more than 30: it may discharge itself"),
    ],
)  # fmt: skip
def test_failed_for_a_reason(front: Volts, far: Volts, finding: str) -> None:
    check = rested(front, far)
    assert check.state is State.FAILED
    assert check.view().findings == (finding,)


@pytest.mark.parametrize(
    ("front", "far"),
    [
        (steady(3.33), steady(3.33)),
        (steady(3.55), steady(3.55)),
        (steady(3.4099), steady(3.40)),
        (steady(3.45, 0.0299), steady(3.42)),
        (steady(3.40, -0.15), None),  # it rises
    ],
)
def test_just_passed(front: Volts, far: Volts | None) -> None:
    assert rested(front, far).view().findings == ()


def test_all_findings_are_told() -> None:
    check = rested(steady(3.40, 0.1), steady(3.36, 0.1), gap=range(100, 200))
    assert len(check.view().findings) == 6  # both below and falling, apart, and a gap


def test_only_the_last_quarter_tells_how_fast_it_falls() -> None:
    """What relaxes after a charge falls fast at first, and is sound."""
    check = rested(lambda s: 3.55 - 0.1 * min(s, 2700) / 2700)
    assert check.state is State.PASSED
    late = rested(lambda s: 3.5 - 0.05 * max(s - 2700, 0) / HOUR_S)
    assert late.state is State.FAILED
    assert late.view().fall_v_per_h == pytest.approx(0.05, rel=1e-3)


def test_a_single_cell_has_nothing_to_differ_from() -> None:
    check = rested(steady(3.40))
    assert check.state is State.PASSED
    assert check.view().lag_v is None


@pytest.mark.parametrize("begins_s", [1, 1800, HOUR_S - 70])
@pytest.mark.parametrize(("missing_s", "fails"), [(59, False), (60, True), (65, True)])
def test_a_gap_in_the_readings_fails_it(begins_s: int, missing_s: int, fails: bool) -> None:
    """60 s missing: 61 s from reading to reading, or from the opening to the first."""
    check = rested(steady(3.40), gap=range(begins_s, begins_s + missing_s))
    findings = check.view().findings
    assert (check.state is State.FAILED) is fails
    assert findings == (
        (f"nothing could be read for {missing_s + 1} s: watch it again with a meter",)
        if fails
        else ()
    )


def test_a_gap_over_the_end_fails_it_when_it_ends() -> None:
    check = rested(steady(3.40), until_s=2 * HOUR_S, gap=range(HOUR_S - 10, 2 * HOUR_S))
    assert check.state is State.FAILED
    assert f"nothing could be read for {HOUR_S + 11} s" in " ".join(check.view().findings)


def test_a_fall_that_cannot_be_told_fails_it() -> None:
    """A short rest: a gap that may be, and yet hides the quarter that tells the fall."""
    rest = Rest(minutes=1)
    check = rested(steady(3.40, 2.0), rest=rest, until_s=60, gap=range(2, 60))
    assert check.state is State.FAILED
    assert check.view().findings == (
        "how fast the front cell falls could not be told: watch it with a meter",
    )


def test_what_was_found_stays() -> None:
    check = rested(steady(3.40), until_s=HOUR_S)
    for late_s in range(HOUR_S + 1, HOUR_S + 100):
        check.take(Second(OPENED_S + late_s, {FRONT: 1.0}, 0.0, 0.5))
    assert check.state is State.PASSED
    assert check.view().front_v == 3.40
