"""From step to step: what failed is tried again when something has changed, and never for ever."""

from pathlib import Path
from typing import Any

import pytest
from build_samples import all_done, step_done
from commission_fakes import BAD, GOOD, Runs, Somebody, Step, walk

from supervisor.commissioning.deeds import (
    CoilOnly,
    Deed,
    Flow,
    Jump,
    NoCurrent,
    PutBack,
    Raise,
    Source,
    TakeOff,
)
from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.person import Left, Unanswered
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.control.build_record import BuildRecord
from supervisor.control.build_steps import BY_KEY
from supervisor.control.build_steps import STEPS as BUILD_STEPS
from supervisor.settings.model import SupervisorSettings


def passed(folder: Path, key: str) -> list[bool]:
    return [done.passed for done in BuildRecord(folder).read() if done.step == key]


# --- what failed is tried again


def test_a_step_that_failed_is_tried_again_when_its_settings_have_changed(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step]
) -> None:
    steps["parts"].runs = lambda bench: BAD if bench.settings.bus.kilohertz == 100 else GOOD
    faster = Outcome(GOOD.findings, changes={"bus.kilohertz": 400})
    steps["panel"].runs = lambda bench: faster if bench.settings.bus.kilohertz == 100 else GOOD
    one = walk(hut_settings, tmp_path)
    assert one.go()
    assert passed(tmp_path, "parts") == [False, True]
    assert not one.open_steps()


def test_one_that_failed_is_not_tried_again_when_nothing_has_changed(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step]
) -> None:
    steps["parts"].runs = lambda _bench: BAD
    one = walk(hut_settings, tmp_path)
    assert not one.go()
    assert passed(tmp_path, "parts") == [False]
    assert [step.key for step in one.open_steps()] == ["parts"]


def test_steps_that_undo_each_other_come_to_an_end(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step]
) -> None:
    """Each wants what voids the other."""

    def wants(value: int) -> Runs:
        other = Outcome(GOOD.findings, changes={"bus.kilohertz": value})
        return lambda bench: GOOD if bench.settings.bus.kilohertz == value else other

    steps["parts"].runs, steps["leads"].runs = wants(400), wants(100)
    one = walk(hut_settings, tmp_path)
    assert not one.go()
    assert len(passed(tmp_path, "parts")) < 10


def test_a_record_that_forgets_is_no_endless_walk(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    steps: dict[str, Step],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    done = []
    monkeypatch.setattr(BuildRecord, "add", lambda _self, one: done.append(one))
    assert steps
    assert not walk(hut_settings, tmp_path).go()
    assert len(done) < 10 * len(BUILD_STEPS)


@pytest.mark.parametrize("all_of_them", [True, False])
def test_it_is_offered_again_as_often_as_the_person_wants(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step], all_of_them: bool
) -> None:
    """Who has mended it need not begin anew."""
    turns = [BAD, BAD, GOOD]
    steps["drive"].runs = lambda _bench: turns.pop(0)
    offered: list[str] = []

    def again(_step: object, done: Any) -> bool:
        assert not done.passed
        offered.append(done.step)
        return True

    one = walk(hut_settings, tmp_path, again=again)
    assert one.go(None if all_of_them else [BY_KEY["drive"]])
    assert offered == ["drive", "drive"]
    assert passed(tmp_path, "drive") == [False, False, True]


def test_who_wants_no_more_goes_on(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step]
) -> None:
    steps["panel"].runs = lambda _bench: BAD
    one = walk(hut_settings, tmp_path, again=lambda *_: False)
    assert not one.go()
    assert [step.key for step in one.open_steps()] == ["panel"]


# --- one judgement


@pytest.mark.parametrize("line", [b'{"step": "kill", "passed": fal', b"\0" * 40])
def test_a_line_that_is_lost_opens_the_steps_that_the_daemon_minds(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step], line: bytes
) -> None:
    record = BuildRecord(tmp_path)
    for done in all_done(hut_settings, simulated=True):
        record.add(done)
    one = walk(hut_settings, tmp_path)
    assert not one.open_steps()
    record.path.write_bytes(record.path.read_bytes() + line)
    reasons = record.why_not(hut_settings, simulated=True)
    assert reasons
    assert len(one.open_steps()) == len(reasons)
    assert all(f"--step {step.key})" in " ".join(reasons) for step in one.open_steps())
    assert steps
    assert one.go()
    assert record.why_not(hut_settings, simulated=True) == ()


def test_the_auxiliary_contact_again_means_kill_and_release_again(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step]
) -> None:
    assert steps
    record = BuildRecord(tmp_path)
    for done in all_done(hut_settings, simulated=True):
        record.add(done)
    record.add(step_done(hut_settings, "auxiliary", simulated=True))
    one = walk(hut_settings, tmp_path)
    assert [step.key for step in one.open_steps()] == ["release", "kill"]
    assert one.go()
    assert not one.open_steps()


# --- what cannot be kept is not gone on with


