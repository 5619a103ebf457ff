"""The forecast of the time to the limit, and the resistance learned, against the plant's own truth.

No published source: the plant is the reference, whose parts are checked against published figures
(tests/simulator). `tests/benchmarks/forecast.py` prints the whole table.
"""

from math import exp, log
from pathlib import Path
from random import Random

import pytest
from forecasts import BANKS, SPREAD, TURNS, Charge, at, forecasts, judged
from guided_plant import GuidedPlant, settings_of

from supervisor.guidance.forecast import Forecast, Left

LIMIT_V, FLAT_V = 3.6, 3.42
EARLY = {10: 0.55, 2: 0.15}  # relative error that is allowed so many minutes before
LATE = {10: 0.1, 2: 0.1}


@pytest.mark.parametrize("bank", sorted(BANKS))
def test_the_end_of_a_charge_is_seen_coming(bank: str, hut_path: Path) -> None:
    """Late is worse than early. Whenever something is told in the last half hour, the truth lies in
    the interval; and more than two hours before, nobody is told a time."""
    told = forecasts(hut_path, BANKS[bank], seed=3)
    for minutes, early in EARLY.items():
        one = at(told, minutes)
        assert one.best_s is not None
        error = one.best_s / one.before_s - 1
        assert -early <= error <= LATE[minutes], f"{minutes} min before: {error:+.0%}"
    known = [one for one in told if one.best_s is not None and one.before_s <= 1800]
    held = [one for one in known if one.low_s <= one.before_s <= one.high_s]  # type: ignore[operator]
    assert len(held) >= 0.95 * len(known)
    assert not [one for one in told if one.best_s is not None and one.before_s > 7200]


LATE_STARTS = {
    "8 cells, the end of the flat part within minutes": Charge(8, 280, "bpx-lfp", 0.985, 0.95),
    "4 cells, too fast to be seen early": Charge(4, 280, "bpx-lfp", 0.985, 0.9),
    "4 cells, from the flat part": Charge(4, 280, "bpx-lfp", 0.975, 1.0),
    "4 cells, half way up": Charge(4, 280, "bpx-lfp", 0.995, 0.85),
    "4 other cells": Charge(4, 280, "prada-2013", 0.97, 1.0),
    "4 other cells, late": Charge(4, 280, "prada-2013", 0.985, 1.0),
    "after turning to and fro": Charge(8, 280, "bpx-lfp", 0.975, 0.93, TURNS["to and fro"]),
    "after turning slowly up": Charge(8, 280, "bpx-lfp", 0.975, 0.93, TURNS["slowly up"]),
}
LATEST_SHARE = 1.5  # of the truth; of all that tests/benchmarks/forecast.py tries the worst is 1.61


@pytest.mark.parametrize("start", sorted(LATE_STARTS))
def test_of_every_forecast_none_is_too_late(start: str, hut_path: Path) -> None:
    """From the first one on: the limit never comes before the earliest that was told, nor after the
    latest; and when the voltage is in its steep part, a time is told."""
    found = judged(forecasts(hut_path, LATE_STARTS[start], seed=7))
    assert found.told > 0
    assert (found.too_late, found.outside) == (0, 0)
    assert found.latest_share <= LATEST_SHARE
    assert found.due > 0
    assert found.silent <= 3  # of ten seconds each


def runaway(rise_v: float, tau_s: float, before_s: float) -> list[tuple[float, float]]:
    """Seconds and volts of v = 3.45 + rise (exp(t/tau) - 1)."""
    return [(float(t), 3.45 + rise_v * (exp(t / tau_s) - 1)) for t in range(1, int(before_s))]


def fed(course: list[tuple[float, float]], amperes: float = 50.0, noise_v: float = 0.0) -> Forecast:
    rng, forecast = Random(1), Forecast(LIMIT_V, FLAT_V)
    for at_s, volts in course:
        forecast.take(at_s, volts + rng.gauss(0, noise_v), amperes, 0.0)
    return forecast


@pytest.mark.parametrize("noise_v", [0.0, 20e-6])
def test_an_exponential_is_foretold_exactly(noise_v: float) -> None:
    """Closed form: v = 3.45 + a (exp(t/tau) - 1) is at 3.6 V after tau ln(1 + 0.15/a)."""
    rise_v, tau_s, now_s = 0.01, 600.0, 1200.0
    left = fed(runaway(rise_v, tau_s, now_s), noise_v=noise_v).left
    assert left is not None
    truth_s = tau_s * log(1 + 0.15 / rise_v) - now_s
    # The slope is that of the last two minutes' middle, and so a tenth behind.
    assert left.seconds == pytest.approx(truth_s, rel=0.12)
    assert left.low_s < truth_s < left.high_s


def test_a_straight_line_is_foretold_exactly() -> None:
    left = fed([(float(t), 3.45 + 1e-4 * t) for t in range(600)]).left
    assert left is not None
    assert left.seconds == pytest.approx((3.6 - 3.45 - 0.0599) / 1e-4, rel=0.01)


def test_flat_says_nothing() -> None:
    forecast = fed([(float(t), 3.33 + 1e-7 * t) for t in range(1200)], noise_v=20e-6)
    assert forecast.left is None
    assert "flat" in forecast.words or "does not rise" in forecast.words


def test_falling_says_so() -> None:
    forecast = fed([(float(t), 3.55 - 1e-6 * t) for t in range(1200)], noise_v=20e-6)
    assert forecast.left is None
    assert "does not rise" in forecast.words


