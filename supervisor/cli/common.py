"""What the commands share: folders, exit codes, and errors in words."""

import logging
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
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
SOCKET_NAME, STATUS_NAME = "requests.sock", "status.json"
STATE_DIR = Path("/var/lib/holdwatch")

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


def run_dir_option(*, of_running: bool = False) -> Decorator:
    """Where a daemon keeps status and socket; ``of_running``: find it if there is just one."""
    return click.option(
        "--run-dir",
        type=click.Path(path_type=Path, file_okay=False),
        default=RUN_DIR,
        show_default=True,
        callback=(lambda _context, _option, value: find_circuit(value)) if of_running else None,
        help="Folder of status file and request socket (tmpfs).",
    )


def find_circuit(run_dir: Path) -> Path:
    """The folder itself, or the one circuit below it: units keep each in a folder of its own.

    Raises UsageError when there are several to choose from.
    """
    if (run_dir / SOCKET_NAME).exists() or (run_dir / STATUS_NAME).exists():
        return run_dir
    circuits = sorted(socket.parent for socket in run_dir.glob(f"*/{SOCKET_NAME}"))
    if len(circuits) > 1:
        names = ", ".join(map(str, circuits))
        raise click.UsageError(f"several circuits are supervised; give --run-dir, one of: {names}")
    return circuits[0] if circuits else run_dir


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
