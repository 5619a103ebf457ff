"""``holdwatch campaign``: random builds, operators and faults, judged by what must always hold."""

import importlib.util
import json
import os
import sys
import time
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from supervisor.cli.common import EXIT_FAILED, fail, say

if TYPE_CHECKING:
    from supervisor.bench.campaign.report import Report
    from supervisor.bench.campaign.run import Run

SECONDS_PER_MINUTE = 60
MOST_JOBS = 256
SHRUNK = 20  # violations; of the rest the seed and the run are told


@click.command()
@click.option("--runs", type=click.IntRange(min=1), default=1000, show_default=True)
@click.option("--seed", type=int, default=1, show_default=True, help="Of the whole campaign.")
@click.option(
    "--jobs", type=click.IntRange(1, MOST_JOBS), help="Processes; left out: as many as cores."
)
@click.option("--scheduler", help="Use a Dask cluster instead: its address, tcp://HOST:PORT.")
@click.option("--minutes", type=click.FloatRange(0, 1e5, min_open=True), help="Stop after so long.")
@click.option("--json", "as_json", is_flag=True, help="The report as JSON on stdout.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for a scenario file of each violation, made as short as it will go.",
)
def command(
    runs: int,
    seed: int,
    jobs: int | None,
    scheduler: str | None,
    minutes: float | None,
    as_json: bool,
    out: Path | None,
) -> None:
    """Run random scenarios and judge them by invariants that know nothing of the rules.

    Run K of seed S is always the same, whatever the jobs and the order. Exit 1 when an invariant
    was broken or no run ended. Ctrl-C or --minutes keeps what was done.
    """
    from supervisor.bench.campaign.report import Report
    from supervisor.bench.campaign.spread import MissingPart, NoCluster, spread

    report = Report(seed, runs)
    if out:
        _make(out)
    try:
        results = spread(seed, runs, jobs=jobs or _most_jobs(), scheduler=scheduler)
    except MissingPart as missing:
        raise click.UsageError(str(missing)) from None
    except NoCluster as nobody:
        raise click.UsageError(str(nobody)) from None
    _gather(report, cast("Generator[Run]", results), minutes)
    unsaved = _save(report, out) if out else None
    _tell(report, as_json=as_json)
    if unsaved:
        raise unsaved
    if report.violations or not report.runs:
        raise click.exceptions.Exit(EXIT_FAILED)


def _gather(report: "Report", results: "Generator[Run]", minutes: float | None) -> None:
    told_s = time.monotonic()
    ends_s = told_s + (minutes or float("inf")) * SECONDS_PER_MINUTE
    try:
        with _progress(report.asked) as shown:
            for run in results:
                report.add(run)
                next(shown)
                told_s = _tell_progress(report, told_s)
                if time.monotonic() >= ends_s and len(report.runs) < report.asked:
                    report.stopped = "time is up"
                    break
    except KeyboardInterrupt:
        report.stopped = "interrupted"
    finally:
        results.close()


def _tell_progress(report: "Report", told_s: float) -> float:
    """A line a minute where there is no terminal for a bar; returns when it spoke last."""
    now_s = time.monotonic()
    if sys.stderr.isatty() or now_s < told_s + SECONDS_PER_MINUTE:
        return told_s
    say(f"{len(report.runs)} of {report.asked} runs, {len(report.violations)} broken")
    return now_s


@contextmanager
def _progress(total: int) -> Iterator[Iterator[None]]:
    """A bar on stderr with the time that remains; nothing when nobody looks at a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    console = Console(stderr=True)
    columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(elapsed_when_finished=True))
    with Progress(*columns, console=console, disable=not console.is_terminal) as bar:
        task = bar.add_task("", total=total)

        def advance() -> Iterator[None]:
            while True:
                bar.advance(task)
                yield

        yield advance()


def _most_jobs() -> int:
    """All cores, if there is what spreads runs over them."""
    if importlib.util.find_spec("joblib") is None:
        say("on one core; for all: pip install '.[campaign]'")
        return 1
    return os.cpu_count() or 1


def _make(folder: Path) -> None:
    """Before the first run: an hour's work is not to end in a folder that cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / ".try").touch()
        (folder / ".try").unlink()
    except OSError as error:
        raise fail(
            f"holdwatch: cannot write into {folder}: {error.strerror}; name another folder by --out"
        ) from None


def _save(report: "Report", folder: Path) -> Exception | None:
    """One file a violation, named in the report; what went wrong with it."""
    from supervisor.bench.campaign.draw import draw
    from supervisor.bench.campaign.save import save
    from supervisor.bench.campaign.shrink import Shrinker

    try:
        for failed in report.violations[:SHRUNK]:
            say(f"making run {failed.run} as short as it will go")
            document = draw(failed.seed, failed.run).document
            shrinker = Shrinker(document, failed)
            report.files[failed.run] = str(save(shrinker.shrink(), shrinker.run, folder))
    except KeyboardInterrupt:
        report.stopped = "interrupted"
    except OSError as error:
        return fail(f"holdwatch: cannot write into {folder}: {error.strerror}")
    return None


def _tell(report: "Report", *, as_json: bool) -> None:
    from supervisor.cli.campaign_text import print_report

    if as_json:
        click.echo(json.dumps(report.as_dict(), indent=2))
    else:
        print_report(report)
    broken, done = len(report.violations), len(report.runs)
    why = f" ({report.stopped})" if report.stopped else ""
    say(f"{done} of {report.asked} runs{why}, {broken} with a broken invariant")
