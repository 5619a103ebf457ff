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
STATE_DIR = Path("/var/lib/holdwatch")

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


def run_dir_option() -> Decorator:
    return click.option(
        "--run-dir",
        type=click.Path(path_type=Path, file_okay=False),
        default=RUN_DIR,
        show_default=True,
        help="Folder of status file and request socket (tmpfs).",
    )


def state_dir_option() -> Decorator:
    return click.option(
        "--state-dir",
        type=click.Path(path_type=Path, file_okay=False),
        default=STATE_DIR,
        show_default=True,
        help="Folder of the lockout file; survives a restart.",
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
