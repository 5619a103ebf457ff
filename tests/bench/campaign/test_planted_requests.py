"""The invariants about requests, pulses and the latch find a defect planted for each of them."""

from copy import deepcopy
from dataclasses import replace
from typing import Any

import pytest

from supervisor.bench.campaign.draw_plant import set_charge, set_for_pulses, set_knob
from supervisor.bench.campaign.run import run_document
from supervisor.control.guard import Guard
from supervisor.control.lockout import LockoutKeeper
from supervisor.control.loop import Loop
from supervisor.guidance.pulses import Pulses
from supervisor.protection.rules.stage_limits import StageLimitsRule
from supervisor.protection.verdict import State
from supervisor.settings.charge import PulsedHold

CELLS, WANTED_A, REST_V = 8, 30, 3.535
CLOSE = {"at_seconds": 5, "close": True}
CHARGE = {
    "target_amperes": 60,
    "hold_volts": 3.55,
    "band_volts": 0.04,
    "full": {"end_amperes": 2, "minutes": 1, "spread_volts": 0.05},
}
PULSED = {
    "open_above_volts": 3.55,
    "close_below_volts": 3.543,
    "least_rest_seconds": 12,
    "most_pulses": 2,
}


def document(*timeline: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """A small bank, half full, and some current into it as soon as it is closed."""
    made: dict[str, Any] = {
        "name": "Planted defect",
        "settings": "bare-bank.yaml",
        "overrides": {
            "bank.cells_in_parallel": CELLS,
            "bank.cell_ampere_hours": 100,
            "protection.session_charge.trip_ampere_hours": 800,
            "charge": CHARGE,
        },
        "seconds": 16,
        "plant": {"cells": {"state_of_charge": 0.5}, "supply": {"knob": 0.58}},
        "invariants": "faulty",
        "timeline": list(timeline),
        "expect": {"outcome": "open"},
    }
    overrides = made["overrides"] | changes.pop("overrides", {})
    return deepcopy(made | changes | {"overrides": overrides})


def plant_at(rest_v: float, wanted_a: float) -> dict[str, Any]:
    plant: dict[str, Any] = {"cells": {}, "supply": {"turns_ratio": 45, "mains_volts": 230}}
    set_charge(plant, rest_v)
    set_knob(plant, rest_v, wanted_a)
    return plant


def holding(*timeline: dict[str, Any], seconds: float = 90, **charge: Any) -> dict[str, Any]:
    """Near its end: some seconds of current lift it to where a pulse ends, and it falls back."""
    plant = plant_at(REST_V, 2 * WANTED_A)  # what it lifts the bank by comes off the current
    set_for_pulses(plant, CELLS, 0.03, WANTED_A)
    overrides = {
        "charge": CHARGE | charge,
        "protection.rate_of_rise.trip_volts_per_minute": 0.4,
    }
    return document(CLOSE, *timeline, seconds=seconds, plant=plant, overrides=overrides)


FULL_SOON = CHARGE["full"] | {"end_amperes": 50}  # type: ignore[operator]
PULSES = holding(pulsed_hold=PULSED)
FINISHES = holding({"at_seconds": 75, "close": True}, full=FULL_SOON, seconds=80)
AT_ONCE = document({"at_seconds": 0.05, "close": True}, seconds=4)
OPENED = document(CLOSE, {"at_seconds": 8, "open": True}, {"at_seconds": 8, "close": True})
LIMITED = document(
    CLOSE,
    seconds=25,
    plant=plant_at(3.4, 100),
    overrides={
        "charge": CHARGE | {"taper_above_volts": 3.38},
        "protection.stage_limits": {"taper": {"trip_amperes": 20}, "delay_seconds": 2},
    },
)


@pytest.mark.parametrize(
    ("sound", "outcome"),
    [
        (PULSES, "open"),
        (FINISHES, "finished"),
        (AT_ONCE, "never closed"),
        (OPENED, "open"),
        (LIMITED, "tripped"),
    ],
)
def test_without_a_defect_none_is_broken(sound: dict[str, Any], outcome: str) -> None:
    run = run_document(sound)
    assert (run.outcome, run.violations, run.beyond_reach) == (outcome, (), ())


def deaf(judge: Any) -> Any:
    """Judges as ever, and then says that all is well."""

    def clear(self: Any, readings: Any, now_s: float) -> Any:
        return replace(judge(self, readings, now_s), state=State.CLEAR)

    return clear


def test_e_a_limit_of_a_stage_that_nobody_keeps(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(StageLimitsRule, "judge", deaf(StageLimitsRule.judge))
    assert run_document(LIMITED).broken == ("e",)


@pytest.mark.parametrize(
    ("bound", "kept", "said"),
    [
        ("most_pulses", 100, "pulse 3 of 2 at the most"),
        ("most_per_hour", 60, "2 pulses within an hour, 1 at the most"),
        ("least_rest_seconds", 2, "12 s at least"),
    ],
)
def test_h_more_pulses_than_the_settings_allow(
    monkeypatch: pytest.MonkeyPatch, bound: str, kept: int, said: str
) -> None:
    settings = PULSED | ({"most_per_hour": 1} if bound == "most_per_hour" else {})
    init = Pulses.__init__

    def careless(self: Pulses, pulsed: PulsedHold, *others: Any) -> None:
        init(self, pulsed.model_copy(update={bound: kept}), *others)

    monkeypatch.setattr(Pulses, "__init__", careless)
    run = run_document(holding(pulsed_hold=settings, seconds=160))
    assert "h" in run.broken
    assert any(said in text for text in run.violations)


def test_h_a_closing_that_outlives_a_request_to_open(monkeypatch: pytest.MonkeyPatch) -> None:
    """Refused while its opening is confirmed, and carried out all the same."""
    abandon, waiting = Guard.open, []

    def opens(self: Guard, who: str, reason: str = "") -> str:
        waiting.append(self)
        return abandon(self, who, reason)

    def closes(self: Guard, *_: Any) -> None:
        if self in waiting and not self._is_opening():
            waiting.clear()
            self._closing.begin("a ghost", lambda _done, _text: None, str)

    watch = Guard._watch_while_open
    monkeypatch.setattr(Guard, "open", opens)
    monkeypatch.setattr(
        Guard,
        "_watch_while_open",
        lambda self, decision: (watch(self, decision), closes(self)),
    )
    assert "h" in run_document(document(CLOSE, {"at_seconds": 8, "open": True})).broken


def test_i_a_latch_that_does_not_say_armed(monkeypatch: pytest.MonkeyPatch) -> None:
    def forgets(self: LockoutKeeper) -> bool:
        self._armed = True
        return True

    monkeypatch.setattr(LockoutKeeper, "arm", forgets)
    assert run_document(OPENED).broken == ("i",)


def test_i_open_and_close_in_one_cycle(monkeypatch: pytest.MonkeyPatch) -> None:
    """The end of the opening clears what the closing has armed."""
    monkeypatch.setattr(Loop, "_why_no_longer", lambda *_: "")  # heard, and it comes to the guard
    monkeypatch.setattr(LockoutKeeper, "is_armed", True)
    begins = Guard._why_not_begin

    def hasty(self: Guard, decision: Any) -> str:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Guard, "_is_opening", lambda _self: False)
            return begins(self, decision)

    monkeypatch.setattr(Guard, "_why_not_begin", hasty)
    assert run_document(OPENED).broken == ("i",)


def test_i_between_two_pulses(monkeypatch: pytest.MonkeyPatch) -> None:
    conclude = Guard._conclude_opening

    def clears(self: Guard, opening: Any) -> None:
        conclude(self, opening)
        self._keeper.disarm("a test")

    monkeypatch.setattr(Guard, "_conclude_opening", clears)
    assert run_document(PULSES).broken == ("i",)


def test_j_a_rule_stands_in_the_way(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Guard, "hindrances", lambda *_: [])
    assert "j" in run_document(AT_ONCE).broken


def test_k_closed_after_the_end_of_the_charge(monkeypatch: pytest.MonkeyPatch) -> None:
    begin = Guard.begin_closing

    def eager(self: Guard, *asked: Any) -> None:
        self.open("a ghost")
        begin(self, *asked)

    monkeypatch.setattr(Guard, "begin_closing", eager)
    assert run_document(FINISHES).broken == ("k",)


def test_l_another_profile_while_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    profile = {"about": "The same with less current", "overrides": {"charge.target_amperes": 40}}
    asked = document(
        CLOSE, {"at_seconds": 8, "profile": "less"}, overrides={"profiles": {"less": profile}}
    )
    assert run_document(asked).violations == ()
    monkeypatch.setattr(Guard, "why_no_other_settings", lambda _self: "")
    assert run_document(asked).broken == ("l",)
