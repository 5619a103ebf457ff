"""The command ``holdwatch``. Each command lives in a file of its own, loaded when it is called."""

import importlib
import io
import sys

import click

from supervisor import __version__

COMMANDS = {
    "demo": "The whole job in the simulator, in about two minutes.",
    "run": "Supervise a circuit: the daemon.",
    "web": "Serve the page, /api/status and /metrics.",
    "messages": "Tell people away from the machine what they have to know.",
    "check": "Check a settings file; limits, guard bands, response.",
    "commission": "Try a new build step by step, and keep the record.",
    "calibrate": "One channel against a reference meter.",
    "host-check": "Is this machine fit to run the daemon unattended?",
    "drill": "Run scenario files against the simulator.",
    "campaign": "Random builds, operators and faults against the simulator.",
    "report": "A session's record as one page: plots, figures, trips.",
    "sessions": "What the journal holds; remove a session.",
    "export": "A session's record as tables for other programs.",
    "status": "What the daemon says now.",
    "close": "Ask the daemon to close the contactor.",
    "open": "Ask the daemon to open the contactor.",
    "drop": "Switch off what a killed daemon left on.",
    "silence": "Keep the buzzer quiet for a while.",
    "reset": "Reset a lockout, with a reason.",
    "install-units": "Make a service of it: units, users, manual page.",
}


class LazyGroup(click.Group):
    """Loads a command's module only when it is used: ``run`` must stay small."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  # click's signature
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002  # click's signature
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"supervisor.cli.{cmd_name.replace('-', '_')}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002  # click's signature
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="holdwatch")
def main() -> None:
    """Supervisor for the first full charge of a bank of lithium iron phosphate cells.

    It watches cell voltage and current, and opens the contactor before harm. It does not replace
    fuses, the cell maker's data sheet, local codes, or a licensed electrician.
    """
    for stream in (sys.stdout, sys.stderr):  # a terminal that lacks a letter shows another
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
