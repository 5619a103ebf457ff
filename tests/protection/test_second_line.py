"""Second line (59): a low ALERT line is a trip, an unverified one is no answer.

Limits of the tests' own; looks and freshness are the project's choice (no source).
"""

from dataclasses import replace
from math import inf, nan, nextafter

import pytest
from cycles import CANNOT_TELL, CLEAR, CLOSED, FRONT, TIMING, TRIP, cycle, told_open, with_rule
from hypothesis import given
from hypothesis import strategies as st
from second_lines import RELEASE_V, TRIP_V, with_second_line

from supervisor.protection.decision import Protection
from supervisor.protection.rules.second_line import SecondLineRule
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import ContactorState, Quality, Reading, SecondLine
from supervisor.settings.model import SupervisorSettings

OPEN = told_open(-100.0)
WELL = SecondLine(alert=False, problem="", verified_at_s=0.0)
ALERT = replace(WELL, alert=True)
BROKEN = SecondLine(alert=False, problem="its wire is broken", verified_at_s=None)


@pytest.fixture
def settings(hut_settings: SupervisorSettings) -> SupervisorSettings:
    return with_second_line(hut_settings)


@pytest.fixture
def rule(settings: SupervisorSettings) -> SecondLineRule:
    return SecondLineRule(settings)


def judged(
    rule: SecondLineRule,
    line: SecondLine | None,
    at_s: float = 60.0,
    *,
    front: float | Quality = 3.64,
    contactor: ContactorState = CLOSED,
    age_s: float = 0.0,
) -> Verdict:
    readings = cycle(at_s, front=front, contactor=contactor)
    old = replace(readings.scan[FRONT], taken_at_s=at_s - age_s)
    readings = replace(readings, scan={**readings.scan, FRONT: old}, second_line=line)
    return rule.judge(readings, at_s)


def test_its_number_and_place(settings: SupervisorSettings) -> None:
    """IEEE C37.2: 59 is overvoltage. It names a trip before what a standstill does to others."""
    keys = [rule.key for rule in Protection(settings).rules]
    assert SecondLineRule.function == "59"
    assert keys.index("overvoltage_high_set") + 1 == keys.index("second_line")
    assert keys.index("second_line") < min(keys.index("sensing"), keys.index("stale"))


def test_without_a_second_line_there_is_no_rule(hut_settings: SupervisorSettings) -> None:
    assert "second_line" not in [rule.key for rule in Protection(hut_settings).rules]


# --- verified


@pytest.mark.parametrize("contactor", [CLOSED, OPEN])
def test_verified_is_clear(rule: SecondLineRule, contactor: ContactorState) -> None:
    assert judged(rule, WELL, 240.0, front=3.31, contactor=contactor) == Verdict(
        "second_line", CLEAR, 3.31, TRIP_V, "V", None,
        "verified 4 min ago, holds the coil off above 3.640 V",
    )  # fmt: skip


@pytest.mark.parametrize(("age_s", "minutes"), [(0, 0), (29, 0), (31, 1), (599, 10), (36000, 600)])
def test_how_long_ago(rule: SecondLineRule, age_s: float, minutes: int) -> None:
    at_s = 1000.0
    line = replace(WELL, verified_at_s=at_s - age_s)
    assert judged(rule, line, at_s).reason.startswith(f"verified {minutes} min ago, ")


@pytest.mark.parametrize("front", [Quality.NO_ANSWER, nan])
def test_it_is_clear_without_the_front_cell(rule: SecondLineRule, front: float | Quality) -> None:
    verdict = judged(rule, WELL, front=front)
    assert (verdict.state, verdict.measured) == (CLEAR, None)


# --- not verified


