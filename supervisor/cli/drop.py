"""``holdwatch drop``."""

import os
from pathlib import Path

import click

from supervisor.cli.common import EXIT_FAILED, fail, run_dir_option, say
from supervisor.control.instance import is_claimed, kept_free
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.left_outputs import BY_HAND, LeftOutputs, Output


@click.command()
@run_dir_option()
@click.option(
    "--config",
    type=click.Path(path_type=Path),
    help="Settings file to go by where what the daemon wrote down is not sound. "
    "[default: that of the run folder's name in /etc/holdwatch]",
)
def command(run_dir: Path, config: Path | None) -> None:
    """Switch off what a killed daemon left on: coil first, then mains side, buzzer, lamp.

    Of every circuit that has its folder in the run folder, or of that folder itself.

    Which outputs those are, the daemon wrote down in its run folder when it took them. Where that
    is not sound, those of the settings are switched off, and somebody has to look. systemd calls
    it after every end. While a daemon is at work it does nothing, and while it is at work no
    daemon starts.
    """
    try:  # the GPIO library changes the working folder
        run_dir, config = run_dir.absolute(), config and config.absolute()
    except FileNotFoundError:
        raise fail(
            "holdwatch: the folder in which this was typed is gone\n"
            f"  why: {run_dir} is looked for from there\n"
            "  what to do: give whole paths, which begin with /"
        ) from None
    below, why_not_all = _folders_below(run_dir)
    folders = [folder for folder in (run_dir, *below) if _has_left(folder)]
    if not folders and not why_not_all:
        if is_claimed(run_dir):
            raise fail(_at_work(run_dir))
        say(f"nothing was left on in {run_dir}")
    are_off = [_drop(folder, config) for folder in folders]
    if why_not_all:
        raise fail(why_not_all)
    if not all(are_off):
        raise click.exceptions.Exit(EXIT_FAILED)


def _folders_below(run_dir: Path) -> tuple[list[Path], str]:
    """What may be one of a circuit; and why that is not all, in words."""
    try:
        return sorted(run_dir / name for name in os.listdir(run_dir)), ""
    except (FileNotFoundError, NotADirectoryError):
        problem, what_to_do = f"there is no folder {run_dir}", "give the daemon's --run-dir"
    except OSError as error:
        problem = f"the folder {run_dir} cannot be listed ({error.strerror})"
        what_to_do = "do it again with sudo, and give one circuit's own --run-dir"
    return [], (
        f"holdwatch: {problem}: what was left on below it cannot be told\n"
        "  why: a circuit whose daemon was killed may still be closed\n"
        f"  what to do: {what_to_do}; look at the contactor, and if it is\n"
        f"  closed, {BY_HAND}"
    )


def _has_left(folder: Path) -> bool:
    """Yes, when that cannot be told: then nobody says that nothing was left on."""
    try:
        LeftOutputs(folder).path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError:
        pass
    return True


def _drop(run_dir: Path, config: Path | None) -> bool:
    """Of one circuit; tells it. Whether nothing is left on."""
    left = LeftOutputs(run_dir)
    try:
        with kept_free(run_dir) as is_free:
            if not is_free:
                raise fail(_at_work(run_dir))
            if why := left.why_not_sound():
                raise _by_settings(left, why, config or _usual_config(run_dir))
            off = _switch_off(left)
    except click.exceptions.Exit:
        return False
    say(f"off: {_said(off)}" if off else f"nothing was left on in {run_dir}")
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


def _by_settings(left: LeftOutputs, why: str, config: Path) -> click.exceptions.Exit:
    """Switches off what they name; what to raise, once it is said."""
    from supervisor.settings.faults import SettingsFaults  # only here: loading them takes long
    from supervisor.settings.load import load_settings

    try:
        settings, _ = load_settings(config)
        off = left.switch_off_all_of(settings)
    except SettingsFaults as faults:
        done = f"nothing is switched off, as the settings cannot be used either:\n{faults}\n"
        remedy = f"{BY_HAND}; or name the settings of the killed daemon with --config"
    except HardwareMissing as missing:
        done, remedy = f"by {config}, {missing.problem}\n", missing.remedy
    else:
        done = f"off, by {config}: {_said(off)}\n"
        remedy = f"if it is closed, {BY_HAND}"
    return fail(
        f"holdwatch: {why}\n  {done}"
        "  why: the settings may have been edited since, so something else may be on\n"
        f"  what to do: look at the contactor; {remedy}; then remove {left.path}"
    )


def _usual_config(run_dir: Path) -> Path:
    from supervisor.cli.page_address import SETTINGS_DIR

    return SETTINGS_DIR / f"{run_dir.name}.yaml"


def _said(outputs: tuple[Output, ...]) -> str:
    return ", ".join(map(str, outputs))


def _at_work(run_dir: Path) -> str:
    return (
        f"holdwatch: a daemon is at work in {run_dir}, or nobody may see here whether one is: "
        "nothing is switched off\n"
        f"  what to do: holdwatch open --run-dir {run_dir}; if no daemon answers, sudo holdwatch "
        f"drop --run-dir {run_dir};\n"
        "  if that does not help, open the circuit by hand at the mains switch"
    )
