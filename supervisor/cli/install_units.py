"""``holdwatch install-units``: the service's files put in place, and taken away again."""

import difflib
import os
import shlex
import shutil
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import click

import supervisor
from supervisor.cli.common import EXIT_FAILED, errors_in_words, fail, say
from supervisor.cli.install_program import program_to_start
from supervisor.host import install_system
from supervisor.host.install_executable import as_root
from supervisor.host.install_files import Done, Hindrance, Plan, plan, plan_removal, put, remove
from supervisor.host.shell_files import shell_files
from supervisor.host.unit_files import Found, State, Wanted, masks, unit_files

SETTINGS_FOLDER = "etc/holdwatch"
LONGEST_DIFF = 12  # lines of one file
EXAMPLES = Path(supervisor.__file__).parent / "examples"
MACHINE = Path("/")
PROC = Path("/proc/self")
TO_BE_SEEN_TO = (State.EDITED, State.UNREADABLE)  # ours, and still there after --undo


@click.command()
@click.option("--dry-run", is_flag=True, help="Say what would be done, and do nothing.")
@click.option("--undo", is_flag=True, help="Remove them again: those that nobody changed since.")
@click.option(
    "--root",
    type=click.Path(path_type=Path),
    callback=lambda _context, _option, root: _there(root),
    help="Take this folder for the machine's root, as for a package or an image; nothing is run. "
    "It must be there: a mistyped one is not made.",
)
@click.option(
    "--vendor", is_flag=True, help="With --root: the places of a package, below /usr/lib and so on."
)
@click.option(
    "--executable",
    type=click.Path(path_type=Path),
    help="The holdwatch that the units start, as its path is on that machine; left out: this one.",
)
def command(
    dry_run: bool, undo: bool, root: Path | None, vendor: bool, executable: Path | None
) -> None:
    """Make a service of it: units, users, manual page, shell completion.

    Overwrites nothing that it did not write itself, starts nothing and stops nothing. A file that
    somebody has changed is told, and then nothing at all is done.
    """
    below = (root or MACHINE).resolve()
    is_live = below == MACHINE
    if vendor and is_live:
        raise click.UsageError("--vendor goes with --root: what is in /usr/lib belongs to packages")
    if undo and executable:
        raise click.UsageError("--executable goes without --undo")
    if is_live and not dry_run and os.geteuid() != 0:
        typed = "install-units --undo" if undo else "install-units"
        raise fail(
            "holdwatch: nothing was done: only root may write these files\n"
            f"  what to do: {as_root(typed)}; or look first, with --dry-run"
        )
    with errors_in_words():
        if undo:
            _undo(below, vendor=vendor, is_live=is_live, dry_run=dry_run)
        else:
            on = Path("/") if is_live else below
            starts = program_to_start(executable, on, is_live=is_live)
            _install(below, starts, vendor=vendor, is_live=is_live, dry_run=dry_run)


def _there(root: Path | None) -> Path | None:
    if root is not None and not os.path.isdir(root):  # never raises
        raise click.BadParameter(
            f"nothing was done: there is no folder {root}\n"
            "  why it matters: one that was mistyped would be made, and the image stay without\n"
            f"  what to do: mount the image there, or mkdir -p {shlex.quote(str(root))}"
        )
    return root


def _wanted(executable: Path | None, *, vendor: bool) -> list[Wanted]:
    if not PROC.exists():  # the page of the manual is made of all commands, and run loads drivers
        raise fail(
            "holdwatch: nothing was done: there is no /proc here\n"
            "  why it matters: the drivers that the commands load look there for the board\n"
            "  what to do: mount /proc (sudo mount -t proc proc /proc), then run this again"
        )
    from supervisor.cli.main import main

    units = (
        unit_files(vendor=vendor)
        if executable is None
        else unit_files(str(executable), vendor=vendor)
    )
    return [*units, *shell_files(main, vendor=vendor)]


# --- putting them in place


