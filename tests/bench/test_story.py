"""The demo's parts: the story ends after its trip, tells what would have been, shows its page."""

import io
import socket
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from supervisor.bench.page import PageProcess
from supervisor.bench.scenario import load_scenario
from supervisor.bench.screen import CueLines, line, summary, view
from supervisor.bench.story import Story
from supervisor.snapshot import ChannelView, CueView, ForecastView, GuidanceView, Snapshot

SCENARIOS = Path(__file__).parents[2] / "config" / "scenarios"


@pytest.fixture
def story(tmp_path: Path) -> Story:
    scenario, settings = load_scenario(SCENARIOS / "stop-button.yaml")
    return Story(scenario, settings, tmp_path, speed=1000)


NOTHING = ForecastView(None, None, None, "cannot tell yet")


def guided(cues: tuple[CueView, ...]) -> GuidanceView:
    return GuidanceView(
        stage="bulk", stage_for_s=1.0, advice="", cues=cues, to_limit=NOTHING, to_full=NOTHING,
        measured_v=None, at_rest_v=None, resistance_ohm=None, resistance_u_ohm=None,
        charged_ah=0.0, charged_u_ah=0.0, charged_wh=0.0, charge_is_whole=True, left_ah=0.0,
        full=None, rest=None, pulses=None,
    )  # fmt: skip


def printed(story: Story, width: int = 100) -> str:
    console = Console(file=io.StringIO(), width=width)
    summary(story, console)
    assert isinstance(console.file, io.StringIO)
    return " ".join(console.file.getvalue().split())


def test_it_ends_after_the_trip_and_tells_both_endings(story: Story) -> None:
    with story:
        for _ in story.looks(linger_s=0.0):
            pass
    assert story.tripped_at_s == pytest.approx(30, abs=0.1)
    told = printed(story)
    assert "stop button, power cut or kill: the stop button" in told
    assert "external" not in told
    assert "no current flowed" in told
    assert "Without the cutoff" in told


def test_without_the_cutoff_a_full_bank_is_overcharged(tmp_path: Path) -> None:
    """The twin goes on where the plant was cut off, and does not touch it."""
    scenario, settings = load_scenario(SCENARIOS / "stop-button.yaml")
    cells = scenario.plant.cells.model_copy(update={"state_of_charge": 0.9975})
    plant = scenario.plant.model_copy(update={"cells": cells})
    story = Story(scenario.model_copy(update={"plant": plant}), settings, tmp_path, speed=1000)
    with story:
        for _ in story.looks(linger_s=0.0):
            pass
        peak_v = story.rig.world.plant.peak_cell_v
    minutes = story.minutes_to(settings.bank.never_above_volts)
    assert minutes is not None
    assert 0 < minutes < 120
    assert story.rig.world.plant.peak_cell_v == peak_v < settings.bank.never_above_volts


@pytest.mark.parametrize("width", [40, 60, 100])
def test_every_look_fits_the_terminal(story: Story, width: int) -> None:
    console = Console(file=io.StringIO(), width=width, height=30, no_color=True)
    with story:
        snapshot = next(iter(story.looks(linger_s=0.0)))
        console.print(view(snapshot, story, "Page: http://127.0.0.1:1/"))
        assert "front cell" in line(snapshot, story)
    assert isinstance(console.file, io.StringIO)
    shown = console.file.getvalue()
    assert max(map(len, shown.splitlines())) <= width
    assert "front cell" in shown


@pytest.mark.parametrize(("stage", "told"), [("bulk", "closed, bulk: "), ("none", "closed: ")])
def test_a_stage_is_told_while_there_is_one(story: Story, stage: str, told: str) -> None:
    with story:
        look = next(iter(story.looks(linger_s=0.0)))
        guidance = replace(guided(()), stage=stage)
        assert told in line(replace(look, circuit="closed", guidance=guidance), story)


