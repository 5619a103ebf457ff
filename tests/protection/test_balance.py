"""Balance: 0.05 V beyond 30 microohms times the current, in 3 of 4 windows, for 5 s.

The drop along a parallel ladder and its bounds: figures of the cosh formula.
"""

from math import nan, nextafter
from typing import Any

import numpy as np
import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    TIMING,
    TRIP,
    Value,
    cycle,
    feed,
    states,
    told_open,
    windows,
    with_rule,
    without_far_cell,
)
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.rulebook import build_rules
from supervisor.protection.rules.balance import FAR_TOO_LOW, FRONT_TOO_LOW, BalanceRule
from supervisor.protection.verdict import Rule
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.bank import Bank
from supervisor.simulator.ladder import Ladder
from supervisor.simulator.parts.cells import CellsSettings

TOO_FEW = Quality.TOO_FEW
DELAY_WINDOWS = 40  # of 0.125 s: 5 s


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> BalanceRule:
    return BalanceRule(hut_settings)


@pytest.fixture
def exact(hut_settings: SupervisorSettings) -> BalanceRule:
    """A limit and cells that are exact in binary: 0.0625 V, at no current."""
    return BalanceRule(with_rule(hut_settings, "balance", trip_volts=0.0625))


def times(count: int, **what: Value) -> list[tuple[float, dict[str, Any]]]:
    return [(k * 0.125, what) for k in range(count)]


def test_says_who_it_is(rule: BalanceRule) -> None:
    """Function 60 of IEEE C37.2, voltage balance (memory)."""
    verdict = rule.judge(cycle(0.0), 0.0)
    assert (rule.key, rule.function) == ("balance", "60")
    assert (verdict.rule, verdict.unit, verdict.limit) == ("balance", "V", 0.05)
    assert rule.remedy.startswith("measure front and far cell at their own terminals with a meter;")


def test_the_drop_that_the_current_explains_is_taken_out(rule: BalanceRule) -> None:
    """1000 A over 30 microohms are 30 mV: a front cell 79 mV ahead is within the limit."""
    verdicts = feed(rule, times(100, front=3.379, far=3.300, amperes=1000.0))
    assert set(states(verdicts)) == {CLEAR}
    assert verdicts[-1].measured == pytest.approx(0.049)
    assert verdicts[-1].since_s is None
    assert verdicts[-1].remedy == ""
    assert verdicts[-1].reason == "front and far cell differ by no more than the current explains"


@pytest.mark.parametrize(
    ("front", "far", "amperes", "excess", "reason", "remedy"),
    [
        (3.480, 3.330, 100.0, 0.147,
         "front cell 3.480 V, far cell 3.330 V, expected drop 0.003 V: far cell is 0.147 V too "
         "low, more than 0.050 V for 5.0 s", FAR_TOO_LOW),
        (3.250, 3.330, 100.0, 0.083,
         "front cell 3.250 V, far cell 3.330 V, expected drop 0.003 V: front cell is 0.083 V too "
         "low, more than 0.050 V for 5.0 s", FRONT_TOO_LOW),
        (3.330, 3.330, -2000.0, 0.060,
         "front cell 3.330 V, far cell 3.330 V, expected drop -0.060 V: far cell is 0.060 V too "
         "low, more than 0.050 V for 5.0 s", FAR_TOO_LOW),
        (3.3802, 3.330, 0.0, 0.0502,
         "front cell 3.380 V, far cell 3.330 V, expected drop 0.000 V: far cell is 0.0502 V too "
         "low, more than 0.050 V for 5.0 s", FAR_TOO_LOW),
    ],
)  # fmt: skip
def test_too_different_times_then_trips(
    rule: BalanceRule,
    front: float,
    far: float,
    amperes: float,
    excess: float,
    reason: str,
    remedy: str,
) -> None:
    what = {"front": front, "far": far, "amperes": amperes}
    steps = [(64 + k * 0.125, what) for k in range(DELAY_WINDOWS + 1)]
    verdicts = feed(rule, steps)
    assert states(verdicts) == [TIMING] * DELAY_WINDOWS + [TRIP]
    tripped = verdicts[-1]
    assert tripped.measured == pytest.approx(excess)
    assert tripped.reason == reason
    assert tripped.since_s == 64.0
    assert {verdict.remedy for verdict in verdicts} == {remedy}


def test_the_remedies_name_the_lead_that_reads_low() -> None:
    assert FAR_TOO_LOW.endswith("sense lead of the far cell")
    assert "sense lead of the front cell" in FRONT_TOO_LOW
    assert "link" in FAR_TOO_LOW
    first = "measure front and far cell at their own terminals with a meter; if they do "
    assert FAR_TOO_LOW.startswith(f"{first}differ")
    assert FRONT_TOO_LOW.startswith(f"{first}not differ")


