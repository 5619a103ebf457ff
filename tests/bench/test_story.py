"""The demo's parts: the story ends after its trip, tells what would have been, shows its page."""

import io
import socket
import urllib.request
from pathlib import Path

import pytest
from rich.console import Console

from supervisor.bench.page import PageProcess
from supervisor.bench.scenario import load_scenario
from supervisor.bench.screen import line, summary, view
from supervisor.bench.story import Story

SCENARIOS = Path(__file__).parents[2] / "config" / "scenarios"


@pytest.fixture
def story(tmp_path: Path) -> Story:
    scenario, settings = load_scenario(SCENARIOS / "stop-button.yaml")
    return Story(scenario, settings, tmp_path, speed=1000)


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
    assert "stop button" in told
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
