"""Each invariant finds a defect planted for it; without the defect the same run breaks none."""

from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from supervisor.bench.campaign.base import NOT_FITTED
from supervisor.bench.campaign.run import run_document
from supervisor.bench.campaign.save import save
from supervisor.bench.campaign.shrink import Shrinker
from supervisor.bench.drill import drill
from supervisor.control.guard import Guard
from supervisor.control.latch import Latch
from supervisor.devices.contactor import Contactor
from supervisor.protection.decision import Decision, Protection
from supervisor.protection.rules.knob_speed import KnobSpeedRule
from supervisor.protection.rules.overcurrent import OvercurrentRule
from supervisor.protection.rules.overvoltage import OvervoltageRule
from supervisor.protection.rules.overvoltage_high_set import OvervoltageHighSetRule
from supervisor.protection.rules.rate_of_rise import RateOfRiseRule
from supervisor.protection.rules.supply_thermal import SupplyThermalRule
from supervisor.protection.rules.temperature import TemperatureRule
from supervisor.protection.verdict import State

STEEP = (OvervoltageRule, OvervoltageHighSetRule, RateOfRiseRule, KnobSpeedRule)
COLD_PROBE = {"chip": "ds18b20", "place": "cells", "serial": "28-0316a2795bff"}


def document(**changes: Any) -> dict[str, Any]:
    """A small bank and somebody who wants 60 A of it."""
    made: dict[str, Any] = {
        "name": "Planted defect",
        "settings": "bare-bank.yaml",
        "overrides": {
            "bank.cells_in_parallel": 8,
            "bank.cell_ampere_hours": 100,
            "protection.session_charge.trip_ampere_hours": 800,
        },
        "seed": 1,
        "seconds": 25,
        "plant": {"cells": {"state_of_charge": 0.5}, "supply": {"knob": 0.58}},
        "operator": {
            "kind": "hasty",
            "looks_every_seconds": 1,
            "target_amperes": 60,
            "hold_volts": 3.9,
            "knob_step": 0.05,
        },
        "invariants": "faulty",
        "timeline": [],
        "expect": {"outcome": "open"},
    }
    overrides = made["overrides"] | changes.pop("overrides", {})
    return deepcopy(made | changes | {"overrides": overrides})


def deaf(monkeypatch: pytest.MonkeyPatch, *rules: Any) -> None:
    """These rules judge as ever, and then say that all is well."""
    for rule in rules:
        judge = rule.judge

        def clear(self: Any, readings: Any, now_s: float, judge: Any = judge) -> Any:
            return replace(judge(self, readings, now_s), state=State.CLEAR)

        monkeypatch.setattr(rule, "judge", clear)


def permits(judge: Any) -> Any:
    """Judges as ever, and then permits whatever it was."""

    def permitted(self: Protection, readings: Any, now_s: float) -> Decision:
        return replace(judge(self, readings, now_s), permit=True, trip=None)

    return permitted


RISING = document(
    plant={"cells": {"state_of_charge": 0.9988}, "supply": {"knob": 0.62}},
    overrides={
        "bank.cells_in_parallel": 4,
        "bank.cell_ampere_hours": 50,
        "protection.session_charge.trip_ampere_hours": 200,
        "protection.undervoltage.trip_volts": 2.6,  # has no part in it
    },
    timeline=[
        {"at_seconds": 3.37, "fault": {"kind": "wall_step", "seconds": 60}},
        {"at_seconds": 7.4, "clear": "wall_step"},
    ],
)
COLD = document(
    seconds=45,
    overrides={
        "probes": {"cell": COLD_PROBE},
        "protection.temperature": {"cells_below_celsius": 0, "lost_after_seconds": 5},
        "protection.without": dict.fromkeys(("balance", "supply_thermal"), NOT_FITTED),
    },
    timeline=[{"at_seconds": 10, "fault": {"kind": "cold", "ambient_celsius": -10}}],
)
HOT = document(
    overrides={
        "protection.supply_thermal": {
            "rectifier": {"continuous_amperes": 30, "time_constant_seconds": 10}
        },
        "protection.without": dict.fromkeys(("balance", "temperature"), NOT_FITTED),
    }
)
BLIND = document(
    timeline=[{"at_seconds": 8, "fault": {"kind": "chip_absent", "converter": "cells"}}]
)
FROZEN = document(
    timeline=[{"at_seconds": 8, "fault": {"kind": "chip_frozen", "converter": "cells"}}]
)
TOO_MUCH = document(overrides={"protection.overcurrent.trip_amperes": 41})


def test_without_a_defect_none_is_broken() -> None:
    for sound in (RISING, COLD, HOT, BLIND, FROZEN, TOO_MUCH):
        run = run_document(sound)
        assert run.tripped_by, "or the run shows nothing"
        assert run.violations == ()
        assert run.beyond_reach == ()