def shown(story: Story, snapshot: Snapshot, width: int) -> list[str]:
    console = Console(file=io.StringIO(), width=width, height=40, no_color=True)
    console.print(view(snapshot, story, "Page: http://127.0.0.1:1/"))
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue().splitlines()


@pytest.fixture
def look(story: Story) -> Iterator[Snapshot]:
    with story:
        yield next(iter(story.looks(linger_s=0.0)))


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_the_limit_of_each_value_is_shown_whatever_the_width(
    story: Story, look: Snapshot, width: int
) -> None:
    rows = {row[:10].strip(): row.rstrip() for row in shown(story, look, width)}
    assert rows["front cell"].endswith("limit 3.6 V")
    assert rows["far cell"].endswith("limit 3.6 V")
    assert rows["current"].endswith("limit 130 A")
    assert all("|" in rows[name] for name in ("front cell", "far cell", "current"))


def test_a_bar_stands_for_the_value_between_nothing_and_its_limit(
    story: Story, look: Snapshot
) -> None:
    half = replace(look, channels=(ChannelView("shunt", 65.0, "A", "good", 0.5, 0.1, None, None),))
    (row,) = (row for row in shown(story, half, 100) if row.startswith("current"))
    assert "==========..........|" in row


def test_what_is_in_force_is_shown_not_what_the_file_says(story: Story, look: Snapshot) -> None:
    """After a change to a profile with other limits."""
    limits = {"overvoltage": 3.58, "overcurrent": 12.0}
    rules = tuple(replace(r, limit=limits.get(r.rule, r.limit)) for r in look.rules)
    told = shown(story, replace(look, profile="final_hold", rules=rules), 80)
    assert any(row.startswith("current") and row.rstrip().endswith("limit 12 A") for row in told)
    assert any(row.startswith("far") and row.rstrip().endswith("limit 3.58 V") for row in told)
    assert any("profile final_hold" in row for row in told)


@pytest.mark.parametrize("width", [40, 80])
def test_a_value_that_cannot_be_told_says_why(story: Story, look: Snapshot, width: int) -> None:
    lost = ChannelView("far_cell", None, "V", "no answer", 0.01, 0.1, None, None)
    text = " ".join(" ".join(shown(story, replace(look, channels=(lost,)), width)).split())
    assert "cannot tell" in text
    assert "answer" in text


def test_cues_are_told_in_a_pipe_when_they_change() -> None:
    said = CueLines()
    ease = CueView("ease_down", "soon", "Ease down: it will trip in 12 min.", "")
    told = said.changed(guided((ease,)), 100.4)
    assert told == ["    100 s  > SOON: Ease down: it will trip in 12 min."]
    later = replace(ease, text="Ease down: it will trip in 11 min.")
    assert said.changed(guided((later,)), 101.0) == [], "only its figures are others"
    urgent = replace(ease, urgency="now")
    assert said.changed(guided((urgent,)), 102.0) == [
        "    102 s  > NOW: Ease down: it will trip in 12 min."
    ]
    assert said.changed(guided(()), 103.0) == []
    assert len(said.changed(guided((ease,)), 104.0)) == 1, "again, after it was gone"
    assert said.changed(None, 105.0) == []


def test_the_page_is_served_beside_it(tmp_path: Path) -> None:
    with PageProcess(tmp_path, 0) as page:
        address = page.notice.removeprefix("Page: ")
        with urllib.request.urlopen(address, timeout=10) as answer:
            assert answer.status == 200


def test_a_taken_port_is_told_and_stops_nothing(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with PageProcess(tmp_path, port) as page:
            assert str(port) in page.notice
            assert "Traceback" not in page.notice


def test_the_page_ends_with_whoever_started_it(tmp_path: Path) -> None:
    """Even if that was killed: its end of the pipe closes."""
    page = PageProcess(tmp_path, 0)
    with page:
        assert page._process.stdin
        page._process.stdin.close()
        assert page._process.wait(30) == 0
