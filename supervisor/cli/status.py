"""``holdwatch status``: what the daemon says now."""

import json
from pathlib import Path

import click

from supervisor.cli.common import EXIT_STALE, run_dir_option, say
from supervisor.snapshot import ChannelView, LockoutView, Snapshot
from supervisor.status.status_file import Status, current

NAMES = {"front_cell": "front cell", "far_cell": "far cell", "shunt": "current"}


@click.command()
@run_dir_option()
@click.option("--json", "as_json", is_flag=True, help="The whole status as JSON.")
def command(run_dir: Path, as_json: bool) -> None:
    """What the daemon says now. Exit 75 when it says nothing, or nothing fresh."""
    status = current(run_dir)
    if as_json:
        shown = status.snapshot.as_dict() if status.snapshot else {}
        told = {"age_s": status.age_s, "fresh": status.fresh, "problem": status.problem}
        click.echo(json.dumps(shown | told, indent=2))
    elif status.snapshot:
        click.echo("\n".join(lines(status.snapshot)))
    if not status.fresh:
        _warn(status)
        raise click.exceptions.Exit(EXIT_STALE)


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
    name = NAMES.get(channel.channel, channel.channel)
    if channel.value is None:
        return f"  {name:<10}  cannot tell: {channel.quality}"
    digits = 1 if channel.unit == "A" else 3
    value = f"{channel.value:z.{digits}f} {channel.unit}"
    return f"  {name:<10}  {value:>9}  (+-{channel.uncertainty:.{digits}f})"


def lockout_lines(lockout: LockoutView) -> list[str]:
    opened = (
        f"opened in {lockout.opened_in_s * 1000:.0f} ms"
        if lockout.opened_in_s is not None
        else "opening not confirmed"
    )
    return [
        f"  tripped by {lockout.tripped_by} at {lockout.wall}: {lockout.reason}",
        f"  {'NOT SEEN TO OPEN' if lockout.failed_to_open else opened}"
        f"{'' if lockout.stored else '; not yet on disk'}",
        f"  before a reset: {lockout.remedy}",
    ]


def _warn(status: Status) -> None:
    say(f"NO FRESH DATA: {status.problem}")
    say("  do not trust what is shown above; look at the bank itself")
