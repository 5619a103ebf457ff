"""``holdwatch drop``."""

from os.path import lexists
from pathlib import Path

import click

from supervisor.cli.common import fail, run_dir_option, say
from supervisor.control.instance import is_claimed
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.left_outputs import LeftOutputs


@click.command()
@run_dir_option()
def command(run_dir: Path) -> None:
    """Switch off what a killed daemon left on: coil first, then mains side, buzzer, lamp.

    Which outputs those are, the daemon wrote down in its run folder when it took them; no settings
    are read. systemd calls it after every end. While a daemon is at work it does nothing.
    """
    left = LeftOutputs(run_dir)
    if lexists(left.path) and is_claimed(run_dir):
        raise fail(
            f"holdwatch: a daemon is at work in {run_dir} and holds the outputs: nothing is "
            "switched off\n"
            f"  what to do: holdwatch open --run-dir {run_dir}; if that does not answer, open the\n"
            "  circuit by hand at the mains switch"
        )
    try:
        off = left.switch_off()
    except HardwareMissing as missing:
        raise fail(f"holdwatch: {missing.problem}\n  what to do: {missing.remedy}") from None
    say(f"off: {', '.join(map(str, off))}" if off else f"nothing was left on in {run_dir}")
