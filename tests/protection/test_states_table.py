"""Truth table of the real rules: what each says of a cause, told closed and told open.

Each row holds one cause for so long, after a while in which all was well. What becomes of an answer
in a circuit that is open, closed or locked out: tests/control/test_truth_table.py.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from cycles import CANNOT_TELL, CLEAR, TIMING, TRIP, WINDOW_S, cycle, told_open
from full_bank import full_settings

from supervisor.protection.decision import Protection
from supervisor.protection.verdict import State
from supervisor.readings import ContactorState, Place, ProbeReading, Quality, Readings, SecondLine
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import RULE_KEYS

WELL_S = 20.0
CLOSED = ContactorState(told_to_close=True, told_at_s=0.0, auxiliary_closed=True)
OPEN = told_open(-100.0)
STAYS_OPEN = ContactorState(told_to_close=True, told_at_s=WELL_S, auxiliary_closed=False)
GONE, ODD = Quality.NO_ANSWER, Quality.OUT_OF_RANGE

Cause = dict[str, Any] | Callable[[float], dict[str, Any]]  # or of the seconds that it lasts


class Row(NamedTuple):
    rule: str
    cause: Cause
    lasts_s: float
    closed: State
    open: State


def rising(volts_per_second: float) -> Cause:
    return lambda for_s: {"front": 3.40 + volts_per_second * for_s}


def hot(celsius: float) -> Cause:
    return {"celsius": celsius}


UNKNOWN = {"amperes": GONE}
ROWS = [
    Row("overvoltage", {}, 1, CLEAR, CLEAR),
    Row("overvoltage", {"front": 3.61}, 0.5, TIMING, TIMING),
    Row("overvoltage", {"front": 3.61}, 3, TRIP, TRIP),
    Row("overvoltage", {"far": GONE}, 0.1, CANNOT_TELL, CANNOT_TELL),
    Row("overvoltage_high_set", {}, 1, CLEAR, CLEAR),
    Row("overvoltage_high_set", {"front": 3.64}, 0.05, TIMING, TIMING),
    Row("overvoltage_high_set", {"front": 3.64}, 0.3, TRIP, TRIP),
    Row("overvoltage_high_set", {"front": ODD}, 0.1, CANNOT_TELL, CANNOT_TELL),
    Row("stage_limits", {"front": 3.45}, 10, CLEAR, CLEAR),
    Row("stage_limits", {"front": 3.45, "amperes": 125.0}, 8, TIMING, CLEAR),
    Row("stage_limits", {"front": 3.45, "amperes": 125.0}, 12, TRIP, CLEAR),
    Row("stage_limits", {"front": 3.54, "amperes": 70.0}, 12, TRIP, CLEAR),
    Row("stage_limits", {"front": 3.585, "amperes": 20.0}, 12, TRIP, CLEAR),
    Row("stage_limits", {"front": 3.54, "amperes": GONE}, 0.1, CLEAR, CLEAR),
    Row(
        "stage_limits",
        lambda for_s: {"front": 3.54, "amperes": 20.0 if for_s < 8 else GONE},
        9,
        CANNOT_TELL,
        CLEAR,
    ),
    Row("undervoltage", {}, 1, CLEAR, CLEAR),
    Row("undervoltage", {"far": 2.4}, 1, TIMING, TIMING),
    Row("undervoltage", {"far": 2.4}, 4, TRIP, TRIP),
    Row("undervoltage", {"front": GONE}, 0.1, CANNOT_TELL, CANNOT_TELL),
    Row("overcurrent", {}, 1, CLEAR, CLEAR),
    Row("overcurrent", {"amperes": 140.0}, 1, TIMING, TIMING),
    Row("overcurrent", {"amperes": 140.0}, 5, TRIP, TRIP),
    Row("overcurrent", UNKNOWN, 0.1, CANNOT_TELL, CANNOT_TELL),
    Row("overcurrent_inverse", {}, 1, CLEAR, CLEAR),
    Row("overcurrent_inverse", {"amperes": 128.0}, 20, TIMING, TIMING),
    Row("overcurrent_inverse", {"amperes": 128.0}, 200, TRIP, TRIP),
    Row("overcurrent_inverse", UNKNOWN, 0.1, CANNOT_TELL, CLEAR),
    Row("supply_thermal", {}, 1, CLEAR, CLEAR),
    Row("supply_thermal", {"amperes": 129.0}, 800, TIMING, TIMING),
    Row("supply_thermal", {"amperes": 129.0}, 1500, TRIP, TIMING),
    Row("supply_thermal", UNKNOWN, 0.1, CANNOT_TELL, CLEAR),
    Row("temperature", {}, 1, CLEAR, CLEAR),
    Row("temperature", hot(95.0), 2, TIMING, TIMING),
    Row("temperature", hot(95.0), 10, TRIP, TRIP),
    Row("temperature", {"celsius": GONE}, 30, CANNOT_TELL, CANNOT_TELL),
    Row("rate_of_rise", {}, 1, CLEAR, CLEAR),
    Row("rate_of_rise", rising(0.002), 26, TIMING, CLEAR),
    Row("rate_of_rise", rising(0.002), 30, TRIP, CLEAR),
    Row("rate_of_rise", {"front": GONE}, 0.1, CANNOT_TELL, CLEAR),
    Row("knob_speed", {}, 1, CLEAR, CLEAR),
    Row("knob_speed", lambda for_s: {"amperes": 50 + 20 * for_s}, 2, TRIP, CLEAR),
    Row("knob_speed", UNKNOWN, 0.1, CANNOT_TELL, CLEAR),
    Row("balance", {}, 1, CLEAR, CLEAR),
    Row("balance", {"far": 3.1}, 2, TIMING, TIMING),
    Row("balance", {"far": 3.1}, 7, TRIP, TRIP),
    Row("balance", {"far": GONE}, 0.1, CANNOT_TELL, CANNOT_TELL),
    Row("reverse_current", {}, 1, CLEAR, CLEAR),
    Row("reverse_current", {"amperes": -5.0}, 0.5, TIMING, TIMING),
    Row("reverse_current", {"amperes": -5.0}, 3, TRIP, TRIP),
    Row("reverse_current", UNKNOWN, 0.1, CANNOT_TELL, CANNOT_TELL),
    Row("sensing", {}, 1, CLEAR, CLEAR),
    Row("sensing", {"front": ODD}, 0, CANNOT_TELL, CANNOT_TELL),
    Row("sensing", {"front": ODD}, 1, TRIP, TRIP),
    Row("stale", {}, 1, CLEAR, CLEAR),
    Row("stale", {"front": GONE}, 0, CANNOT_TELL, CANNOT_TELL),
    Row("stale", {"front": GONE}, 1, TRIP, TRIP),
    Row("failed_to_open", {}, 1, CLEAR, TRIP),
    Row("failed_to_open", {"amperes": 1.0}, 1, CLEAR, CLEAR),
    Row("failed_to_open", {"contactor": told_open(WELL_S)}, 0.3, TIMING, TIMING),
    Row("failed_to_open", {"contactor": told_open(WELL_S, None)} | UNKNOWN, 2, CANNOT_TELL,
        CANNOT_TELL),
    Row("failed_to_close", {}, 1, CLEAR, CLEAR),
    Row("failed_to_close", {"contactor": STAYS_OPEN}, 0.3, TIMING, TIMING),
    Row("failed_to_close", {"contactor": STAYS_OPEN}, 1, TRIP, TRIP),
    Row("loop_overrun", {}, 1, CLEAR, CLEAR),
    Row("loop_overrun", {"late_s": 0.3}, 0.1, TRIP, TRIP),
    Row("loop_overrun", {"misses": 8}, 0.5, TIMING, TIMING),
    Row("session_time", {}, 1, CLEAR, CLEAR),
    Row("session_time", {}, 95, TIMING, CLEAR),
    Row("session_time", {}, 110, TRIP, CLEAR),
    Row("session_charge", {}, 1, CLEAR, CLEAR),
    Row("session_charge", {}, 95, TIMING, CLEAR),
    Row("session_charge", {}, 110, TRIP, CLEAR),
    Row("session_charge", UNKNOWN, 0.1, CANNOT_TELL, CLEAR),
    Row("session_hold", {}, 1, CLEAR, CLEAR),
    Row("session_hold", {"front": 3.55}, 115, TIMING, CLEAR),
    Row("session_hold", {"front": 3.55}, 130, TRIP, CLEAR),
    Row("session_hold", {"front": GONE}, 0.1, CANNOT_TELL, CLEAR),
    Row("second_line", {}, 1, CLEAR, CLEAR),
    Row("second_line", {"alert": True, "front": 3.3}, 0.1, TIMING, TIMING),
    Row("second_line", {"alert": True, "front": 3.3}, 1, TRIP, TRIP),
    Row("second_line", {"alert": True, "front": 3.65}, 0.1, TRIP, TRIP),
    Row("second_line", {"problem": "its converter was reset"}, 1, CANNOT_TELL, CANNOT_TELL),
]  # fmt: skip


@pytest.fixture(scope="module")
def settings(hut_path: Path) -> SupervisorSettings:
    """Every rule there is; the sessions' limits so that 120 s use them up."""
    full = full_settings(hut_path.read_text("utf-8"))
    rules = full.protection
    changed = {
        "session_time": rules.session_time.model_copy(update={"trip_hours": 120 / 3600}),
        "session_charge": rules.session_charge.model_copy(
            update={"trip_ampere_hours": 50 * 120 / 3600}
        ),
        "session_hold": rules.session_hold.model_copy(update={"trip_hours": 120 / 3600}),
    }
    return full.model_copy(update={"protection": rules.model_copy(update=changed)})


