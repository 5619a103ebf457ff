"""No profile is a way around a limit of the session: what is charged in it is counted as well."""

from typing import Any

import pytest

from supervisor.settings.faults import Fault
from supervisor.settings.text import parse
from supervisor.sizing.fitness import examine_document

RULES = ["session_charge", "session_time"]
REASON = "nobody leaves the room"


def faults_of(hut_text: str, **changes: Any) -> tuple[Fault, ...]:
    document = parse(hut_text, "hut.yaml").with_overrides(changes.pop("own", {}) | changes)
    return examine_document(document).faults


def job(*leave_out: str, **overrides: Any) -> dict[str, Any]:
    named = {key.replace("__", "."): value for key, value in overrides.items()}
    return {"about": "Another job", "overrides": named, "leave_out": list(leave_out)}


def without(rule: str, **overrides: Any) -> dict[str, Any]:
    return job(f"protection.{rule}", **{f"protection__without__{rule}": REASON} | overrides)


@pytest.mark.parametrize("rule", RULES)
def test_a_profile_of_the_same_cells_keeps_the_limit(hut_text: str, rule: str) -> None:
    (fault,) = faults_of(hut_text, profiles={"no_end": without(rule)})
    assert fault.path == "profiles.no_end.leave_out[0]"
    assert fault.problem == f"no_end does without {rule}, and bank has it for the same 32 cells."
    assert fault.remedy.startswith("Take it out of leave_out")
    assert "around the limit" in fault.why


FEW = {
    "bank__cells_in_parallel": 4,
    "charge__full__least_percent": 0,
    "protection__session_charge__trip_ampere_hours": 1120,
}


@pytest.mark.parametrize("rule", RULES)
def test_of_two_profiles_for_the_same_few_cells_both_keep_it(hut_text: str, rule: str) -> None:
    others = {k: v for k, v in FEW.items() if rule not in k}
    profiles = {"few": job(**FEW), "few_without": without(rule, **others)}
    (fault,) = faults_of(hut_text, profiles=profiles)
    assert fault.problem.startswith(f"few_without does without {rule}, and few has it")


@pytest.mark.parametrize("rule", RULES)
def test_other_cells_may_do_without(hut_text: str, rule: str) -> None:
    others = {k: v for k, v in FEW.items() if rule not in k}
    assert faults_of(hut_text, profiles={"few_without": without(rule, **others)}) == ()


def test_the_files_own_settings_are_no_exception(hut_text: str) -> None:
    own = {
        "protection.session_time": None,
        "protection.without.session_time": REASON,
    }
    limited = job(protection__session_time={"trip_hours": 80}, protection__without={
        "temperature": "no probes are fitted"})  # fmt: skip
    found = faults_of(hut_text, own=own, profiles={"limited": limited})
    assert [fault.path for fault in found] == ["protection.without.session_time"]
    assert found[0].remedy == (
        "Write protection.session_time for bank as well, or do without it in both."
    )


def test_another_value_is_as_good(hut_text: str) -> None:
    shorter = job(protection__session_time__trip_hours=60)
    assert faults_of(hut_text, profiles={"shorter": shorter}) == ()