def _install(root: Path, executable: Path, *, vendor: bool, is_live: bool, dry_run: bool) -> None:
    wanted = _wanted(executable, vendor=vendor)
    todo = plan(root, wanted, [SETTINGS_FOLDER], as_root=is_live)
    if dry_run:
        _tell_plan(todo)
    _refuse(todo.hindrances)
    for mask in masks(root, wanted):
        say(f"{mask} keeps that unit from running, and stays (systemctl unmask {mask.name})")
    if dry_run:
        _tell_commands(_commands(todo, is_live=is_live))
        return
    done = put(todo)
    for one in todo.found:
        if one.path in done.paths:
            click.echo(_line("replaced" if one.content else "written", one.path))
        elif one.state is State.IN_PLACE:
            click.echo(_line("unchanged", one.path))
    _tell_error(done, len(todo.changes))
    _run(_commands(todo, is_live=is_live))
    _tell_next(executable, is_live=is_live)


def _refuse(hindrances: Sequence[Hindrance]) -> None:
    if not hindrances:
        return
    many = "1 thing stands" if len(hindrances) == 1 else f"{len(hindrances)} things stand"
    lines = [f"holdwatch: nothing was done: {many} in the way"]
    for one in hindrances:
        lines += [f"{one.path}: {one.problem}", f"  what to do: {one.remedy}"]
    raise fail("\n".join(lines))


def _tell_plan(todo: Plan) -> None:
    for folder in todo.folders:
        if not folder.is_dir():
            click.echo(_line("would make", folder))
    for one in todo.found:
        if one.state is State.MISSING:
            click.echo(_line("would write", one.path))
        elif one.state is State.IN_PLACE:
            click.echo(_line("unchanged", one.path))
        elif one.state is State.OTHER_VERSION:
            click.echo(f"{_line('would replace', one.path)}: {one.detail}")
            click.echo("\n".join(_diff(one)))


def _diff(one: Found) -> Iterator[str]:
    before = one.content.decode("utf-8", "replace").splitlines()
    after = one.wanted.content.decode().splitlines()
    lines = list(difflib.unified_diff(before, after, n=0, lineterm=""))[2:]
    for line in lines[:LONGEST_DIFF]:
        yield f"    {line}"
    if len(lines) > LONGEST_DIFF:
        yield f"    ... and {len(lines) - LONGEST_DIFF} more lines"


def _line(what: str, path: Path) -> str:
    return f"{what:<14}{path}"


def _tell_error(done: Done, total: int) -> None:
    if done.error is None:
        return
    raise fail(
        f"holdwatch: it came no further than {len(done.paths)} of {total} files: {done.error}\n"
        "  why it matters: each file is whole, but some are of this version and some are not\n"
        "  what to do: see to that, and run it again"
    )


def _commands(todo: Plan, *, is_live: bool) -> list[list[str]]:
    """None where nothing changes, or where it is not this machine."""
    if not is_live or not install_system.is_running() or not todo.changes:
        return []
    return install_system.commands_after([one.path for one in todo.found])


def _tell_commands(commands: Iterable[Sequence[str]]) -> None:
    for one in commands:
        click.echo(f"{'would run':<14}{' '.join(one)}")


def _run(commands: Iterable[list[str]]) -> None:
    for one in commands:
        click.echo(f"{'run':<14}{' '.join(one)}")
        if said := install_system.run(one):
            raise fail(
                f"holdwatch: the files are in place, but {' '.join(one)} failed: {said}\n"
                "  why it matters: the service may not start until that is mended\n"
                "  what to do: see to it, and run that command again"
            )


def _tell_next(executable: Path, *, is_live: bool) -> None:
    if not is_live:
        say("nothing was run: users are made and units are read when that system starts")
        return
    if not install_system.is_running():
        say(
            "systemd does not run here: users are made and units are read when it starts; to make "
            "the users now: sudo systemd-sysusers"
        )
    elif at_work := install_system.units_at_work():
        say(
            "These go on as they were started, with what was there before:\n"
            f"  {' '.join(at_work)}\n"
            "To change over, when the circuit is open: sudo systemctl restart and that name.\n"
            "Restarting the daemon opens the circuit, and it stays open until somebody closes it."
        )
        return
    say(_next_steps(executable))