@pytest.mark.parametrize("far", [3.3125, 3.4375])
def test_exactly_at_the_limit_is_within_it(exact: BalanceRule, far: float) -> None:
    at = feed(exact, times(60, front=3.375, far=far, amperes=0.0))
    assert set(states(at)) == {CLEAR}
    assert at[-1].measured == 0.0625
    past = nextafter(far, 0.0 if far < 3.375 else 9.0)
    assert set(states(feed(exact, times(60, front=3.375, far=past, amperes=0.0)))) == {TIMING, TRIP}


def test_three_of_four_windows_confirm(hut_settings: SupervisorSettings) -> None:
    """Without delay: the third of four windows, with one within the limit between them."""
    rule = BalanceRule(with_rule(hut_settings, "balance", delay_seconds=0.0))
    verdicts = feed(rule, windows("far", [3.3, 3.3, 3.4, 3.3, 3.4, 3.4]))
    assert states(verdicts) == [TIMING, TIMING, TIMING, TRIP, TIMING, CLEAR]


def test_back_within_the_limit_it_says_what_was_and_what_is(rule: BalanceRule) -> None:
    values = [{"far": far, "amperes": 100.0} for far in (3.3, 3.3, 3.4)]
    verdicts = feed(rule, [(k * 0.125, what) for k, what in enumerate(values)])
    assert verdicts[-1].state is TIMING
    assert verdicts[-1].measured == pytest.approx(0.003)
    assert verdicts[-1].remedy == ""
    assert verdicts[-1].reason == (
        "front and far cell differed by more than 0.050 V for 0.2 s, now front cell 3.400 V, far "
        "cell 3.400 V, expected drop 0.003 V"
    )


@pytest.mark.parametrize("what", ["front", "far", "amperes"])
@pytest.mark.parametrize("bad", [TOO_FEW, nan])
def test_cannot_tell_without_all_three(rule: BalanceRule, what: str, bad: Value) -> None:
    within = {"front": 3.4, "far": 3.4, "amperes": 50.0}[what]
    verdicts = feed(rule, windows(what, [within, bad, within]))
    assert states(verdicts) == [CLEAR, CANNOT_TELL, CLEAR]
    name = {"front": "front cell", "far": "far cell", "amperes": "current"}[what]
    quality = "too few" if bad is TOO_FEW else "good"
    assert verdicts[1].reason == f"no good reading, {name}: {quality}"
    assert (verdicts[1].measured, verdicts[1].since_s, verdicts[1].remedy) == (None, None, "")


def test_a_far_cell_that_is_missing_cannot_tell(rule: BalanceRule) -> None:
    verdict = rule.judge(cycle(0.0, far=None), 0.0)
    assert (verdict.state, verdict.reason) == (
        CANNOT_TELL, "no good reading, far cell: no answer"
    )  # fmt: skip


