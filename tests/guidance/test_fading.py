"""The hold's current falls to its end. I = I0 exp(-t / tau) takes tau ln(I0 / Iend)."""

from math import exp, log
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.guidance.fading import Fading
from supervisor.guidance.forecast import Left

TAU_S = 900.0
END_A = 8.0
FALLS_S = TAU_S * log(12.5)  # from 100 A: 2273.16 s


def fed(fading: Fading, until_s: int, from_a: float = 100.0, tau_s: float = TAU_S) -> Fading:
    for at_s in range(until_s + 1):
        fading.take(at_s, from_a * exp(-at_s / tau_s))
    return fading


def told(fading: Fading) -> Left:
    assert fading.left is not None
    assert fading.words == ""
    return fading.left


@pytest.mark.parametrize("at_s", [900, 1500, 2200])
@pytest.mark.parametrize("wait_s", [0.0, 1800.0])
def test_the_closed_form(at_s: int, wait_s: float) -> None:
    left = told(fed(Fading(END_A, wait_s), at_s))
    assert left.seconds == pytest.approx(FALLS_S - at_s + wait_s, abs=1e-3)
    assert left.low_s == pytest.approx((FALLS_S - at_s) / 2 + wait_s, abs=1e-3)
    assert left.high_s == pytest.approx((FALLS_S - at_s) * 2 + wait_s, abs=1e-3)


def test_nothing_is_told_in_the_first_quarter_of_an_hour() -> None:
    fading = fed(Fading(END_A, 0.0), 899)
    assert fading.left is None
    assert fading.words == "cannot tell yet: the hold has just begun"


def test_at_the_end_it_only_waits() -> None:
    fading = Fading(END_A, 1800.0)
    fading.take(0.0, END_A)
    left = told(fading)
    assert (left.seconds, left.high_s) == (1800.0, 3600.0)


@given(seed=st.integers(0, 10_000), sigma_a=st.floats(0.01, 0.5), tau_s=st.floats(600, 7200))
def test_with_noise_the_truth_lies_within(seed: int, sigma_a: float, tau_s: float) -> None:
    rng, fading = Random(seed), Fading(END_A, 0.0)
    falls_s = tau_s * log(12.5)
    last_s = min(int(falls_s * 0.9), 7200)
    for at_s in range(0, last_s, 10):
        fading.take(at_s, 100.0 * exp(-at_s / tau_s) + rng.gauss(0, sigma_a))
        if fading.left is not None:
            assert fading.left.low_s <= falls_s - at_s <= fading.left.high_s
            assert fading.left.low_s <= fading.left.seconds <= fading.left.high_s
    assert fading.left is not None


@pytest.mark.parametrize("noise_a", [0.0, 0.1])
def test_a_current_that_does_not_fall(noise_a: float) -> None:
    """One cell that leaks takes it for ever: after an hour that is told."""
    rng, fading = Random(4), Fading(END_A, 0.0)
    for at_s in range(0, 3600, 10):
        fading.take(at_s, 12.0 + rng.uniform(-noise_a, noise_a))
        if fading.left is not None:  # noise may look like a fall, not like a fast one
            assert fading.left.seconds > 3600
        assert not fading.no_longer_falls
    fading.take(3600.0, 12.0)
    assert fading.left is None
    assert fading.words == "no forecast: the current does not fall"
    assert fading.no_longer_falls


def test_a_current_that_rises_never_falls() -> None:
    fading = Fading(END_A, 0.0)
    for at_s in range(0, 3700, 10):
        fading.take(at_s, 10.0 + at_s / 100)
    assert fading.left is None
    assert fading.no_longer_falls


def test_below_the_end_it_no_longer_has_to_fall() -> None:
    fading = Fading(END_A, 60.0)
    for at_s in range(0, 7200, 10):
        fading.take(at_s, 5.0)
    assert told(fading).seconds == 60.0
    assert not fading.no_longer_falls


def test_two_days_are_too_far_to_tell() -> None:
    fading = fed(Fading(END_A, 0.0), 1800, tau_s=100_000.0)
    assert fading.left is None
    assert not fading.no_longer_falls


@pytest.mark.parametrize("amperes", [0.0, -3.0, 1e-9])
def test_next_to_no_current_has_a_logarithm_as_well(amperes: float) -> None:
    fading = Fading(END_A, 60.0)
    for at_s in range(0, 1000, 10):
        fading.take(at_s, amperes)
    assert told(fading).seconds == 60.0


def test_another_hold_begins_anew() -> None:
    fading = fed(Fading(END_A, 0.0), 1500)
    fading.begin()
    assert fading.left is None
    for at_s in range(2000, 2899):
        fading.take(at_s, 50 * exp(-(at_s - 2000) / 300))
        if fading.left is not None:
            assert 50 * exp(-(at_s - 2000) / 300) <= END_A
    assert not fading.no_longer_falls