def test_a_record_that_cannot_be_written_ends_it_in_words(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step]
) -> None:
    assert steps
    (tmp_path / "commissioning.jsonl").symlink_to(tmp_path / "elsewhere")
    one = walk(hut_settings, tmp_path)
    with pytest.raises(Unanswered, match=r"(?s)parts.*commissioning\.jsonl is a link.*what to do"):
        one.go()
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.parametrize("changed_in", ["parts", "drive"])
def test_nothing_is_recorded_once_the_settings_are_others(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step], changed_in: str
) -> None:
    is_changed = []

    def holds() -> None:
        if is_changed:
            raise Unanswered("the file was changed")

    def changes(_bench: Bench) -> Outcome:
        is_changed.append(True)
        return GOOD

    steps[changed_in].runs = changes
    one = walk(hut_settings, tmp_path, holds=holds)
    with pytest.raises(Unanswered, match="was changed"):
        one.go()
    assert len(BuildRecord(tmp_path).read()) == (0 if changed_in == "parts" else 1)


# --- what was taken off is put back

TAKEN = (
    (Source(("front_cell", "far_cell"), 3.3), PutBack(("front_cell", "far_cell"))),
    (Source(("shunt",), 0.0, 0.0), PutBack(("shunt",))),
    (Raise(("front_cell",), 3.3, 3.4, 0.001), PutBack(("front_cell",))),
    (Jump(("far_cell",), 3.3), PutBack(("far_cell",))),
    (TakeOff("far_cell"), PutBack(("far_cell",))),
    (NoCurrent(), PutBack((), cables=True)),
    (Flow(20.0), PutBack((), cables=True)),
)


def ends(how: object) -> Runs:
    def run(bench: Bench) -> Outcome:
        bench.person.does(TAKEN_NOW[0])
        if isinstance(how, Exception):
            raise how
        assert isinstance(how, Outcome)
        return how

    return run


TAKEN_NOW: list[Deed] = []


@pytest.mark.parametrize(("deed", "back"), TAKEN)
@pytest.mark.parametrize("how", [GOOD, BAD, CannotTell("no"), OSError(5, "no")])
def test_what_was_taken_off_is_put_back_however_the_step_ended(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    steps: dict[str, Step],
    deed: Deed,
    back: PutBack,
    how: object,
) -> None:
    TAKEN_NOW[:] = [deed]
    steps["leads"].runs = ends(how)
    person = Somebody()
    one = walk(hut_settings, tmp_path, person=person)
    assert one.go([BY_KEY["leads"]]) is (how is GOOD)
    ends_it = [NoCurrent()] if isinstance(deed, Flow) else []
    assert person.did == [deed, *ends_it, back]
    assert passed(tmp_path, "leads") == [how is GOOD]


@pytest.mark.parametrize("how", [Left(), Unanswered("no answer")])
def test_who_leaves_is_told_what_is_off(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step], how: Exception
) -> None:
    TAKEN_NOW[:] = [TakeOff("far_cell")]
    steps["leads"].runs = ends(how)
    person = Somebody()
    with pytest.raises(type(how)):
        walk(hut_settings, tmp_path, person=person).go([BY_KEY["leads"]])
    assert len(person.did) == 1
    assert "far cell" in person.told[0]


def test_nothing_is_put_back_where_nothing_was_taken_off(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step]
) -> None:
    assert steps
    person = Somebody()
    assert walk(hut_settings, tmp_path, person=person).go([BY_KEY["drive"]])
    assert not person.did


def test_putting_back_says_no_more_than_is_true() -> None:
    """No cell need be there yet; where only a cable was touched, none is spoken of."""
    assert "cells" not in PutBack(("shunt",)).text
    assert "cells" not in PutBack((), cables=True).text
    assert "sense" not in PutBack((), cables=True).text
    of_cells = PutBack(("front_cell", "far_cell")).text
    assert "on the cells if these are connected already" in of_cells
    assert "shunt" not in of_cells


# --- what may have changed, and what must not go on


def test_after_something_was_mended_the_contacts_are_asked_to_be_free_again(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step]
) -> None:
    """Who has replaced a contactor has wired it."""

    def fed(bench: Bench) -> Outcome:
        bench.person.does(CoilOnly())
        return BAD

    steps["drive"].runs = fed
    answers, somebody = iter([True, True, False]), Somebody()
    one = walk(hut_settings, tmp_path, person=somebody, again=lambda *_: next(answers))
    assert not one.go([BY_KEY["drive"]])
    assert somebody.did == [CoilOnly()] * 3


@pytest.mark.parametrize("ends", [CannotTell("no answer"), OSError(5, "Input/output error"), None])
def test_no_current_flows_on_when_its_step_is_over(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    steps: dict[str, Step],
    ends: Exception | None,
) -> None:
    """Before anybody is asked whether it is mended."""

    def flows(bench: Bench) -> Outcome:
        bench.person.does(NoCurrent())
        bench.person.does(Flow(80.0))
        if ends:
            raise ends
        return BAD

    did_when_asked: list[Deed] = []

    def again(*_: object) -> bool:
        did_when_asked.extend(somebody.did)
        return False

    steps["parts"].runs, somebody = flows, Somebody()
    one = walk(hut_settings, tmp_path, person=somebody, again=again)
    assert not one.go([BY_KEY["parts"]])
    assert [type(deed) for deed in did_when_asked] == [NoCurrent, Flow, NoCurrent]
