"""``holdwatch status``: what the daemon says now."""

import json
from pathlib import Path

import click

from supervisor.cli.common import EXIT_STALE, run_dir_option, say
from supervisor.cli.status_guidance import cue_lines, guidance_lines
from supervisor.protection.trip_names import trip_name
from supervisor.readings import in_words
from supervisor.snapshot import ChannelView, LockoutView, Moment, ProbeView, RuleView, Snapshot
from supervisor.status.status_file import Status, current, present_celsius

WARN_WITHIN_S = 1800.0
BEFORE_S = (60, 30, 10, 3, 1, 0)  # of the moments before a trip, those nearest to these are shown
CHANNELS = ("front_cell", "far_cell", "shunt")


@click.command()
@run_dir_option(of_running=True)
@click.option("--json", "as_json", is_flag=True, help="The whole status as JSON.")
@click.option("--qr", is_flag=True, help="The page's address instead, as a code for a phone.")
@click.option(
    "--config",
    type=click.Path(path_type=Path),
    help="Settings file, for --qr; else the circuit's in /etc/holdwatch.",
)
def command(run_dir: Path, as_json: bool, qr: bool, config: Path | None) -> None:
    """What the daemon says now. Exit 75 when it says nothing, or nothing fresh."""
    if qr:
        from supervisor.cli.page_address import tell_address

        tell_address(config, run_dir)
        return
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
    shown = [f"{snapshot.bank}{simulated}, profile {snapshot.profile}: {snapshot.circuit}"]
    shown += cue_lines(snapshot.guidance) if snapshot.guidance else []
    shown += [line for rule in snapshot.rules for line in warning_lines(rule)]
    shown += [channel_line(channel) for channel in snapshot.channels]
    shown += [probe_line(probe) for probe in snapshot.probes]
    shown += guidance_lines(snapshot.guidance) if snapshot.guidance else []
    if snapshot.lockout:
        shown += lockout_lines(snapshot.lockout)
        shown += before_lines(snapshot)
    elif snapshot.not_closing_because:
        shown += ["cannot be closed now:", *(f"  {why}" for why in snapshot.not_closing_because)]
    shown += [f"  {r.rule}: {r.state}, {r.reason}" for r in snapshot.rules if r.state != "clear"]
    shown += [f"  {missing.rule}: OFF, {missing.reason}" for missing in snapshot.without]
    if snapshot.rated_operations is not None:
        left = snapshot.rated_operations - snapshot.operations
        shown.append(f"contactor: closed {snapshot.operations} times, {left} left of its rating")
    if snapshot.journal.trouble:
        shown.append(f"NO RECORD IS KEPT: {snapshot.journal.trouble}")
    if snapshot.silent_s:
        shown.append(f"the buzzer is silent for {left_words(snapshot.silent_s)} more")
    if snapshot.uncommissioned:
        shown.append(f"not commissioned, accepted: {snapshot.uncommissioned}")
    return shown


def warning_lines(rule: RuleView) -> list[str]:
    """Of a rule that is on its way to a trip, or will be soon."""
    if rule.left_s is None or rule.state == "trip":
        return []
    if rule.state == "clear" and rule.left_s >= WARN_WITHIN_S:
        return []
    return [f"WARNING: {rule.rule} trips in {left_words(rule.left_s)} if nothing changes"]


def left_words(left_s: float) -> str:
    """Rounded down: nobody is to have less time than was said."""
    for unit, seconds in (("h", 3600), ("min", 60)):
        if left_s >= 2 * seconds:
            return f"{left_s // seconds:.0f} {unit}"
    return f"{left_s // 1:.0f} s" if left_s >= 1 else "less than 1 s"


def channel_line(channel: ChannelView) -> str:
    name = in_words(channel.channel)
    if channel.value is None:
        return f"  {name:<11}  cannot tell: {channel.quality}"
    uncertainty = figure(channel.uncertainty, channel.unit).split()[0]
    if not float(uncertainty):  # a small shunt: nothing is known to nothing
        uncertainty = f"{channel.uncertainty:.2g}"
    return f"  {name:<11}  {figure(channel.value, channel.unit):>9}  (+-{uncertainty})"


def probe_line(probe: ProbeView) -> str:
    name = probe.place.replace("_", " ")
    celsius = present_celsius(probe)
    if celsius is None:
        flaw = "old reading" if probe.celsius is not None else probe.quality
        return f"  {name:<11}  cannot tell: {flaw}  ({probe.probe})"
    return f"  {name:<11}  {figure(celsius, '°C'):>9}  ({probe.probe})"


def lockout_lines(lockout: LockoutView) -> list[str]:
    opened = (
        f"opened in {lockout.opened_in_s * 1000:.0f} ms"
        if lockout.opened_in_s is not None
        else "its opening was not seen"
    )
    at = f"{lockout.wall[:19].replace('T', ' ')} UTC"
    return [
        f"  tripped by {trip_name(lockout.tripped_by)} at {at}: {lockout.reason}",
        f"  {'NOT SEEN TO OPEN' if lockout.failed_to_open else opened}"
        f"{'' if lockout.stored else '; not yet on disk'}",
        f"  before a reset: {lockout.remedy}",
    ]


def before_lines(snapshot: Snapshot) -> list[str]:
    """A short table of what led to the lockout, 40 columns wide."""
    before = snapshot.lockout.before if snapshot.lockout else ()
    if not before:
        return []
    rows = dict.fromkeys(min(before, key=lambda m: abs(m.before_s - s)) for s in BEFORE_S)
    channels = [name for name in CHANNELS if snapshot.channel(name)]
    head = "".join(f"{in_words(name):>11}" for name in channels)
    return ["  before the trip:", f"  {'':5}{head}", *(moment_line(m, channels) for m in rows)]


def moment_line(moment: Moment, channels: list[str]) -> str:
    before = f"{moment.before_s:.{0 if moment.before_s >= 10 else 1}f} s"
    values = [getattr(moment, name) for name in channels]
    units = ["A" if name == "shunt" else "V" for name in channels]
    told = ["no reading" if v is None else figure(v, u) for v, u in zip(values, units, strict=True)]
    return f"  {before:>5}" + "".join(f"{cell:>11}" for cell in told)


def figure(value: float, unit: str) -> str:
    return f"{value:z.{1 if unit in ('A', '°C') else 3}f} {unit}"
