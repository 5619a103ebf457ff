"""An offset at zero current: found while open, never a trip, and none of failed_to_open's."""

from math import inf, nan, nextafter
from typing import Any

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    CLOSED,
    FAR,
    FRONT,
    SHUNT,
    TRIP,
    Value,
    cycle,
    feed,
    reading,
    states,
    told_closed,
    told_open,
    with_rule,
)
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.rules.sensing import SensingRule
from supervisor.protection.sensing.zero_offset import REMEDY, ZeroOffset
from supervisor.protection.verdict import Verdict
from supervisor.readings import Quality, Reading
from supervisor.settings.model import SupervisorSettings

ZERO_A, FLOWS_A, WITHIN_S = 1.0, 3.0, 0.5  # of the example
WINDOW_S = 0.1


@pytest.fixture
def check(hut_settings: SupervisorSettings) -> ZeroOffset:
    rules = hut_settings.protection
    assert rules.sensing.zero_amperes == ZERO_A
    assert rules.failed_to_open.current_amperes == FLOWS_A
    assert rules.failed_to_open.within_seconds == WITHIN_S
    return ZeroOffset(hut_settings)


def judged(check: ZeroOffset, at_s: float, **what: Any) -> Verdict | None:
    return check.judge(cycle(at_s, **{"contactor": told_open(0.0), **what}), at_s)


@pytest.mark.parametrize("amperes", [2.0, -2.0])
@pytest.mark.parametrize("auxiliary", [False, None])
def test_the_words_in_full(check: ZeroOffset, amperes: float, auxiliary: bool | None) -> None:
    verdict = judged(check, 5.0, amperes=amperes, contactor=told_open(0.0, auxiliary))
    assert verdict == Verdict(
        rule="sensing",
        state=CANNOT_TELL,
        measured=amperes,
        limit=1.0,
        unit="A",
        since_s=None,
        reason=f"an offset at zero current: with the contactor open {amperes:.1f} A are read, "
        "more than 1.0 A, and every limit would be off by as much",
        remedy=REMEDY,
    )


@pytest.mark.parametrize("words", ["sense wires", "around the contactor", "offset_amperes"])
def test_the_remedy_names_each_cause(words: str) -> None:
    assert words in REMEDY


@pytest.mark.parametrize(
    ("amperes", "objects"),
    [
        (0.0, False),
        (ZERO_A, False),
        (-ZERO_A, False),
        (nextafter(ZERO_A, inf), True),
        (nextafter(-ZERO_A, -inf), True),
        (FLOWS_A, True),
        (-FLOWS_A, True),
        (nextafter(FLOWS_A, inf), False),
        (nextafter(-FLOWS_A, -inf), False),
        (nan, False),
        (Quality.TOO_FEW, False),
    ],
)
def test_between_zero_and_what_means_that_it_has_not_opened(
    check: ZeroOffset, amperes: Value, objects: bool
) -> None:
    assert (judged(check, 5.0, amperes=amperes) is not None) is objects


@pytest.mark.parametrize(
    ("ends_at_s", "objects"),
    [(WITHIN_S, False), (WITHIN_S + WINDOW_S - 0.001, False), (WITHIN_S + WINDOW_S + 1e-9, True)],
)
def test_only_windows_that_began_after_the_time_to_open(
    check: ZeroOffset, ends_at_s: float, objects: bool
) -> None:
    assert (judged(check, ends_at_s, amperes=2.0) is not None) is objects


def test_an_old_window_says_nothing_however_late_it_is(check: ZeroOffset) -> None:
    old = {channel: reading(channel, 2.0, 0.4) for channel in (FRONT, FAR, SHUNT)}
    assert judged(check, 100.0, means=old, new=False) is None
    assert judged(check, 100.0, amperes=2.0, means="none yet") is None
    assert judged(check, 100.0, amperes=2.0, new=False) is not None


def test_a_window_without_the_current_says_nothing(check: ZeroOffset) -> None:
    means: dict[Any, Reading] = {FRONT: reading(FRONT, 3.3, 5.0)}
    assert judged(check, 5.0, means=means) is None


@pytest.mark.parametrize("contactor", [CLOSED, told_closed(4.0), told_open(0.0, True)])
def test_not_while_it_is_closed_or_the_auxiliary_contact_says_so(
    check: ZeroOffset, contactor: Any
) -> None:
    assert judged(check, 5.0, amperes=2.0, contactor=contactor) is None


def test_the_rule_says_so_and_is_clear_as_soon_as_it_may_close(
    hut_settings: SupervisorSettings,
) -> None:
    rule = SensingRule(hut_settings)
    steps = [
        (5.0, {"amperes": 2.0, "contactor": told_open(0.0)}),
        (5.1, {"amperes": 0.5, "contactor": told_open(0.0)}),
        (5.2, {"amperes": 2.0, "contactor": told_open(0.0)}),
        (5.3, {"amperes": 2.0, "contactor": told_closed(5.25)}),
    ]
    assert states(feed(rule, steps)) == [CANNOT_TELL, CLEAR, CANNOT_TELL, CLEAR]


@given(st.lists(st.floats(-1e4, 1e4), max_size=50))
def test_it_never_trips_while_open(hut_settings: SupervisorSettings, values: list[float]) -> None:
    rule = SensingRule(hut_settings)
    steps = [
        (k * 0.1, {"amperes": value, "contactor": told_open(-5.0)})
        for k, value in enumerate(values)
    ]
    assert TRIP not in states(feed(rule, steps))


@pytest.mark.parametrize(
    ("rule", "changes", "amperes"),
    [
        ("sensing", {"zero_amperes": 2.5}, 2.6),
        ("failed_to_open", {"current_amperes": 5.0}, 4.9),
    ],
)
def test_its_limits_are_those_of_the_settings(
    hut_settings: SupervisorSettings, rule: str, changes: dict[str, float], amperes: float
) -> None:
    check = ZeroOffset(with_rule(hut_settings, rule, **changes))
    found = judged(check, 5.0, amperes=amperes)
    assert found is not None
    assert (judged(check, 5.0, amperes=2.4) is None) is (rule == "sensing")


def test_a_slow_contactor_gets_its_time(hut_settings: SupervisorSettings) -> None:
    check = ZeroOffset(with_rule(hut_settings, "failed_to_open", within_seconds=2.0))
    assert judged(check, 2.05, amperes=2.0) is None
    assert judged(check, 2.15, amperes=2.0) is not None
