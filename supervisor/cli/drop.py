"""``holdwatch drop``."""

from pathlib import Path

import click

from supervisor.cli.common import EXIT_FAILED, fail, run_dir_option, say
from supervisor.control.instance import is_claimed, kept_free
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.left_outputs import LeftOutputs, Output


@click.command()
@run_dir_option()
def command(run_dir: Path) -> None:
    """Switch off what a killed daemon left on: coil first, then mains side, buzzer, lamp.

    Of every circuit that has its folder in the run folder, or of that folder itself.

    Which outputs those are, the daemon wrote down in its run folder when it took them; no settings
    are read. systemd calls it after every end. While a daemon is at work it does nothing, and while
    it is at work no daemon starts.
    """
    if not run_dir.is_dir():
        raise fail(
            f"holdwatch: there is no folder {run_dir}: what was left on cannot be told\n"
            "  what to do: give the daemon's --run-dir; look at the contactor, and if it is\n"
            "  closed, open the circuit by hand at the mains switch"
        )
    folders = [folder for folder in (run_dir, *sorted(run_dir.glob("*/"))) if _has_left(folder)]
    if not folders and is_claimed(run_dir):
        raise fail(_at_work(run_dir))
    if not folders:
        say(f"nothing was left on in {run_dir}")
    are_off = [_drop(folder) for folder in folders]
    if not all(are_off):
        raise click.exceptions.Exit(EXIT_FAILED)


def _has_left(folder: Path) -> bool:
    """Yes, when that cannot be told: then nobody says that nothing was left on."""
    try:
        LeftOutputs(folder).path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError:
        pass
    return True


def _drop(run_dir: Path) -> bool:
    """Of one circuit; tells it. Whether nothing is left on."""
    try:
        with kept_free(run_dir) as is_free:
            if not is_free:
                raise fail(_at_work(run_dir))
            off = _switch_off(LeftOutputs(run_dir))
    except click.exceptions.Exit:
        return False
    say(f"off: {', '.join(map(str, off))}" if off else f"nothing was left on in {run_dir}")
    return True


def _switch_off(left: LeftOutputs) -> tuple[Output, ...]:
    try:
        return left.switch_off()
    except HardwareMissing as missing:
        raise fail(f"holdwatch: {missing.problem}\n  what to do: {missing.remedy}") from None
    except OSError as error:
        raise fail(
            f"holdwatch: all are off, but {left.path} is still there ({error.strerror})\n"
            "  what to do: remove that file with sudo: a later `drop` would switch them off again"
        ) from None


def _at_work(run_dir: Path) -> str:
    return (
        f"holdwatch: a daemon is at work in {run_dir}, or nobody may see here whether one is: "
        "nothing is switched off\n"
        f"  what to do: holdwatch open --run-dir {run_dir}; if no daemon answers, sudo holdwatch "
        f"drop --run-dir {run_dir};\n"
        "  if that does not help, open the circuit by hand at the mains switch"
    )
