"""``holdwatch demo``: the whole job on a simulated bank, time-lapsed, in the terminal."""

import signal
import tempfile
from importlib.resources import as_file, files
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

import click

from supervisor.cli.common import errors_in_words, quiet_log, say

if TYPE_CHECKING:
    from supervisor.bench.story import Story

LINGER_S = 8.0  # real seconds after the trip, to read the screen and the page
LINE_EVERY = 25  # looks between two lines when the output is no terminal


@click.command()
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8462,
    show_default=True,
    help="Port of the page; 0 for any free one.",
)
@click.option(
    "--seconds",
    type=click.FloatRange(5, 3600),
    default=120.0,
    show_default=True,
    help="Real time that the story may take.",
)
@click.option(
    "--speed",
    type=click.FloatRange(1, 1000),
    help="Simulated seconds per real second, instead of --seconds.",
)
@click.option(
    "--report",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the report of the played session to this HTML file in the end.",
)
@click.pass_context
def command(
    context: click.Context, port: int, seconds: float, speed: float | None, report: Path | None
) -> None:
    """The whole job on a simulated bank, time-lapsed. Needs no hardware and no root."""
    from supervisor.bench.page import PageProcess
    from supervisor.bench.scenario import load_scenario
    from supervisor.bench.story import Story

    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, _interrupt)
    with (
        errors_in_words(),
        quiet_log(),
        as_file(files("supervisor") / "examples") as examples,
        tempfile.TemporaryDirectory(prefix="holdwatch-demo-") as folder,
    ):
        scenario, settings = load_scenario(examples / "scenarios" / "demo.yaml")
        story = Story(scenario, settings, Path(folder), speed or scenario.seconds / seconds)
        try:
            with PageProcess(Path(folder), port) as page, story:
                _play(story, page.notice)
            if report is not None:
                _report(context, Path(folder), report)
        except KeyboardInterrupt:
            say("\nleft early; the simulated contactor is open")


def _report(context: click.Context, folder: Path, output: Path) -> None:
    from supervisor.cli import report

    context.invoke(
        report.command, numbers=(), state_dir=folder, journal=None, output=output, pdf=False
    )


def _play(story: "Story", page: str) -> None:
    from rich.console import Console
    from rich.live import Live

    from supervisor.bench.screen import CueLines, line, summary, view

    console = Console(highlight=False)
    if console.is_terminal:
        with Live(console=console, auto_refresh=False, vertical_overflow="crop") as live:
            for snapshot in story.looks(LINGER_S):
                live.update(view(snapshot, story, page), refresh=True)
    else:
        say(page)
        told, cues = 0, CueLines()
        for count, snapshot in enumerate(story.looks(LINGER_S)):
            for at_s, words in story.rig.said[told:]:
                console.print(f"{at_s:7.0f} s  {words}", soft_wrap=True)
            told = len(story.rig.said)
            for words in cues.changed(snapshot.guidance, story.rig.elapsed_s):
                console.print(words, soft_wrap=True, markup=False)
            if count % LINE_EVERY == 0:
                console.print(line(snapshot, story), soft_wrap=True)
    summary(story, console)


def _interrupt(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt
