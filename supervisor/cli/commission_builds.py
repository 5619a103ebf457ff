"""Whose parts and whose hands a walk has: a simulated build's, or this machine's."""

import getpass
import os
import signal
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from supervisor.cli.commission_bench import (
    Asked,
    CommissionBench,
    owned_like_its_folder,
    taken_over,
)
from supervisor.cli.commission_file import SettingsFile
from supervisor.cli.commission_text import show
from supervisor.cli.common import EXIT_HARDWARE, RUN_DIR, STATE_DIR, fail, quiet_log
from supervisor.cli.page_address import SETTINGS_DIR
from supervisor.cli.person_at_terminal import PersonAtTerminal
from supervisor.cli.person_by_answers import PersonByAnswers
from supervisor.cli.real_build import RealBuild
from supervisor.commissioning.person import Person
from supervisor.control.build_record import BuildRecord
from supervisor.control.instance import FILE_NAME as LOCK_NAME
from supervisor.control.instance import claim
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.left_outputs import LeftOutputs
from supervisor.settings.model import SupervisorSettings


@contextmanager
def commission_bench(asked: Asked) -> Iterator[CommissionBench]:
    """Raises SettingsFaults, HardwareMissing, OSError; exits for what is used wrongly."""
    _check(asked)
    file = SettingsFile(asked.config, asked.profile)
    console = Console(stderr=True, highlight=False)
    with ExitStack() as stack:
        stack.enter_context(quiet_log())
        make = _simulated if asked.simulate else _real
        yield make(asked, file, console, stack)


def record_of(asked: Asked) -> BuildRecord:
    """For who only reads it, a daemon at work or not."""
    return BuildRecord(asked.state_dir or _usual(STATE_DIR, asked.config))


def _check(asked: Asked) -> None:
    if asked.defect and not asked.simulate:
        raise click.UsageError("--defect is planted in a simulated build: give --simulate too")
    if asked.yes and not asked.simulate and asked.answers is None:
        raise click.UsageError("--yes answers nothing on a real build: give --answers FILE")
    if asked.simulate and asked.state_dir and asked.state_dir.absolute().is_relative_to(STATE_DIR):
        raise click.UsageError(
            "--simulate needs a --state-dir of its own: those of a real circuit are not for playing"
        )


# --- a simulated build


def _simulated(
    asked: Asked, file: SettingsFile, console: Console, stack: ExitStack
) -> CommissionBench:
    from supervisor.bench.commissioning.build import SimulatedBuild
    from supervisor.bench.commissioning.defects import DEFECTS, SOUND
    from supervisor.bench.commissioning.hands import SimulatedHands
    from supervisor.simulator.parts.plant import PlantSettings

    if asked.defect and asked.defect not in DEFECTS:
        known = "\n".join(f"  {name}: {defect.about}" for name, defect in DEFECTS.items())
        raise click.UsageError(f"there is no defect {asked.defect!r}; there are:\n{known}")
    defect = DEFECTS[asked.defect] if asked.defect else SOUND
    state_dir = asked.state_dir or Path(
        stack.enter_context(tempfile.TemporaryDirectory(prefix="holdwatch-commission-"))
    )
    state_dir.mkdir(parents=True, exist_ok=True)
    there, plant, tried = defect.built(file.settings, PlantSettings())
    if others := defect.tried_words:
        _teller(console, "")(
            f"SIMULATED: {asked.defect} is tried with {others}, which is not what the file says; "
            "--list judges by the file"
        )
    build = SimulatedBuild(there, plant, state_dir)
    defect.struck(build.world)
    hands = SimulatedHands(build, _teller(console, "> "))
    hands.name = asked.by or hands.name
    person: Person = hands
    if asked.answers:
        person = PersonByAnswers(asked.answers, tried, hands.name, hands.does, _teller(console, ""))
    record = _record(asked, state_dir, stack)
    bench = CommissionBench(asked, file, build, person, record, console)
    bench.settings = taken_over(tried, bench.lines)
    return bench


# --- a real one


def _real(asked: Asked, file: SettingsFile, console: Console, stack: ExitStack) -> CommissionBench:
    settings = file.settings
    name = asked.by or _user()
    tell = _teller(console, "")
    person: Person = PersonAtTerminal(name, console)
    if asked.answers:
        person = PersonByAnswers(asked.answers, settings, name, tell=tell)
    run_dir = (asked.run_dir or _usual(RUN_DIR, asked.config)).absolute()
    state_dir = (asked.state_dir or _usual(STATE_DIR, asked.config)).absolute()
    for folder in (run_dir, state_dir):
        _claim(folder, asked.config, stack)
    build = RealBuild(asked.config.absolute(), settings, run_dir, tell)
    stack.enter_context(_driven(build, settings, run_dir))
    record = _record(asked, state_dir, stack)
    return CommissionBench(asked, file, build, person, record, console)


@contextmanager
def _driven(build: RealBuild, settings: SupervisorSettings, run_dir: Path) -> Iterator[None]:
    """No end that can be helped leaves an output on; after any other, `drop` knows which."""
    left = LeftOutputs(run_dir)
    left.switch_off()
    build.open_bus().close()  # missing hardware is told now, not at its step
    with _ends_in_order():
        try:
            _pins = build.pin_factory
            left.write(settings)
            yield
        finally:
            build.close()
        left.remove()


@contextmanager
def _ends_in_order() -> Iterator[None]:
    """The first signal to end unwinds, and switches off on the way; no further one stops that."""
    from supervisor.cli.run import ENDING_SIGNALS, STOPPING_SIGNALS

    def ends(*_: object) -> None:
        for number in ENDING_SIGNALS:
            signal.signal(number, signal.SIG_IGN)
        raise KeyboardInterrupt

    acts: dict[int, Any] = dict.fromkeys(ENDING_SIGNALS, ends)
    acts |= dict.fromkeys(STOPPING_SIGNALS, signal.SIG_IGN)  # it would stop with the coil on
    before = {number: signal.signal(number, act) for number, act in acts.items()}
    try:
        yield
    finally:
        for number, act in before.items():
            signal.signal(number, act)


def _claim(folder: Path, config: Path, stack: ExitStack) -> None:
    """Folder and lock stay its owner's, so that the service can use them."""
    folder.mkdir(parents=True, exist_ok=True)
    try:
        stack.callback(os.close, claim(folder))
    except HardwareMissing:
        raise fail(
            f"holdwatch: a daemon is at work in {folder}\n"
            "  why: two would drive one coil\n"
            f"  what to do: holdwatch open, then sudo systemctl stop holdwatch@{config.stem}\n"
            "  (or end the `holdwatch run` that you have started), and do this again",
            EXIT_HARDWARE,
        ) from None
    owned_like_its_folder(folder / LOCK_NAME)


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a number without a name
        return f"user {os.getuid()}"


# --- both


def _usual(folder: Path, config: Path) -> Path:
    """That of the service for this file; else where `run` keeps it by default."""
    own = folder / config.stem
    is_of_service = config.absolute().parent == SETTINGS_DIR or own.is_dir()
    return own if is_of_service else folder


def _record(asked: Asked, state_dir: Path, stack: ExitStack) -> BuildRecord:
    """Without writing, a copy that is forgotten."""
    record = BuildRecord(state_dir)
    if asked.writes:
        return record
    folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="holdwatch-dry-"))
    return record.copied_to(Path(folder))


def _teller(console: Console, lead: str) -> Callable[[str], None]:
    return lambda text: show(console, ((lead, line) for line in text.splitlines()))