def test_a_and_e_cell_too_high(monkeypatch: pytest.MonkeyPatch) -> None:
    deaf(monkeypatch, *STEEP)
    assert {"a", "e"} <= set(run_document(RISING).broken)


def test_b_freezing_cells(monkeypatch: pytest.MonkeyPatch) -> None:
    deaf(monkeypatch, TemperatureRule)
    assert run_document(COLD).broken == ("b",)


def test_c_supply_too_hot(monkeypatch: pytest.MonkeyPatch) -> None:
    deaf(monkeypatch, SupplyThermalRule)
    assert run_document(HOT).broken == ("c",)


@pytest.mark.parametrize("blind", [BLIND, FROZEN], ids=["absent", "frozen"])
def test_d_coil_held_without_readings(
    monkeypatch: pytest.MonkeyPatch, blind: dict[str, Any]
) -> None:
    monkeypatch.setattr(Protection, "judge", permits(Protection.judge))
    assert "d" in run_document(blind).broken


def test_e_current_too_high_for_too_long(monkeypatch: pytest.MonkeyPatch) -> None:
    deaf(monkeypatch, OvercurrentRule)
    assert run_document(TOO_MUCH).broken == ("e",)


KILLED = document(seconds=40, timeline=[{"at_seconds": 12.345, "kill": {"down_seconds": 0.5}}])


def test_g_a_kill_while_closed_is_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    sound = run_document(KILLED)
    assert (sound.faults, sound.tripped_by, sound.violations) == (("kill",), "external", ())
    monkeypatch.setattr(Latch, "_from_json", lambda *_: None)
    assert run_document(KILLED).broken == ("g",)


def test_f_a_clean_run_trips(monkeypatch: pytest.MonkeyPatch) -> None:
    clean = document(
        invariants="clean", operator=document()["operator"] | {"kind": "careful", "knob_step": 0.01}
    )
    assert run_document(clean).violations == ()
    judge = OvercurrentRule.judge

    def trips(self: OvercurrentRule, readings: Any, now_s: float) -> Any:
        verdict = judge(self, readings, now_s)
        return replace(verdict, state=State.TRIP) if now_s > 10 else verdict

    monkeypatch.setattr(OvercurrentRule, "judge", trips)
    assert run_document(clean).broken == ("f",)


def test_h_closes_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    act = Guard.act

    def eager(self: Guard, decision: Decision, *, leaving: bool) -> None:
        act(self, decision, leaving=leaving)
        if decision.permit and self._clock.now_s() > 5:
            self._contactor.close_for(0.1)

    nobody = document(operator=None)
    assert run_document(nobody).violations == ()
    monkeypatch.setattr(Guard, "act", eager)
    assert "h" in run_document(nobody).broken


def test_g_closes_after_a_trip(monkeypatch: pytest.MonkeyPatch) -> None:
    act = Guard.act

    def forgetful(self: Guard, decision: Decision, *, leaving: bool) -> None:
        act(self, decision, leaving=leaving)
        if self._keeper.lockout and not decision.trip:
            self._contactor.close_for(0.1)

    asleep = document()["operator"] | {"kind": "asleep"}
    pressed = document(
        operator=asleep,
        timeline=[{"at_seconds": 8, "fault": {"kind": "stop_button"}}],
    )
    assert run_document(pressed).violations == ()
    monkeypatch.setattr(Guard, "act", forgetful)
    assert "g" in run_document(pressed).broken


