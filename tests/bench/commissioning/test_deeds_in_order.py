"""What a person is asked to do can be done, in that order, and leaves nothing taken off."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from commissioned import behind, told, walk

from supervisor.bench.commissioning.build import SimulatedBuild
from supervisor.bench.commissioning.defects import Defect, strikes
from supervisor.bench.commissioning.hands import SimulatedHands
from supervisor.commissioning.deeds import (
    CoilOnly,
    Deed,
    DidIt,
    Flow,
    NoCurrent,
    PutBack,
    Source,
)
from supervisor.commissioning.walk import Walk
from supervisor.control.build_steps import BY_KEY
from supervisor.settings.model import SupervisorSettings

LEADS = (
    "kill", "front_cell", "far_cell", "leads", "trip_overvoltage", "trip_overvoltage_high_set",
    "trip_undervoltage", "trip_rate_of_rise", "trip_balance", "trip_overcurrent",
    "trip_reverse_current",
)  # fmt: skip


@dataclass
class Watched:
    """Deeds and answers in the order they came in, each with what the plant was doing."""

    build: SimulatedBuild
    deeds: list[Deed] = field(default_factory=list)
    coil_on_at: list[Deed] = field(default_factory=list)
    answers: list[tuple[DidIt, bool]] = field(default_factory=list)
    live_at: list[DidIt] = field(default_factory=list)


def watched(one: Walk, monkeypatch: pytest.MonkeyPatch) -> Watched:
    """The hands of a walk, and everything that they were asked for."""
    build = one._leaves
    assert isinstance(build, SimulatedBuild)
    seen = Watched(build)
    does, saw = SimulatedHands.does, SimulatedHands.saw

    def watched_does(hands: SimulatedHands, deed: Deed) -> None:
        seen.deeds.append(deed)
        if build.world.plant.contactor.driven:
            seen.coil_on_at.append(deed)
        does(hands, deed)

    def watched_saw(hands: SimulatedHands, question: DidIt) -> bool:
        if build.world.plant.current_a:
            seen.live_at.append(question)
        answer = saw(hands, question)
        seen.answers.append((question, answer))
        return answer

    monkeypatch.setattr(SimulatedHands, "does", watched_does)
    monkeypatch.setattr(SimulatedHands, "saw", watched_saw)
    return seen


def no_auxiliary(settings: SupervisorSettings) -> SupervisorSettings:
    contactor = settings.contactor.model_copy(update={"auxiliary": None})
    return settings.model_copy(update={"contactor": contactor})


def test_a_current_flows_after_its_cable_was_put_back_and_past_an_open_contactor(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = behind(walk(hut_settings, tmp_path), "current")
    seen = watched(one, monkeypatch)
    assert one.go([BY_KEY["zero"], BY_KEY["current"]]), told(one.done)
    flows = [number for number, deed in enumerate(seen.deeds) if isinstance(deed, Flow)]
    assert flows
    assert isinstance(seen.deeds[flows[0] - 1], NoCurrent)
    assert not seen.coil_on_at
    first = seen.deeds[flows[0]]
    assert isinstance(first, Flow)
    assert first.from_none
    text = " ".join(first.text.split())
    assert text.index("put the shunt's cable back") < text.index("A flow")
    assert "contactor stays open" in text
    after = seen.deeds[flows[-1] + 1 :]
    assert after == [NoCurrent(), PutBack((), cables=True)]
    assert "cells" not in after[-1].text


@pytest.mark.parametrize("key", ["auxiliary", "kill"])
def test_an_ohmmeter_is_asked_for_on_dead_contacts_open_and_closed(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    """One that is asked for in one state alone proves nothing of the other."""
    settings = no_auxiliary(hut_settings) if key == "kill" else hut_settings
    one = behind(walk(settings, tmp_path), key)
    seen = watched(one, monkeypatch)
    assert one.go([BY_KEY[key]]), told(one.done)
    by_ohmmeter = [(asked, yes) for asked, yes in seen.answers if asked.output == "main_contacts"]
    assert sorted(yes for _, yes in by_ohmmeter) == [False, True]
    assert isinstance(seen.deeds[0], CoilOnly)
    assert not seen.live_at
    assert all("no other wire on them" in asked.asked for asked, _ in by_ohmmeter)


@pytest.mark.parametrize("key", LEADS)
def test_leads_are_put_back_after_a_step_that_could_not_be_done(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    """As many as came off, and no others."""
    absent = strikes(kind="chip_absent", converter="cells")
    one = behind(walk(hut_settings, tmp_path, Defect("", "", "", struck=absent)), key)
    seen = watched(one, monkeypatch)
    assert not one.go([BY_KEY[key]])
    taken = {c for deed in seen.deeds if isinstance(deed, Source) for c in deed.channels}
    back = seen.deeds[-1]
    assert isinstance(back, PutBack)
    assert taken
    assert set(back.channels) == taken
    assert all(lead.source is None for lead in seen.build.world.leads.values())


@pytest.mark.parametrize(
    ("key", "struck"),
    [
        ("trip_overvoltage", strikes(kind="contactor_welded")),
        ("trip_balance", strikes(kind="lead_resistance", channel="front_cell", kilohms=3)),
    ],
)
def test_leads_are_put_back_after_a_trip_that_failed(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    key: str,
    struck: Callable[..., None],
) -> None:
    one = behind(walk(hut_settings, tmp_path, Defect("", "", "", struck=struck)), key)
    seen = watched(one, monkeypatch)
    assert not one.go([BY_KEY[key]])
    assert isinstance(seen.deeds[-1], PutBack)
    assert sum(isinstance(deed, PutBack) for deed in seen.deeds) == 1


def test_leads_go_back_when_they_are_needed_and_at_the_end_but_not_between(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keys = ("front_cell", "zero", "leads", "trip_undervoltage", "trip_overcurrent")
    one = behind(walk(hut_settings, tmp_path), *keys)
    seen = watched(one, monkeypatch)
    assert one.go([BY_KEY[key] for key in keys]), told(one.done)
    kinds = [type(deed) for deed in seen.deeds]
    backs = [number for number, kind in enumerate(kinds) if kind is PutBack]
    assert [kinds[number + 1] for number in backs[:-1]] == [NoCurrent, Source]
    assert backs[-1] == len(kinds) - 1
    assert kinds.count(CoilOnly) == 1
    assert all(lead.source is None for lead in seen.build.world.leads.values())
