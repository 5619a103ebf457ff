"""``holdwatch calibrate``: one channel against a reference, as found and as left."""

import json
import shlex
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from supervisor.cli.commission import bench_options
from supervisor.cli.common import EXIT_FAILED, errors_in_words, say
from supervisor.control.build_record import StepDone
from supervisor.control.build_steps import BY_KEY, plain

if TYPE_CHECKING:
    from supervisor.cli.commission_bench import Asked, CommissionBench
    from supervisor.settings.model import SupervisorSettings

STEPS = {"front_cell": ("front_cell",), "far_cell": ("far_cell",), "shunt": ("zero", "current")}


class ChannelName(click.Choice[str]):
    """By its name in the settings; who gives the step that calibrates it is told that."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        for name, keys in STEPS.items():
            if value in keys and value not in STEPS:
                self.fail(f"{value} is a step; its channel is: --channel {name}", param, ctx)
        return super().convert(value, param, ctx)


@click.command()
@bench_options
@click.option("--channel", required=True, type=ChannelName(list(STEPS)), help="Which one.")
@click.option("--history", is_flag=True, help="Earlier calibrations, as on record; tries nothing.")
@click.option("--dry-run", is_flag=True, help="Measure and reckon; write nothing.")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
def command(channel: str, history: bool, dry_run: bool, as_json: bool, **bench: Any) -> None:
    """Calibrate one channel against a reference meter, and write what comes of it.

    It is measured as found; if it is off, or was never calibrated, gain and offset are written into
    the settings, the old file is kept beside, and the channel is measured once more as left. What a
    meter may be wrong by is common to all its points. Trip points that relied on the old values
    have to be tried again.

    Exit 0 when it is right at last, 1 when not, 69 when hardware is missing or a daemon at work,
    78 when settings or answers are at fault.
    """
    from supervisor.cli.commission_bench import Asked
    from supervisor.cli.commission_builds import commission_bench
    from supervisor.cli.commission_file import calibration_of

    asked = Asked(**bench, writes=not dry_run)
    with errors_in_words():
        if history:
            _history(asked, channel, as_json=as_json)
            return
        with commission_bench(asked) as one:
            _check_fitted(one.settings, channel)
            before, old = len(one.done), calibration_of(one.settings, channel)
            passed = one.go([BY_KEY[key] for key in STEPS[channel]])
            told = _told(one, channel, old, before)
    if as_json:
        click.echo(json.dumps(told | {"passed": passed}, indent=2))
    else:
        _tell(told, asked)
    if not passed:
        raise click.exceptions.Exit(EXIT_FAILED)


def _check_fitted(settings: "SupervisorSettings", channel: str) -> None:
    if plain(settings, f"channels.{channel}") is None:
        raise click.UsageError(f"this build has no {channel}: there is no such block in channels")


def _told(
    bench: "CommissionBench", channel: str, old: dict[str, Any], before: int
) -> dict[str, Any]:
    from supervisor.cli.commission_file import calibration_of
    from supervisor.cli.commission_text import void

    done = bench.done
    return {
        "channel": channel,
        "old": old,
        "new": calibration_of(bench.settings, channel),
        "steps": [_entry(one) for one in done[before:]],
        "void": void(bench.settings, bench.lines),
    }


def _tell(told: dict[str, Any], asked: "Asked") -> None:
    """Old and new, and what has to be done again."""
    for key, old in told["old"].items():
        new = told["new"][key]
        click.echo(f"{key}: {_value(old)}{'' if old == new else f' -> {_value(new)}'}")
    if not asked.writes:
        say("nothing is written")
        return
    if asked.simulate:
        say(f"SIMULATED: nothing is written into {asked.config}")
    if told["void"]:
        say(f"to be tried again, as they relied on the old values: {', '.join(told['void'])}, by")
        say(f"  {_again(asked, told['void'])}")


def _again(asked: "Asked", keys: list[str]) -> str:
    """The command that tries them, to be copied."""
    given = {"profile": asked.profile, "state-dir": asked.state_dir, "run-dir": asked.run_dir}
    words = ["holdwatch", "commission", "--config", str(asked.config)]
    words += [word for name, one in given.items() if one for word in (f"--{name}", str(one))]
    words += ["--simulate"] if asked.simulate else []
    return shlex.join([*words, *(word for key in keys for word in ("--step", key))])


def _history(asked: "Asked", channel: str, *, as_json: bool) -> None:
    from supervisor.cli.check_words import console, print_wrapped
    from supervisor.cli.commission_builds import record_of

    key = STEPS[channel][-1]
    record = record_of(asked)
    done = [one for one in record.read() if one.step == key and one.simulated is asked.simulate]
    if as_json:
        click.echo(json.dumps([_entry(one) for one in done], indent=2))
        return
    paper = console()
    for one in done:
        print_wrapped(paper, "", _line(one))
    if not done:
        say(f"no calibration of {channel} is on record in {record.path.parent}")


def _line(done: StepDone) -> str:
    age = days_since(done.wall, datetime.now(UTC))
    when = done.wall[:10] if age is None else f"{done.wall[:10]} ({age} days ago)"
    verdict = "good" if done.passed else "written" if done.as_left else "failed"
    parts = [f"{when}, by {done.by}: {verdict}"]
    parts += [f"{key} {_value(value)}" for key, value in done.as_found.items()]
    if done.as_left:
        parts.append("left " + ", ".join(f"{k} {_value(v)}" for k, v in done.as_left.items()))
    return "; ".join(parts)


def _entry(done: StepDone) -> dict[str, Any]:
    return {
        "step": done.step,
        "passed": done.passed,
        "at": done.wall,
        "age_days": days_since(done.wall, datetime.now(UTC)),
        "by": done.by,
        "as_found": dict(done.as_found),
        "as_left": dict(done.as_left),
        "notes": list(done.notes),
    }


def days_since(wall: str, now: datetime) -> int | None:
    """None of a time that cannot be read, or that has no zone."""
    try:
        return (now - datetime.fromisoformat(wall)).days
    except (ValueError, TypeError):
        return None


def _value(value: Any) -> str:
    return "none" if value is None else f"{value:.6g}"