@pytest.mark.parametrize("contactor", [CLOSED, OPEN])
def test_a_problem_is_no_answer(rule: SecondLineRule, contactor: ContactorState) -> None:
    assert judged(rule, BROKEN, contactor=contactor, front=3.31) == Verdict(
        "second_line", CANNOT_TELL, 3.31, TRIP_V, "V", None, "its wire is broken",
        SecondLineRule.of_a_problem,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (None, "nothing is known of the second line"),
        (SecondLine(False, "", None), "the second line is not verified"),
    ],
)
@pytest.mark.parametrize("contactor", [CLOSED, OPEN])
def test_never_verified_is_no_answer(
    rule: SecondLineRule, line: SecondLine | None, reason: str, contactor: ContactorState
) -> None:
    verdict = judged(rule, line, contactor=contactor)
    assert (verdict.state, verdict.reason) == (CANNOT_TELL, reason)
    assert verdict.remedy == SecondLineRule.of_a_problem


def test_a_problem_that_lasts_trips(settings: SupervisorSettings) -> None:
    """Protection's own rule: permission does not outlive a doubt. The problem stays in words."""
    protection, trip = Protection(settings), None
    for k in range(100):
        at_s = k * 0.0143
        readings = replace(cycle(at_s), second_line=BROKEN)
        trip = protection.judge(readings, at_s).trip
        if trip:
            break
    assert trip is not None
    assert trip.rule == "second_line"
    assert "its wire is broken" in trip.reason
    assert k * 0.0143 == pytest.approx(settings.lease_s, abs=0.0143)


# --- an alert


def test_an_alert_trips_at_once_where_the_front_cell_explains_it(rule: SecondLineRule) -> None:
    assert judged(rule, ALERT, front=3.6434) == Verdict(
        "second_line", TRIP, 3.6434, TRIP_V, "V", 60.0,
        "the second line has dropped the coil, set to 3.640 V: the front cell reads 3.643 V",
    )  # fmt: skip


def test_an_alert_while_open_stands_in_the_way(rule: SecondLineRule) -> None:
    verdict = judged(rule, ALERT, front=3.5, contactor=OPEN)
    assert verdict.state is TRIP
    assert verdict.reason == (
        "the second line holds the coil off, set to 3.640 V: the front cell reads 3.500 V"
    )
    assert verdict.remedy == ""


@pytest.mark.parametrize("front", [Quality.NO_ANSWER, nan])
def test_an_alert_trips_at_once_where_the_front_cell_is_not_known(
    rule: SecondLineRule, front: float | Quality
) -> None:
    assert judged(rule, ALERT, front=front) == Verdict(
        "second_line", TRIP, None, TRIP_V, "V", 60.0,
        "the second line has dropped the coil, set to 3.640 V; the front cell is not known now",
    )  # fmt: skip


def test_an_alert_without_any_reading_of_the_front_cell(rule: SecondLineRule) -> None:
    readings = replace(cycle(1.0), scan={}, second_line=ALERT)
    verdict = rule.judge(readings, 1.0)
    assert (verdict.state, verdict.measured) == (TRIP, None)


@pytest.mark.parametrize(
    ("front", "first"),
    [
        (RELEASE_V, TRIP),
        (nextafter(RELEASE_V, inf), TRIP),
        (nextafter(RELEASE_V, 0), TIMING),
        (3.31, TIMING),
    ],
)
def test_below_release_an_alert_is_believed_at_the_third_look(
    rule: SecondLineRule, front: float, first: State
) -> None:
    """Below release the comparator cannot hold it: a spike on the wire, or a short."""
    verdicts = [judged(rule, ALERT, k * 0.0143, front=front) for k in range(4)]
    assert [verdict.state for verdict in verdicts] == [first, first, TRIP, TRIP]
    assert {verdict.since_s for verdict in verdicts} == {0.0}


def test_a_contradicted_alert_says_so(rule: SecondLineRule) -> None:
    verdict = judged(rule, ALERT, front=3.31)
    assert verdict.reason == (
        "the second line has dropped the coil, but the front cell reads 3.310 V, below 3.400 V"
    )
    assert verdict.measured == 3.31
    assert verdict.remedy == SecondLineRule.of_a_problem
    assert judged(rule, ALERT, front=3.31, contactor=OPEN).reason == (
        "the second line holds the coil off, but the front cell reads 3.310 V, below 3.400 V"
    )