def test_a_run_that_raises_is_a_violation(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("planted")

    monkeypatch.setattr(Guard, "follow_opening", broken)
    run = run_document(RISING)
    assert run.broken == ("x",)
    assert "RuntimeError: planted" in run.violations[0]


def test_shrunk_and_saved_it_fails_alike_in_a_drill(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with monkeypatch.context() as planted:
        deaf(planted, *STEEP)
        shrinker = Shrinker(deepcopy(RISING), run_document(RISING), tries=20)
        path = save(shrinker.shrink(), shrinker.run, tmp_path)
        failures = drill(path).failures
        assert any(failure.startswith("invariant a ") for failure in failures)
        assert shrinker.document["timeline"] == []
        assert "protection.undervoltage.trip_volts" not in shrinker.document["overrides"]
    mended = drill(path)
    assert not any(failure.startswith("invariant") for failure in mended.failures)


def test_a_welded_contact_is_beyond_reach_only_without_a_second_way_out() -> None:
    welded = {"at_seconds": 8, "fault": {"kind": "contactor_welded"}}
    pressed = {"at_seconds": 10, "fault": {"kind": "stop_button"}}
    lonely = document(timeline=[welded, pressed])
    run = run_document(lonely)
    assert run.violations == ()
    assert run.beyond_reach == ("contact welded, nothing else parts the circuit",)
    for opens in ("every_opening", "failed_opening"):
        fitted = document(
            timeline=[welded, pressed],
            overrides={"mains_contactor": {"pin": 22, "opens": opens}},
        )
        assert run_document(fitted).verdict == "tripped"


LIE = {"kind": "lead_offset", "channel": "front_cell", "volts": -0.000001}
SMALL_CURRENT = {"kind": "shunt_offset", "amperes": 0.001}


@pytest.mark.parametrize(
    ("sound", "lie", "rules", "broken"),
    [(RISING, LIE, STEEP, "a"), (TOO_MUCH, SMALL_CURRENT, (OvercurrentRule, KnobSpeedRule), "e")],
)
def test_a_lie_that_hides_nothing_excuses_nothing(
    monkeypatch: pytest.MonkeyPatch, sound: Any, lie: Any, rules: Any, broken: str
) -> None:
    """A lead with a microvolt of error shows the limit passed as well as a perfect one."""
    deaf(monkeypatch, *rules)
    lying = deepcopy(sound)
    lying["timeline"].append({"at_seconds": 2.0, "fault": lie})
    assert broken in run_document(lying).broken


@pytest.mark.parametrize("asked_at_s", [None, 0.05])
def test_a_request_that_was_refused_is_no_licence_to_close_later(
    monkeypatch: pytest.MonkeyPatch, asked_at_s: float | None
) -> None:
    watch, closed = Guard._watch_while_open, []

    def ghost(self: Guard, decision: Decision) -> None:
        watch(self, decision)
        if not closed and self._clock.now_s() > 15.0:
            closed.append(self.begin_closing(decision, "ghost", lambda _done, _text: None))

    monkeypatch.setattr(Guard, "_watch_while_open", ghost)
    haunted = document()
    del haunted["operator"]
    if asked_at_s is not None:
        haunted["timeline"] = [{"at_seconds": asked_at_s, "close": True}]
    assert "h" in run_document(haunted).broken


LEVEL_STALLED = document(
    timeline=[
        {"at_seconds": 3, "fault": {"kind": "stall", "seconds": 0.01, "whole_process": True}},
        {"at_seconds": 12, "fault": {"kind": "chip_absent", "converter": "cells"}},
    ]
)


def test_a_stall_explains_nothing_after_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Protection, "judge", permits(Protection.judge))
    assert "d" in run_document(LEVEL_STALLED).broken


def test_one_request_is_one_closing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A lease that is never over: after a short standstill the driver is pulled in once more."""

    def renews(self: Contactor, lease_s: float) -> None:
        with self._lock:
            self._lease_ends_s = None
            self._feed(lease_s)

    monkeypatch.setattr(Contactor, "renew", renews)
    monkeypatch.setattr(Contactor, "_expire", lambda _self: None)
    monkeypatch.setattr(Protection, "judge", permits(Protection.judge))
    broken = set()
    for at_s in (1.9, 2.2, 2.5, 2.8):
        run = run_document(
            document(
                overrides={
                    "contactor.drive": "pulse",
                    "contactor.dropout_milliseconds": 250,
                },
                timeline=[
                    {
                        "at_seconds": at_s,
                        "fault": {"kind": "stall", "seconds": 0.3, "whole_process": True},
                    }
                ],
            )
        )
        broken |= set(run.broken)
    assert "h" in broken


@pytest.mark.parametrize(
    "malformed",
    [
        {"name": "abc", "timeline": None},
        {"name": "abc", "timeline": [{"at_seconds": 1, "fault": None}]},
        {"name": "abc", "operator": None},
        {"name": "abc", "timeline": [{"fault": {}}]},
        {"name": "abc", "timeline": ["soon"]},
    ],
)
def test_a_malformed_document_raises_nothing(malformed: dict[str, Any]) -> None:
    assert run_document(malformed).broken == ("x",)


STICKS = {"kind": "slow_release", "milliseconds": 12000}
RELAY = {
    "mains_contactor": {"pin": 22, "opens": "failed_opening"},
    "protection.failed_to_open.within_seconds": 0.9,
}


@pytest.mark.parametrize("relay", [{}, RELAY], ids=["alone", "relay"])
def test_a_contactor_that_sticks_is_beyond_reach_until_it_opens(relay: dict[str, Any]) -> None:
    """Also when what made it stick is gone before that: the opening under way is the old one."""
    run = run_document(
        document(
            overrides=relay,
            seconds=35,
            timeline=[
                {"at_seconds": 10, "fault": STICKS},
                {"at_seconds": 14, "fault": {"kind": "lead_reversed", "channel": "front_cell"}},
                {"at_seconds": 16, "clear": "slow_release"},
            ],
        )
    )
    assert run.tripped_by == "sensing"
    assert run.violations == ()
    assert run.beyond_reach == (() if relay else ("contactor slower than its settings claim",))
