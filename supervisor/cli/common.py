"""What the commands share: folders, exit codes, and errors in words."""

import logging
import shlex
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import wraps
from pathlib import Path
from typing import Any

import click

from supervisor.devices.errors import HardwareMissing
from supervisor.settings.faults import SettingsFaults

EXIT_FAILED = 1
EXIT_HARDWARE = 69  # EX_UNAVAILABLE of sysexits.h
EXIT_STALE = 75  # EX_TEMPFAIL
EXIT_SETTINGS = 78  # EX_CONFIG

RUN_DIR = Path("/run/holdwatch")
SOCKET_NAME, OPEN_SOCKET_NAME, STATUS_NAME = "requests.sock", "open.sock", "status.json"
STATE_DIR = Path("/var/lib/holdwatch")

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


def run_dir_option(*, of_running: bool = False) -> Decorator:
    """Where a daemon keeps status and socket; ``of_running``: find it if there is just one."""
    option = click.option(
        "--run-dir",
        type=click.Path(path_type=Path, file_okay=False),
        default=RUN_DIR,
        show_default=True,
        help="Folder of status file and request socket (tmpfs).",
    )
    return (lambda command: option(_of_running(command))) if of_running else option


def _of_running(command: Callable[..., Any]) -> Callable[..., Any]:
    """Once everything that was typed is known: a refusal repeats it."""

    @wraps(command)
    def of_circuit(*, run_dir: Path, **others: Any) -> Any:
        return command(run_dir=find_circuit(run_dir), **others)

    return of_circuit


def circuits(run_dir: Path) -> list[Path]:
    """The folder itself and those below it that have a daemon's socket: units keep each circuit in
    a folder of its own."""
    sockets = (SOCKET_NAME, OPEN_SOCKET_NAME)
    patterns = (f"{folder}{name}" for folder in ("", "*/") for name in sockets)
    return sorted({socket.parent for pattern in patterns for socket in run_dir.glob(pattern)})


def find_circuit(run_dir: Path, for_all: str = "") -> Path:
    """The folder itself, or the one circuit below it. ``for_all``: an option that takes all.

    Raises UsageError when there are several to choose from.
    """
    if (run_dir / SOCKET_NAME).exists() or (run_dir / STATUS_NAME).exists():
        return run_dir
    found = circuits(run_dir)
    if len(found) > 1:
        lines = [_line("--run-dir", str(folder)) for folder in found]
        told = ["several circuits are supervised; say which one:", *lines]
        if for_all:
            told += ["or all of them:", _line(for_all)]
        raise click.UsageError("\n".join(told))
    return found[0] if found else run_dir


def _line(*words: str) -> str:
    """The command as it was typed and with these words, to be copied."""
    context = click.get_current_context()
    typed = [context.info_name or ""]
    for parameter in context.command.params:
        name = parameter.name or ""
        if name == "run_dir" and "--run-dir" in words:
            continue
        if context.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE:
            typed += _words_of(parameter, context.params[name])
    return f"  {shlex.join(['holdwatch', *typed, *words])}"


def _words_of(parameter: click.Parameter, value: object) -> list[str]:
    if isinstance(parameter, click.Option):
        return [parameter.opts[0], *([] if parameter.is_flag else [str(value)])]
    return [str(value)]


def state_dir_option() -> Decorator:
    return click.option(
        "--state-dir",
        type=click.Path(path_type=Path, file_okay=False),
        default=STATE_DIR,
        show_default=True,
        help="Folder of the lockout file and the journal; survives a restart.",
    )


def fail(text: str, code: int = EXIT_FAILED) -> "click.exceptions.Exit":
    """Say it on stderr; to be raised."""
    click.echo(text, err=True)
    return click.exceptions.Exit(code)


@contextmanager
def errors_in_words() -> Iterator[None]:
    """Settings faults and missing hardware end the command with their text and exit code."""
    try:
        yield
    except SettingsFaults as faults:
        raise fail(str(faults), EXIT_SETTINGS) from None
    except OSError as error:
        raise fail(f"holdwatch: {error}\n  what to do: look at that file or folder") from None
    except HardwareMissing as missing:
        problem = f"holdwatch: {missing.problem}\n  what to do: {missing.remedy}"
        raise fail(problem, EXIT_HARDWARE) from None


@contextmanager
def quiet_log() -> Iterator[None]:
    """For simulations: the results tell what happened."""
    logger = logging.getLogger("supervisor")
    before = logger.level
    logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        logger.setLevel(before)


def say(text: str) -> None:
    """Talk goes to stderr; data to stdout. Nobody listening is no reason to stop."""
    with suppress(OSError, ValueError):
        print(text, file=sys.stderr, flush=True)