def _next_steps(executable: Path) -> str:
    steps = [
        (f"sudo cp {EXAMPLES}/hut-bank.yaml /etc/holdwatch/NAME.yaml", "then make it yours"),
        ("holdwatch check /etc/holdwatch/NAME.yaml", "until it finds no fault"),
        ("holdwatch host-check", "what is wrong with this machine"),
        ("sudo systemctl enable --now holdwatch@NAME", "the daemon"),
        ("sudo systemctl enable --now holdwatch-web@NAME", "the page"),
        ("sudo adduser YOU holdwatch", "to close and reset; log in anew. Anybody may open"),
        (
            f"sudo install -m 600 -o holdwatch-messages {EXAMPLES}/messages.yaml "
            "/etc/holdwatch/NAME.messages.yaml",
            "if messages are wanted; make it yours",
        ),
        ("sudo systemctl enable --now holdwatch-messages@NAME", "the messages"),
    ]
    if shutil.which("holdwatch") is None:
        steps.insert(0, (f"sudo ln -s {executable} /usr/local/bin/", "to call it by its name"))
    return "\n".join(
        [
            "Next, with a NAME of yours for the circuit:",
            *(f"  {step}\n      {why}" for step, why in steps),
            "Caution: the daemon starts open and closes on request only (holdwatch close). Ending",
            "or restarting it opens the circuit. Try the cutoff of your build, with a hand on the",
            "mains switch, before you trust it.",
        ]
    )


# --- taking them away


def _undo(root: Path, *, vendor: bool, is_live: bool, dry_run: bool) -> None:
    todo = plan_removal(root, _wanted(None, vendor=vendor), [SETTINGS_FOLDER], as_root=is_live)
    _refuse([*_still_used(root, is_live=is_live), *todo.hindrances])
    ours = [one.path for one in todo.found if one.is_ours]
    if dry_run:
        for path in ours:
            click.echo(_line("would remove", path))
    else:
        done = remove(todo)
        for path in done.paths:
            click.echo(_line("removed", path))
        _tell_error(done, len(ours))
        if ours and is_live and install_system.is_running():
            _run([install_system.RELOAD])
    if not ours:
        say("none of these files is there as holdwatch writes it: nothing to remove")
    _tell_left(root, todo)


def _still_used(root: Path, *, is_live: bool) -> list[Hindrance]:
    used = []
    if is_live and install_system.is_running():
        for unit in install_system.units_at_work():
            remedy = f"sudo systemctl stop {unit}: that opens its circuit"
            used.append(Hindrance(Path(unit), "it runs", remedy))
    for unit in install_system.units_enabled(root):
        remedy = f"sudo systemctl disable {unit}"
        used.append(Hindrance(Path(unit), "it is to start with the machine", remedy))
    return used


def _tell_left(root: Path, todo: Plan) -> None:
    left = [one for one in todo.found if one.hinders]
    for one in left:
        say(f"left alone: {one.path}: {one.state}: {one.detail}")
        if one.state in TO_BE_SEEN_TO:
            say(f"  what to do: {_by_hand(one)}")
    for folder in install_system.drop_ins(root):
        say(f"left alone: {folder}: settings of your own for a unit")
    kept = [
        f"{what} ({root / folder})"
        for folder, what in (
            (SETTINGS_FOLDER, "settings"),
            ("var/lib/holdwatch", "lockouts and journals"),
        )
        if _holds_something(root / folder)
    ]
    kept += ["the system's log", "the users and groups", "the program itself"]
    say(f"left as they are, where they are: {', '.join(kept)}")
    if any(one.state in TO_BE_SEEN_TO for one in left):
        raise click.exceptions.Exit(EXIT_FAILED)


def _by_hand(one: Found) -> str:
    if one.state is State.UNREADABLE:
        return one.remedy
    return f"sudo rm {one.path}, if nobody needs what was changed; then run this again"


def _holds_something(folder: Path) -> bool:
    """Yes, where this user may not look."""
    try:
        return any(folder.iterdir())
    except OSError as error:
        return not isinstance(error, FileNotFoundError)
