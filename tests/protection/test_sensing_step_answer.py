"""A voltage that must answer the current: dV = R dI, by regression through zero.

The example's converter knows a change to 62.5 uV, half a step of +-4.096 V (data sheet: 125 uV). So
zero answer to 94 A is 0 +- 0.665 microohm: with three sigma just below the 2 microohms asked for.
"""

from math import sqrt

import pytest
from cycles import TRIP, told_closed, told_open, with_rule
from levels import Levels

from supervisor.protection.rules.sensing import SensingRule
from supervisor.protection.sensing.step_answer import REMEDY, StepAnswer
from supervisor.protection.verdict import Verdict
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

KNOWN_V = 62.5e-6
LEAST = 2.0  # microohms
ENOUGH_A = 3 * KNOWN_V / LEAST * 1e6  # 93.75 A: three sigma of it are the least answer
V = 3.3


@pytest.fixture
def levels(hut_settings: SupervisorSettings) -> Levels:
    return Levels(StepAnswer(hut_settings))


def microohm(of: float) -> float:
    return of * 1e-6


def test_the_figures_above(hut_settings: SupervisorSettings) -> None:
    assert hut_settings.channels.front_cell.step_volts == 125e-6
    assert hut_settings.protection.sensing.least_answer_microohms == LEAST
    assert hut_settings.protection.sensing.step_amperes == 20
    assert pytest.approx(93.75) == ENOUGH_A


@pytest.mark.parametrize("sign", [1, -1])
def test_the_words_in_full(levels: Levels, sign: int) -> None:
    levels.hold(50 - sign * 50, V, 10)
    assert levels.hold(50 + sign * 50, V, 0.9) is None, "until a stretch of one second is full"
    assert levels.hold(50 + sign * 50, V, 0.1) == Verdict(
        rule="sensing",
        state=TRIP,
        measured=pytest.approx(0.0, abs=1e-9),
        limit=2.0,
        unit="microohm",
        since_s=None,
        reason="front cell does not answer the current: 0.0 microohm instead of 2.0 at the least, "
        "over 100 A in one step",
        remedy=REMEDY,
    )


def test_it_stays_tripped_until_it_is_opened(levels: Levels) -> None:
    levels.hold(0, V, 10)
    levels.hold(100, V, 30)
    assert levels.said is not None
    levels.contactor = told_open(levels.at_s)
    assert levels.window(100, V) is None


@pytest.mark.parametrize(("amperes", "trips"), [(ENOUGH_A - 0.01, False), (ENOUGH_A + 0.01, True)])
def test_zero_answer_trips_as_soon_as_it_can_be_told_from_the_least(
    levels: Levels, amperes: float, trips: bool
) -> None:
    levels.hold(0, V, 10)
    assert (levels.hold(amperes, V, 5) is not None) is trips


@pytest.mark.parametrize(
    ("answer", "trips"), [(17.0, False), (2.0, False), (0.51, False), (0.49, True), (-1.0, True)]
)
def test_estimate_and_three_sigma_must_stay_below_the_least_answer(
    levels: Levels, answer: float, trips: bool
) -> None:
    """125 A: three sigma are 1.5 microohms."""
    levels.hold(0, V, 10)
    said = levels.hold(125, V + 125 * microohm(answer), 5)
    assert (said is not None) is trips
    assert said is None or said.measured == pytest.approx(answer)


def test_an_answer_the_wrong_way_trips_only_when_it_is_sure(levels: Levels) -> None:
    """-20 microohms over 60 A, three sigma 3.1: too weak to tell 0 from 2."""
    levels.hold(0, V, 10)
    assert levels.hold(60, V - 60 * microohm(20), 10) is None
    assert levels.hold(140, V - 140 * microohm(20), 5) is not None


@pytest.mark.parametrize(("step_a", "trips"), [(20.0, True), (19.99, False)])
def test_many_small_steps_tell_as_much_as_a_large_one(
    levels: Levels, step_a: float, trips: bool
) -> None:
    """22 steps of 20 A: sqrt(22) * 20 A = 93.81 A, just more than 93.75 A. 21 are too few."""
    for k in range(22):
        assert levels.hold(40 + step_a * (k % 2), V, 10) is None
    said = levels.hold(40, V, 1)
    assert (said is not None) is trips
    assert said is None or "over 440 A in 22 steps" in said.reason


@pytest.mark.parametrize(
    ("over_s", "trips"), [(0.5, True), (8.0, True), (10.0, True), (11.5, False), (30.0, False)]
)
def test_a_change_may_take_ten_seconds(levels: Levels, over_s: float, trips: bool) -> None:
    levels.hold(0, V, 10)
    levels.hold(lambda s: 120 * min(1.0, s / over_s), V, over_s)
    assert (levels.hold(120, V, 5) is not None) is trips


@pytest.mark.parametrize("between_a", [0.0, 4.5, 12.0, 19.0])
@pytest.mark.parametrize("between_s", [1, 2, 4])
def test_a_halt_on_the_way_does_not_hide_a_step(
    levels: Levels, between_a: float, between_s: int
) -> None:
    """Too short to start a step from; the level before it still can. 120 A of zero answer in all,
    in one step or in two."""
    levels.hold(0, V, 10)
    levels.hold(between_a, V, between_s)
    assert levels.hold(120, V, 6) is not None


@pytest.mark.parametrize(("before_s", "trips"), [(5, True), (4, False)])
def test_five_seconds_at_one_current_come_before_a_step(
    levels: Levels, before_s: float, trips: bool
) -> None:
    """Without them nobody knows the drift."""
    levels.hold(0, V, before_s)
    assert (levels.hold(120, V, 10) is not None) is trips


@pytest.mark.parametrize(
    ("between_a", "between_s", "words"),
    [(3.9, 9, "116 A in one"), (4.1, 4, "120 A in one"), (4.1, 5, "116 A in one")],
)
def test_another_current_serves_as_a_level_after_five_seconds(
    levels: Levels, between_a: float, between_s: int, words: str
) -> None:
    """A fifth of step_amperes, 4 A, is flicker of the mains; more is another level."""
    levels.hold(0, V, 10)
    levels.hold(between_a, V, between_s)
    said = levels.hold(120, V, 1)
    assert said is not None
    assert f"over {words} step" in said.reason


def test_a_slow_creep_of_the_current_is_no_level_either(levels: Levels) -> None:
    """1.2 A/s: each second is steady, but within four of them it is another current."""
    levels.hold(lambda s: 1.2 * s, V, 40)
    assert levels.hold(160, V, 5) is None


@pytest.mark.parametrize(("wobble_a", "trips"), [(4.0, True), (4.01, False)])
def test_only_steady_seconds_count(levels: Levels, wobble_a: float, trips: bool) -> None:
    levels.hold(0, V, 10)
    for k in range(60):
        levels.window(120 + wobble_a * (k % 2), V)
    assert (levels.said is not None) is trips


def test_an_unsteady_second_before_the_step_does_not_hide_it(levels: Levels) -> None:
    levels.hold(0, V, 10)
    for amperes in (0, 60, 0, 60, 120, 90, 120, 120, 60, 120):
        levels.window(amperes, V)
    assert levels.hold(120, V, 1) is not None


# --- drift


def test_the_drift_before_a_step_is_taken_out_of_it(levels: Levels) -> None:
    """20 uV/s for 1 s are 20 uV: over 125 A they would look like 0.16 microohm."""
    levels.hold(0, lambda s: V + 20e-6 * s, 10)
    at_10 = V + 200e-6
    said = levels.hold(125, lambda s: at_10 + 20e-6 * s, 1)
    assert said is not None
    assert said.measured == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize(("share", "trips"), [(0.49, True), (0.51, False)])
def test_a_drift_that_is_not_small_against_the_least_answer_hides_it(
    hut_settings: SupervisorSettings, share: float, trips: bool, way: int
) -> None:
    """Half of 2 microohms times 400 A, in the one second between the means: 400 uV.

    One such step alone is not sure enough: three are.
    """
    levels = Levels(StepAnswer(hut_settings))
    slope = way * share * 800e-6
    for k in range(8):
        begins_at_v = V + slope * levels.at_s
        levels.hold(400 * (k % 2), lambda s, v=begins_at_v: v + slope * s, 10)  # type: ignore[misc]
        assert k > 2 or levels.first is None
    assert (levels.first is not None) is trips


def test_the_drift_is_that_of_the_last_ten_seconds(levels: Levels) -> None:
    """2 mV/s until 7 s before: over ten seconds far too much, over seven there is none."""
    levels.hold(0, lambda s: V + 0.002 * s, 3)
    levels.hold(0, V + 0.006, 7)
    assert levels.hold(130, V + 0.006, 1) is None


@pytest.mark.parametrize(("slope", "trips"), [(10e-6, True), (60e-6, False)])
def test_the_drift_goes_on_for_as_long_as_the_change_takes(
    levels: Levels, slope: float, trips: bool
) -> None:
    """Six seconds and more from middle to middle: 60 uV/s are beyond the 200 uV for 200 A."""
    levels.hold(0, lambda s: V + slope * s, 10)
    levels.hold(lambda s: min(200.0, 40 * s), lambda s: V + slope * (10 + s), 5)
    said = levels.hold(200, lambda s: V + slope * (15 + s), 2)
    assert (said is not None) is trips
    assert said is None or said.measured == pytest.approx(0.0, abs=1e-3)


def test_the_drift_makes_the_answer_less_sure(levels: Levels) -> None:
    """80 uV: sigma is sqrt(62.5^2 + 80^2) = 101.5 uV; three of it over 130 A are 2.34 microohms."""
    slope = 80e-6
    levels.hold(0, lambda s: V + slope * s, 10)
    last_v = V + 10 * slope
    assert levels.hold(130, lambda s: last_v + slope * s, 1) is None
    sure_a = 3 * sqrt(62.5**2 + 80**2) / LEAST
    assert sure_a == pytest.approx(152.3, abs=0.1)


