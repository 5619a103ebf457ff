"""``holdwatch host-check``: is this machine fit to run the daemon unattended?"""

import json
import os
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import click

from supervisor.cli.common import (
    EXIT_FAILED,
    EXIT_SETTINGS,
    RUN_DIR,
    STATE_DIR,
    run_dir_option,
    say,
    state_dir_option,
)
from supervisor.cli.page_address import SETTINGS_DIR
from supervisor.host.check import count, examine_host
from supervisor.host.check_answer import Finding, State
from supervisor.host.check_host import Host
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.sizing.fitness import Examined, examine

OF_MESSAGES = ".messages"
HEADINGS = {
    State.FAULT: "Faults, to be seen to first",
    State.WARNING: "Warnings",
    State.CANNOT_TELL: "Cannot tell",
    State.NOTE: "Notes",
    State.GOOD: "Good",
}


@click.command("host-check")
@click.option(
    "--config",
    type=click.Path(path_type=Path),
    help="Settings file; left out: the one in /etc/holdwatch.",
)
@run_dir_option()
@state_dir_option()
@click.option("--json", "as_json", is_flag=True, help="The findings as JSON.")
def command(config: Path | None, run_dir: Path, state_dir: Path, as_json: bool) -> None:
    """Is this machine fit to run the daemon unattended? Each finding with its remedy.

    Changes nothing; a file without a name in the state folder shows whether that takes what is
    written. As root it can tell more. While a daemon is at work, bus and pins are
    left alone. Folders left out: those that the service gives to the circuit of the settings.

    \b
    --json: a list of findings, the worst first, each with
      id      lasting name of the check, such as bus.speed
      about   which one, where a check looks at several
      group   as it is headed in the text
      state   fault, warning, cannot tell, note or good
      found, means, remedy    in words; empty: nothing to say

    Exit 0 without a fault, 1 with one, 78 when the settings are at fault.
    """
    config = config or _only_settings()
    host, faults = _host(config, run_dir, state_dir)
    if not host.machine.there("/proc/self"):
        say(
            "There is no /proc here, so most of it cannot be told.\n"
            "  what to do: mount /proc (sudo mount -t proc proc /proc), then run this again"
        )
    findings = examine_host(host)
    if as_json:
        click.echo(json.dumps([asdict(finding) for finding in findings], indent=2))
    else:
        _show(host, findings)
    if faults:
        say(str(SettingsFaults(faults)))
        raise click.exceptions.Exit(EXIT_SETTINGS)
    if count(findings, State.FAULT):
        raise click.exceptions.Exit(EXIT_FAILED)


def _only_settings() -> Path | None:
    """The one that is there; None without. Raises UsageError when there are several."""
    try:
        found = sorted(SETTINGS_DIR.glob("*.yaml"))
    except OSError:
        return None
    circuits = [path for path in found if not path.stem.endswith(OF_MESSAGES)]
    if len(circuits) > 1:
        names = ", ".join(map(str, circuits))
        raise click.UsageError(f"several circuits have settings; give --config, one of: {names}")
    return circuits[0] if circuits else None


def _host(config: Path | None, run_dir: Path, state_dir: Path) -> tuple[Host, tuple[Fault, ...]]:
    """The folders are those of the unit, unless others are named."""
    if config is None:
        return Host(run_dir.absolute(), state_dir.absolute()), ()
    may_read = os.access(config, os.R_OK) or not config.exists()
    examined = examine(config) if may_read else Examined(None, ())
    return Host(
        (RUN_DIR / config.stem if run_dir == RUN_DIR else run_dir).absolute(),
        (STATE_DIR / config.stem if state_dir == STATE_DIR else state_dir).absolute(),
        config.absolute(),
        None if examined.faults else examined.settings,
        len(examined.faults),
    ), examined.faults


# --- words


def _show(host: Host, findings: list[Finding]) -> None:
    from supervisor.cli.check_words import console, print_wrapped  # rich: only for text

    paper = console()
    for lead, text in _lines(host, findings):
        print_wrapped(paper, lead, text) if text else paper.print()
    print_wrapped(paper, "", verdict(findings))


def _lines(host: Host, findings: list[Finding]) -> Iterator[tuple[str, str]]:
    """Lead and text of each line; an empty one is a gap."""
    where = host.machine.model or "this machine"
    yield "", f"{where}, for {host.circuit}" if host.circuit else f"{where}, without settings"
    for state, heading in HEADINGS.items():
        of_state = [finding for finding in findings if finding.state is state]
        if of_state:
            yield "", ""
            yield "", f"{heading}:"
        for finding in of_state:
            yield "  ", f"{finding.group}: {finding.found}"
            if finding.means:
                yield "      ", f"why it matters: {finding.means}"
            if finding.remedy:
                yield "      ", f"what to do: {finding.remedy}"
    yield "", ""


def verdict(findings: list[Finding]) -> str:
    """The last line: fit, fit but, not fit."""
    counts = {state: count(findings, state) for state in State}
    faults, warnings, unknown = (
        counts[state] for state in (State.FAULT, State.WARNING, State.CANNOT_TELL)
    )
    but = [
        _counted(warnings, "warning", "warnings"),
        _counted(unknown, "thing it cannot tell", "things it cannot tell"),
    ]
    told = " and ".join(words for words in but if words)
    if faults:
        return f"NOT FIT: {_counted(faults, 'fault', 'faults')}" + (f", {told}" if told else "")
    return f"fit, but: {told}" if told else "fit: the daemon may run unattended on this machine"


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}" if number else ""
