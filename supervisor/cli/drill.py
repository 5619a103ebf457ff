"""``holdwatch drill``: scenario files against the simulator."""

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import click

from supervisor.bench.drill import Result, drill, not_run
from supervisor.bench.junit import write_junit
from supervisor.bench.reference import scenario_reference
from supervisor.cli.common import EXIT_FAILED, EXIT_SETTINGS, fail, quiet_log, say
from supervisor.settings.faults import SettingsFaults


@click.command()
@click.argument("files", nargs=-1, type=click.Path(path_type=Path), metavar="FILE...")
@click.option("--json", "as_json", is_flag=True, help="The results as JSON on stdout.")
@click.option("--reference", is_flag=True, help="All keys of a scenario file, as Markdown.")
@click.option(
    "--junit",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the results as JUnit XML as well.",
)
def command(files: Sequence[Path], as_json: bool, junit: Path | None, reference: bool) -> None:
    """Run scenario FILEs through the real loop and driver on a simulated bank.

    Exit 1 when one fails, 78 when a scenario or its settings are at fault.
    """
    if reference:
        click.echo(scenario_reference(), nl=False)
        return
    if not files:
        raise click.UsageError("give scenario FILEs, such as config/scenarios/*.yaml")
    results: list[Result] = []
    refused: list[SettingsFaults] = []
    for file in files:
        try:
            with quiet_log(), _busy(file):
                results.append(drill(file))
        except SettingsFaults as faults:
            refused.append(faults)
            say(str(faults))
            results.append(not_run(file, faults))
        else:
            if not as_json:
                _tell(results[-1])
    if as_json:
        click.echo(json.dumps([result.as_dict() for result in results], indent=2))
    if junit:
        _write(results, junit)
    _summarise(results, refused)


@contextmanager
def _busy(file: Path) -> Iterator[None]:
    """What is being played, for who waits at a terminal: a long one takes minutes."""
    from rich.console import Console

    console = Console(stderr=True)
    if not console.is_terminal:
        yield
        return
    with console.status(f"playing {file.name}"):
        yield


def _tell(result: Result) -> None:
    verdict = "pass" if result.passed else "FAIL"
    what = result.tripped_by or result.outcome
    at_s = result.finished_at_s if result.trip_at_s is None else result.trip_at_s
    when = "" if at_s is None else f" at {at_s:.1f} s"
    since_s = result.response_s
    took = "" if since_s is None else f", no current {since_s:.2f} s after the cause"
    last = f"the last of {result.trips} trips, " if result.trips > 1 else ""
    peak = f"peak {result.peak_cell_v:.3f} V"
    click.echo(f"{verdict}  {result.scenario}: {last}{what}{when}{took}; {peak}")
    for failure in result.failures:
        click.echo(f"      {failure}")


def _write(results: Sequence[Result], junit: Path) -> None:
    try:
        write_junit(results, junit)
    except OSError as error:
        raise fail(f"holdwatch: cannot write {junit}: {error.strerror}") from None


def _summarise(results: Sequence[Result], refused: Sequence[SettingsFaults]) -> None:
    failed = sum(not result.passed for result in results) - len(refused)
    passed = len(results) - failed - len(refused)
    say(f"{passed} passed, {failed} failed, {len(refused)} refused")
    if refused:
        raise click.exceptions.Exit(EXIT_SETTINGS)
    if failed:
        raise click.exceptions.Exit(EXIT_FAILED)