def test_looks_are_counted_in_a_row(rule: SecondLineRule) -> None:
    lines = [ALERT, ALERT, WELL, ALERT, ALERT, None, ALERT, ALERT, BROKEN, ALERT, ALERT, ALERT]
    verdicts = [judged(rule, line, float(k), front=3.31) for k, line in enumerate(lines)]
    assert [v.state for v in verdicts] == [
        TIMING, TIMING, CLEAR, TIMING, TIMING, CANNOT_TELL, TIMING, TIMING, CANNOT_TELL,
        TIMING, TIMING, TRIP,
    ]  # fmt: skip
    assert [v.since_s for v in verdicts if v.state in (TIMING, TRIP)] == [
        0.0, 0.0, 3.0, 3.0, 6.0, 6.0, 9.0, 9.0, 9.0,
    ]  # fmt: skip


@pytest.mark.parametrize("stale_s", [0.125, 0.25])
def test_what_the_front_cell_was_before_a_standstill_contradicts_nothing(
    settings: SupervisorSettings, stale_s: float
) -> None:
    """As old as ``stale`` allows it still counts; older, the alert is believed at once."""
    fresh = with_rule(settings, "stale", trip_after_seconds=stale_s)
    for age_s, state, measured in (
        (stale_s, TIMING, 3.31),
        (nextafter(stale_s, inf), TRIP, None),
        (120.0, TRIP, None),
    ):
        verdict = judged(SecondLineRule(fresh), ALERT, 0.0, front=3.31, age_s=age_s)
        assert (verdict.state, verdict.measured) == (state, measured)


def test_a_problem_does_not_hide_an_alert_while_closed(rule: SecondLineRule) -> None:
    both = SecondLine(True, "its chip was reset", None)
    assert judged(rule, both).state is TRIP
    assert judged(rule, both, contactor=OPEN).state is CANNOT_TELL
    assert judged(rule, both, contactor=OPEN).reason == "its chip was reset"


def test_its_remedies_say_what_to_do() -> None:
    assert "find out why no limit of the software came first" in SecondLineRule.remedy
    assert "the ALERT wire from the converter by the coil driver to the pin" in (
        SecondLineRule.of_a_problem
    )


LINES = st.one_of(
    st.none(),
    st.builds(
        SecondLine,
        alert=st.booleans(),
        problem=st.sampled_from(["", "its wire is broken"]),
        verified_at_s=st.one_of(st.none(), st.floats(-1e6, 0.0)),
    ),
)
FRONTS = st.one_of(st.floats(-1, 5), st.just(nan), st.sampled_from(list(Quality)))


@given(
    steps=st.lists(st.tuples(LINES, FRONTS, st.booleans(), st.floats(0, 10)), min_size=1),
)
def test_clear_only_if_verified_without_problem_and_alert(
    hut_settings: SupervisorSettings, steps: list[tuple[SecondLine | None, float, bool, float]]
) -> None:
    rule = SecondLineRule(with_second_line(hut_settings))
    in_a_row = 0
    for k, (line, front, closed, age_s) in enumerate(steps):
        contactor = CLOSED if closed else OPEN
        verdict = judged(rule, line, float(k), front=front, contactor=contactor, age_s=age_s)
        in_a_row = in_a_row + 1 if line is not None and line.alert else 0
        fine = line is not None and not (line.alert or line.problem or line.verified_at_s is None)
        assert (verdict.state is CLEAR) is fine
        if line is not None and line.alert and closed:
            assert verdict.state in (TIMING, TRIP)
            assert verdict.state is TRIP or in_a_row < 3
        assert verdict.limit == TRIP_V
        assert verdict.unit == "V"
        assert verdict.left_s is None


def test_a_reading_that_is_not_good_is_not_measured(rule: SecondLineRule) -> None:
    readings = cycle(0.0)
    bad = Reading(FRONT, 3.31, Quality.FROZEN, 0.0, 0.0)
    readings = replace(readings, scan={FRONT: bad}, second_line=WELL)
    assert rule.judge(readings, 0.0).measured is None