def seen(
    at_s: float,
    settings: SupervisorSettings,
    *,
    celsius: float | Quality = 25.0,
    alert: bool = False,
    problem: str = "",
    **what: Any,
) -> Readings:
    """A window's cycle."""
    bad = isinstance(celsius, Quality)
    probes = {
        name: ProbeReading(
            name,
            Place(probe.place),
            None if bad or (probe.place == "cells" and celsius != 25.0) else celsius,
            celsius if bad else Quality.GOOD,
            at_s,
        )
        for name, probe in settings.probes.items()
    }
    return replace(
        cycle(at_s, **what),
        probes=probes,
        second_line=SecondLine(alert, problem, None if problem else 0.0),
    )


def answer(row: Row, settings: SupervisorSettings, contactor: ContactorState) -> State:
    rule = next(r for r in Protection(settings).rules if r.key == row.rule)
    at_s = 0.0
    while at_s < WELL_S:
        rule.judge(seen(at_s, settings, contactor=contactor), at_s)
        at_s += WINDOW_S
    state, began_s = CLEAR, at_s
    while at_s <= began_s + row.lasts_s:
        what = row.cause(at_s - began_s) if callable(row.cause) else row.cause
        state = rule.judge(seen(at_s, settings, **{"contactor": contactor} | what), at_s).state
        at_s += WINDOW_S
    return state


def named(row: Row) -> str:
    return f"{row.rule}-{row.closed.value}-{row.open.value}-{row.lasts_s:g}"


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_told_to_be_closed(row: Row, settings: SupervisorSettings) -> None:
    assert answer(row, settings, CLOSED) is row.closed


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_told_to_be_open(row: Row, settings: SupervisorSettings) -> None:
    assert answer(row, settings, OPEN) is row.open


# States that a rule has no way to: it needs no time to be sure, or never lacks what it judges.
NEVER = {
    ("sensing", TIMING), ("stale", TIMING), ("loop_overrun", CANNOT_TELL),
    ("session_time", CANNOT_TELL), ("knob_speed", TIMING), ("failed_to_close", CANNOT_TELL),
}  # fmt: skip


def test_the_table_is_complete() -> None:
    shown = {(row.rule, state) for row in ROWS for state in (row.closed, row.open)}
    assert shown | NEVER == {(rule, state) for rule in RULE_KEYS for state in State}