@pytest.mark.parametrize(("amperes", "trips"), [(151.0, False), (154.0, True)])
def test_so_it_takes_more_current(levels: Levels, amperes: float, trips: bool) -> None:
    slope = 80e-6
    levels.hold(0, lambda s: V + slope * s, 10)
    last_v = V + 10 * slope
    assert (levels.hold(amperes, lambda s: last_v + slope * s, 1) is not None) is trips


def test_noise_of_the_drift_counts_as_well(levels: Levels) -> None:
    """A zigzag from second to second of +-2 mV: nobody can say where the cell was going."""
    levels.hold(0, lambda s: V + (0.002 if int(s - 0.05) % 2 else -0.002), 10)
    assert levels.hold(130, V, 5) is None


# --- from step to step, from closing to closing


def test_old_good_answers_do_not_hide_a_lead_that_comes_off(levels: Levels) -> None:
    """Kept are the newest steps that tell zero from half the least answer: 187.5 A, here four."""
    for k in range(100):
        levels.hold(100 * (k % 2), V + 100 * (k % 2) * microohm(17), 10)
    assert levels.first is None
    steps = 0
    while levels.said is None:
        steps += 1
        levels.hold(100 * (steps % 2), V, 10)
        assert steps <= 6
    assert steps == 5


def test_one_step_that_tells_enough_stands_alone(levels: Levels) -> None:
    """Six sigma of 400 A are 0.94 microohm: what was before it is forgotten at once."""
    levels.hold(0, V, 10)
    levels.hold(400, V + 400 * microohm(17), 10)
    assert levels.hold(0, V + 400 * microohm(17), 1) is not None


def test_a_lead_that_is_mended_is_trusted_after_the_next_closing(levels: Levels) -> None:
    levels.hold(0, V, 10)
    levels.hold(100, V, 2)
    assert levels.said is not None
    levels.contactor = told_open(levels.at_s)
    levels.hold(0, V, 10)
    levels.contactor = told_closed(levels.at_s)
    assert levels.hold(0, V, 10) is None, "what was before this closing does not count"
    assert levels.hold(100, V + 100 * microohm(17), 10) is None


def test_old_evidence_does_not_add_to_a_weak_step_after_the_next_closing(levels: Levels) -> None:
    """30 A alone tell nothing; with the 100 A from before they would."""
    levels.hold(0, V, 10)
    levels.hold(100, V, 2)
    levels.contactor = told_open(levels.at_s)
    levels.hold(0, V, 10)
    levels.contactor = told_closed(levels.at_s)
    assert levels.hold(30, V, 10) is None


def test_the_step_of_the_closing_itself_counts(levels: Levels) -> None:
    """The knob is up, and the current comes with the contact."""
    levels.contactor = told_open(-10.0)
    levels.hold(0, V, 10)
    levels.contactor = told_closed(levels.at_s)
    levels.hold(100, V, 1)
    assert levels.said is not None


def test_no_word_while_it_is_open(levels: Levels) -> None:
    levels.contactor = told_open(-10.0)
    for k in range(20):
        assert levels.hold(200 * (k % 2), V, 10) is None


def test_readings_that_are_not_believed_are_no_evidence(levels: Levels) -> None:
    levels.hold(0, V, 10)
    for k in range(200):
        levels.window(Quality.TOO_FEW if k % 2 else 120, V)
        levels.window(120, Quality.TOO_FEW)
    assert levels.first is None


@pytest.mark.parametrize(("blind_windows", "trips"), [(109, True), (111, False)])
def test_after_a_long_while_without_sight_a_step_is_none(
    levels: Levels, blind_windows: int, trips: bool
) -> None:
    """Nobody knows what the cell did in between: from middle to middle 12 s are the most."""
    levels.hold(0, V, 10)
    levels.number += blind_windows
    assert (levels.hold(120, V, 10) is not None) is trips


def test_the_settings_count(hut_settings: SupervisorSettings) -> None:
    rule = with_rule(hut_settings, "sensing", least_answer_microohms=8.0, step_amperes=50.0)
    levels = Levels(StepAnswer(rule))
    levels.hold(0, V, 10)
    assert levels.hold(49.9, V, 10) is None
    assert levels.hold(0, V, 10) is None
    said = levels.hold(50.1, V, 1)
    assert said is not None
    assert (said.measured, said.limit) == (pytest.approx(0.0, abs=1e-9), pytest.approx(8.0))


def test_a_divider_makes_the_steps_of_the_converter_larger(
    hut_settings: SupervisorSettings,
) -> None:
    front = hut_settings.channels.front_cell.model_copy(update={"gain": 2.0})
    channels = hut_settings.channels.model_copy(update={"front_cell": front})
    levels = Levels(StepAnswer(hut_settings.model_copy(update={"channels": channels})))
    levels.hold(0, V, 10)
    assert levels.hold(180, V, 10) is None
    assert levels.hold(0, V, 10) is not None, "254 A in all, where 187.5 A are enough"


def test_the_rule_trips(hut_settings: SupervisorSettings) -> None:
    levels = Levels(SensingRule(hut_settings))
    levels.hold(0, V, 10)
    levels.hold(120, V, 1)
    assert levels.said is not None
    assert levels.said.state is TRIP
    assert "does not answer" in levels.said.reason