def test_levelling_off_below_the_limit_says_so() -> None:
    course = [(float(t), 3.5 + 0.05 * (1 - exp(-t / 300))) for t in range(600)]
    forecast = fed(course)
    assert forecast.left is None
    assert "levels off" in forecast.words


def knee(at_s: int) -> float:
    """Flat for ten minutes, then bending up at once: cubic, 3.6 V after five minutes more."""
    return 3.4 + 1e-5 * at_s + 0.191 * (max(0, at_s - 600) / 300) ** 3


def test_while_each_estimate_is_sooner_nothing_is_told() -> None:
    """Closed form, below the flat part's end: 3.6 V comes at 900 s."""
    forecast, told, words = Forecast(LIMIT_V, FLAT_V), [], set()
    for t in range(1, 900):
        forecast.take(float(t), knee(t), 50.0, 0.0)
        if forecast.left is not None:
            told.append((900 - t, forecast.left))
        elif t > 600:
            words.add(forecast.words)
    assert told[0][0] > 60
    assert all(left.low_s <= truth_s <= left.high_s for truth_s, left in told)
    assert "cannot tell yet: each estimate is sooner than the one before" in words


def test_a_first_estimate_waits_for_others_that_agree() -> None:
    forecast, told = Forecast(LIMIT_V, FLAT_V), []
    for t in range(1, 200):
        forecast.take(float(t), 3.45 + 1e-4 * t, 50.0, 0.0)
        told.append(forecast.left is not None)
    assert "watched" in fed([(float(t), 3.45 + 1e-4 * t) for t in range(1, 60)]).words
    first = told.index(True)
    assert 85 <= first <= 95  # half a minute for a slope, a minute of agreement
    assert all(told[first:])


def test_close_above_the_flat_part_nobody_waits() -> None:
    """The limit is 150 s off; a slope is known after 30 s."""
    left = fed([(float(t), 3.45 + 1e-3 * t) for t in range(1, 41)]).left
    assert left is not None
    assert left.seconds == pytest.approx(110, abs=1)
    assert left.low_s < 110 < left.high_s


def test_a_closing_begins_anew() -> None:
    forecast = fed([(float(t), 3.45 + 1e-4 * t) for t in range(1, 200)])
    assert forecast.left is not None
    forecast.begin()
    for t in range(200, 260):
        forecast.take(float(t), 3.45 + 1e-4 * t, 50.0, 0.0)
    assert forecast.left is None


def test_at_the_limit_no_time_is_left() -> None:
    assert fed([(1.0, 3.601)]).left == Left(0.0, 0.0, 0.0)


@pytest.mark.parametrize("to_a", [30.0, 70.0])
def test_a_turn_of_the_knob_is_no_slope(to_a: float) -> None:
    """The current steps, the voltage with it by its drop; for half a minute nothing is told, then
    what the new current makes of it."""
    ohm, forecast = 50e-6, Forecast(LIMIT_V, FLAT_V)
    volts, told = 3.45, []
    for t in range(1, 900):
        amperes = 50.0 if t < 600 else to_a
        volts += 1e-6 * amperes
        forecast.take(float(t), volts + amperes * ohm, amperes, ohm)
        told.append(forecast.left)
    assert told[600] is None
    assert told[620] is None
    left = told[-1]
    assert left is not None
    truth_s = (LIMIT_V - volts - to_a * ohm) / (1e-6 * to_a)
    assert left.seconds == pytest.approx(truth_s, rel=0.05)


def test_a_flickering_mains_is_no_turn_of_the_knob() -> None:
    rng, forecast = Random(1), Forecast(LIMIT_V, FLAT_V)
    told = 0
    for t in range(1, 900):
        amperes = 50.0 * (1 + rng.gauss(0, 0.008))
        forecast.take(float(t), 3.45 + 1e-4 * t + amperes * 50e-6, amperes, 50e-6)
        told += forecast.left is not None
    assert told > 800


def test_resistance_is_learned_from_turns_of_the_knob(hut_path: Path) -> None:
    """Against the plant's own: what the front cell answers at once, by the ladder (checked against
    its closed form in tests/simulator/test_ladder.py)."""
    settings = settings_of(hut_path, 8, 280)
    bench = GuidedPlant(settings, {"state_of_charge": 0.6} | SPREAD, 0.9, seed=2)
    for until_s, knob in ((120, 0.7), (180, 0.95), (240, 0.75), (300, 0.9), (360, 0.9)):
        for _ in bench.windows(until_s):
            pass
        bench.plant.turn_knob(knob, bench.now_s, 1.0)
    view = bench.guide.view(bench.now_s)
    true_ohm = float(bench.plant.bank.ladder.volts_per_ampere[0])
    assert view.resistance_ohm is not None
    assert view.resistance_u_ohm is not None
    # A little more than at once: the cells' fast relaxation has begun within the second.
    assert true_ohm <= view.resistance_ohm + 2 * view.resistance_u_ohm
    assert view.resistance_ohm == pytest.approx(true_ohm, rel=0.15)
    assert view.measured_v is not None
    assert view.at_rest_v == pytest.approx(
        view.measured_v - bench.plant.current_a * view.resistance_ohm, abs=1e-4
    )


def test_a_flat_day_tells_no_wild_number(hut_path: Path) -> None:
    settings = settings_of(hut_path, 32, 280)
    bench = GuidedPlant(settings, {"state_of_charge": 0.7} | SPREAD, 0.95)
    told = [
        view.best_s
        for k, _ in enumerate(bench.windows(3600))
        if k % 100 == 0 and (view := bench.guide.view(bench.now_s).to_limit).best_s is not None
    ]
    assert told == []