def test_a_bad_window_neither_ends_a_timing_nor_completes_it(rule: BalanceRule) -> None:
    values: list[Value] = [3.3, TOO_FEW] * DELAY_WINDOWS
    verdicts = feed(rule, windows("far", values))
    assert states(verdicts[:DELAY_WINDOWS]) == [TIMING, CANNOT_TELL] * (DELAY_WINDOWS // 2)
    assert verdicts[DELAY_WINDOWS].state is TRIP
    assert verdicts[DELAY_WINDOWS].since_s == 0.0


def test_a_bad_window_does_not_end_a_trip(rule: BalanceRule) -> None:
    tripped = feed(rule, windows("far", [3.3] * 41 + [TOO_FEW]))[-1]
    assert (tripped.state, tripped.measured, tripped.since_s) == (TRIP, None, 0.0)
    assert tripped.reason == (
        "front and far cell differed by more than 0.050 V for 5.1 s, now without a good reading"
    )


def test_before_the_first_window_it_cannot_tell(rule: BalanceRule) -> None:
    verdict = rule.judge(cycle(0.0, means="none yet", new=False), 0.0)
    assert (verdict.state, verdict.reason) == (
        CANNOT_TELL, "no window of readings is complete yet"
    )  # fmt: skip


def test_between_windows_the_last_verdict_stands(rule: BalanceRule) -> None:
    first = rule.judge(cycle(0.0, far=3.3, new=False), 0.0)
    assert first.state is TIMING, "the window that is there counts, new or not"
    for k in range(1, 700):
        assert rule.judge(cycle(k / 70, far=3.3, new=False), k / 70) is first


def test_single_conversions_do_not_reach_it(rule: BalanceRule) -> None:
    means = cycle(0.0).window
    assert means is not None
    for k in range(100):
        assert rule.judge(cycle(k / 8, front=4.0, means=means), k / 8).state is CLEAR


# --- open and closed


def test_a_standing_difference_hinders_closing_and_reset(rule: BalanceRule) -> None:
    """Nothing flows, and yet the ends differ: a link is open, or a lead lies."""
    steps = [
        (k * 0.125, {"front": 3.40, "far": 3.33, "amperes": 0.0, "contactor": told_open(-9.0)})
        for k in range(DELAY_WINDOWS + 1)
    ]
    verdicts = feed(rule, steps)
    assert CLEAR not in states(verdicts)
    assert verdicts[-1].state is TRIP


@pytest.mark.parametrize("cells", [4, 8, 32])
@pytest.mark.parametrize(
    "offsets", [(), (0.03, 0.01, -0.01, -0.03), (-0.03, -0.01, 0.01, 0.03), (0, 0, 0, -0.1)]
)
def test_a_sound_bank_is_clear_up_the_knee_and_relaxing(
    hut_settings: SupervisorSettings, cells: int, offsets: tuple[float, ...]
) -> None:
    """At 130 A, the most that overcurrent allows, cells of unequal charge come to 3.55 V and rest.

    All the current in the front cells drops nothing, all of it in the far ones twice the even
    share's drop: 130 A x 30 microohms = 3.9 mV either way.
    """
    rule = BalanceRule(hut_settings)
    rating = hut_settings.bank.model_copy(update={"cells_in_parallel": cells})
    each = tuple(offset for offset in offsets for _ in range(cells // 4))
    bars = CellsSettings(
        state_of_charge=0.94, state_of_charge_offsets=each, link_microohms=30 / (cells - 1)
    )
    bank = Bank(bars, rating)
    now_s, amperes, most_v = 0.0, 130.0, 0.0
    rests_s = 120.0
    while rests_s > 0:
        bank.feed(amperes)
        what = {"front": bank.volts[0], "far": bank.volts[-1], "amperes": amperes}
        verdict = rule.judge(cycle(now_s, **what), now_s)
        assert verdict.state is CLEAR
        if amperes:
            most_v = max(most_v, verdict.measured or 0.0)
            amperes = 130.0 if bank.volts[0] < 3.55 else 0.0
        else:
            rests_s -= 4.0
        bank.arrive(bank.ahead(4.0, lambda _rest_v, _ohm, fed_a=amperes: fed_a))
        now_s += 4.0
    assert 0.0005 < most_v < 130 * 30e-6 + 0.0001


@pytest.mark.parametrize(
    ("n", "bars", "lag_v"),
    [(4, 0.1, 0.025726), (4, 0.2, 0.045070), (8, 0.1, 0.044489), (8, 0.2, 0.066526)],
)
def test_the_limit_allows_for_the_expected_lag_of_a_ladder(
    hut_settings: SupervisorSettings, n: int, bars: float, lag_v: float
) -> None:
    """Published lag at 200 A, cells of 1 milliohm: with it as the expected drop nothing is left."""
    rail = [bars / 2000] * (n - 1)
    volts, _ = Ladder([0.001] * n, rail, rail).solve(np.full(n, 3.3), 200.0)
    assert volts[0] - volts[-1] == pytest.approx(lag_v, abs=1e-6)
    settings = with_rule(hut_settings, "balance", bars_microohms=lag_v / 200 * 1e6)
    readings = cycle(0.0, front=volts[0], far=volts[-1], amperes=200.0)
    assert BalanceRule(settings).judge(readings, 0.0).measured == pytest.approx(0.0, abs=1e-6)


def test_is_built_only_with_a_far_cell(hut_settings: SupervisorSettings) -> None:
    def keys(settings: SupervisorSettings) -> list[str]:
        built: list[Rule] = build_rules(settings)
        return [rule.key for rule in built]

    assert "balance" in keys(hut_settings)
    assert "balance" not in keys(without_far_cell(hut_settings))
    protection = hut_settings.protection.model_copy(update={"balance": None})
    assert "balance" not in keys(hut_settings.model_copy(update={"protection": protection}))


volts = st.one_of(st.floats(3.2, 3.5), st.sampled_from([TOO_FEW]))


@given(steps=st.lists(st.tuples(volts, volts, st.floats(0.0, 0.2)), max_size=60))
def test_a_larger_difference_never_turns_a_trip_into_anything_else(
    hut_settings: SupervisorSettings, steps: list[tuple[Value, Value, float]]
) -> None:
    settings = with_rule(hut_settings, "balance", delay_seconds=0.5)
    nearer, farther = BalanceRule(settings), BalanceRule(settings)
    for k, (front, far, by) in enumerate(steps):
        at_s, more = k / 8, by
        moved = front
        if isinstance(front, float) and isinstance(far, float):
            moved = front + (more if front - far >= 0 else -more)
        tripped = nearer.judge(cycle(at_s, front=front, far=far, amperes=0.0), at_s).state is TRIP
        now = farther.judge(cycle(at_s, front=moved, far=far, amperes=0.0), at_s)
        assert now.state is TRIP or not tripped
