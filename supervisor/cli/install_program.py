"""Which holdwatch the units of ``install-units`` start, and whether it will be there."""

import stat
from pathlib import Path, PurePath

import click

from supervisor.cli.common import fail, say
from supervisor.host.install_executable import (
    Unfit,
    own_executable,
    refuse_odd,
    refuse_out_of_reach,
)

WHY = "  why it matters: the service would not start, and nothing would watch\n"
MOST_LINKS = 40  # as the kernel follows: path_resolution(7)


def program_to_start(given: Path | None, root: Path, *, is_live: bool) -> Path:
    """``given`` as it is to be called on the machine below ``root``; None: this one.

    Raises Exit, with words said, when the units cannot start it; UsageError when there is nothing
    to start.
    """
    try:
        program = given or own_executable()
        refuse_odd(program)
        if given:
            _refuse_lacking(program, root)
        if is_live:
            refuse_out_of_reach(program)
    except Unfit as unfit:
        raise fail(
            f"holdwatch: nothing was done: {unfit}\n{WHY}  what to do: {unfit.remedy}"
        ) from None
    if not given and (problem := lack(program, root)):
        say(f"{problem}: the units start it, so put it there before that system starts")
    return program


def _refuse_lacking(program: Path, root: Path) -> None:
    if problem := lack(program, root):
        raise click.BadParameter(
            f"nothing was done: {problem}\n{WHY}"
            "  what to do: put the program there first, or give the path it has on that system",
            param_hint="--executable",
        )


def lack(program: Path, root: Path) -> str:
    """What there is instead of a program; empty when it can be run."""
    lies = below(root, program)
    try:
        mode = lies.stat().st_mode
    except OSError:
        mode = 0
    if not stat.S_ISREG(mode):
        return f"there is no program {root / program.relative_to('/')}"
    if not mode & (stat.S_IXUSR | stat.S_IXGRP | stat.S_IXOTH):
        return f"{lies} may be run by nobody (mode {stat.S_IMODE(mode):04o})"
    return ""


def below(root: Path, path: PurePath) -> Path:
    """Where a path leads on the machine with this root: a link from / on begins at the root."""
    there, parts, links = PurePath("/"), list(path.parts), 0
    while parts:
        part = parts.pop(0)
        next_ = there.parent if part == ".." else there / part  # "/" leads back to the root
        lies = root / next_.relative_to("/")
        if lies.is_symlink() and links < MOST_LINKS:
            links += 1
            parts = [*lies.readlink().parts, *parts]
        else:
            there = next_
    return root / there.relative_to("/")
