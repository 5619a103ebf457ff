"""``holdwatch status``: what the daemon says now."""

import json
from pathlib import Path

import click

from supervisor.cli.common import EXIT_STALE, run_dir_option, say
from supervisor.readings import in_words
from supervisor.snapshot import ChannelView, LockoutView, Snapshot
from supervisor.status.status_file import Status, current


@click.command()
@run_dir_option(of_running=True)
@click.option("--json", "as_json", is_flag=True, help="The whole status as JSON.")
def command(run_dir: Path, as_json: bool) -> None:
    """What the daemon says now. Exit 75 when it says nothing, or nothing fresh."""
    status = current(run_dir)
    if as_json:
        shown = status.snapshot.as_dict() if status.snapshot else {}
        told = {"age_s": status.age_s, "fresh": status.fresh, "problem": status.problem}
        click.echo(json.dumps(shown | told, indent=2))
    else:
        click.echo("\n".join(_told(status)))
    if not status.fresh:
        say(f"holdwatch: {status.problem}")
        say("  what to do: look at the bank itself, then at the daemon")
        raise click.exceptions.Exit(EXIT_STALE)


def _told(status: Status) -> list[str]:
    """Old data are told as such, first of all."""
    told = lines(status.snapshot) if status.snapshot else []
    if status.fresh:
        return told
    age = "" if status.age_s is None else f", {status.age_s:.0f} s old"
    return [f"NO FRESH DATA{age}{'; the last word was:' if told else ''}", *told]


def lines(snapshot: Snapshot) -> list[str]:
    """The status in plain lines."""
    simulated = " (simulated)" if snapshot.simulated else ""
    shown = [f"{snapshot.bank}{simulated}: {snapshot.circuit}"]
    shown += [channel_line(channel) for channel in snapshot.channels]
    if snapshot.lockout:
        shown += lockout_lines(snapshot.lockout)
    elif snapshot.not_closing_because:
        shown += ["cannot be closed now:", *(f"  {why}" for why in snapshot.not_closing_because)]
    shown += [f"  {r.rule}: {r.state}, {r.reason}" for r in snapshot.rules if r.state != "clear"]
    if snapshot.uncommissioned:
        shown.append(f"not commissioned, accepted: {snapshot.uncommissioned}")
    return shown


def channel_line(channel: ChannelView) -> str:
    name = in_words(channel.channel)
    if channel.value is None:
        return f"  {name:<10}  cannot tell: {channel.quality}"
    digits = 1 if channel.unit == "A" else 3
    value = f"{channel.value:z.{digits}f} {channel.unit}"
    return f"  {name:<10}  {value:>9}  (+-{channel.uncertainty:.{digits}f})"


def lockout_lines(lockout: LockoutView) -> list[str]:
    opened = (
        f"opened in {lockout.opened_in_s * 1000:.0f} ms"
        if lockout.opened_in_s is not None
        else "its opening was not seen"
    )
    at = f"{lockout.wall[:19].replace('T', ' ')} UTC"
    return [
        f"  tripped by {lockout.tripped_by} at {at}: {lockout.reason}",
        f"  {'NOT SEEN TO OPEN' if lockout.failed_to_open else opened}"
        f"{'' if lockout.stored else '; not yet on disk'}",
        f"  before a reset: {lockout.remedy}",
    ]
