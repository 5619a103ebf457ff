"""``holdwatch run``: the daemon."""

import signal
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from supervisor.cli import lean  # noqa: F401  before what it spares us
from supervisor.cli.common import errors_in_words, fail, run_dir_option, say, state_dir_option
from supervisor.cli.log import BackgroundLog
from supervisor.control.assemble import assemble
from supervisor.control.in_memory import freeze, lock_in_memory
from supervisor.control.instance import claim
from supervisor.control.loop import Loop
from supervisor.control.publisher import StatusFile
from supervisor.control.requests import SOCKET_NAME, request_sockets
from supervisor.devices.clock import MonotonicClock
from supervisor.devices.i2c import KernelI2C
from supervisor.devices.left_outputs import LeftOutputs
from supervisor.devices.pins import open_pin_factory
from supervisor.devices.protocols import Clock
from supervisor.journal.writer import Writer
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.fitness import load_fit

if TYPE_CHECKING:
    from supervisor.devices.protocols import I2CBus

# Whatever can be caught and would end or stop the process with the coil on.
ENDING_SIGNALS = (
    signal.SIGTERM,
    signal.SIGINT,
    signal.SIGHUP,
    signal.SIGQUIT,
    signal.SIGABRT,
    signal.SIGALRM,
    signal.SIGUSR1,
    signal.SIGUSR2,
)
STOPPING_SIGNALS = (signal.SIGTSTP, signal.SIGTTIN, signal.SIGTTOU)
LONGEST_SOCKET_PATH = 107  # sockaddr_un


@click.command()
@click.argument("settings_file", required=False, type=click.Path(path_type=Path), metavar="[FILE]")
@click.option(
    "--simulate",
    "scenario_file",
    type=click.Path(path_type=Path),
    help="Run on a simulated bank, in real time, instead of real devices.",
)
@run_dir_option()
@state_dir_option()
@click.pass_context
def command(
    context: click.Context,
    settings_file: Path | None,
    scenario_file: Path | None,
    run_dir: Path,
    state_dir: Path,
) -> None:
    """Supervise the circuit of a settings FILE (usually /etc/holdwatch/NAME.yaml).

    Starts open, always. Ends open: on SIGTERM, SIGINT and SIGHUP it opens first, then leaves.
    """
    if (settings_file is None) == (scenario_file is None):
        raise click.UsageError("give either a settings FILE or --simulate SCENARIO")
    if scenario_file is not None and _is_default(context, "run_dir", "state_dir"):
        raise click.UsageError(
            "--simulate needs a --run-dir and a --state-dir of its own: "
            "those of a real circuit are not for playing"
        )
    # The GPIO library changes the working folder.
    run_dir, state_dir = run_dir.absolute(), state_dir.absolute()
    _check_folders(run_dir, state_dir)
    log = BackgroundLog()
    try:
        with errors_in_words():
            claim(run_dir)
            claim(state_dir)
            if scenario_file is not None:
                _run_simulated(scenario_file, run_dir, state_dir)
            elif settings_file is not None:
                _run_real(settings_file, run_dir, state_dir)
    finally:
        log.close()


def _is_default(context: click.Context, *names: str) -> bool:
    default = click.core.ParameterSource.DEFAULT
    return any(context.get_parameter_source(name) is default for name in names)


def _run_real(settings_file: Path, run_dir: Path, state_dir: Path) -> None:
    left = LeftOutputs(run_dir)
    # Before the settings: these need not have all of them, and a fault there is not tried again.
    for output in left.switch_off():
        say(f"a run that was killed left it to this one to switch off: {output}")
    settings = load_fit(settings_file)

    def open_bus() -> "I2CBus":
        return KernelI2C(settings.bus.number, settings.bus.deadline_milliseconds / 1000)

    open_bus().close()  # missing hardware is told now, not cycle by cycle
    clock = MonotonicClock()
    status = StatusFile(run_dir)
    loop = assemble(
        settings,
        clock=clock,
        open_bus=open_bus,
        pin_factory=open_pin_factory(settings.gpio.chip_label, run_dir),
        state_dir=state_dir,
        inboxes=request_sockets(run_dir, clock),
        publisher=status,
        simulated=False,
        journal=_journal(settings, state_dir, clock),
    )
    left.write(settings)
    lock_in_memory()
    _supervise(loop, [status, left], settings.bank.name)


def _run_simulated(scenario_file: Path, run_dir: Path, state_dir: Path) -> None:
    from supervisor.bench.rig import Rig
    from supervisor.bench.scenario import load_scenario

    clock = MonotonicClock()
    scenario, settings = load_scenario(scenario_file)
    if any(act.kill for act in scenario.timeline):
        say("this scenario kills the daemon; here that is left to you: drill and demo play it")
    status = StatusFile(run_dir)
    rig = Rig(
        scenario,
        settings,
        clock=clock,
        state_dir=state_dir,
        publisher=status,
        inboxes=request_sockets(run_dir, clock),
        journal=_journal(settings, state_dir, clock),
    )
    _supervise(
        rig.loop,
        [status],
        f"{settings.bank.name} (simulated: {scenario.name}; its operator acts too)",
    )


def _journal(settings: SupervisorSettings, state_dir: Path, clock: Clock) -> Writer:
    most_bytes = round(settings.journal.most_megabytes * 1_000_000)
    return Writer(state_dir, most_bytes, lambda: clock.wall().timestamp())


def _supervise(loop: Loop, files: Sequence[StatusFile | LeftOutputs], name: str) -> None:
    """Until it has left. ``files`` are there as long as the circuit is supervised."""
    for number in ENDING_SIGNALS:
        signal.signal(number, _leaves(loop))
    for number in STOPPING_SIGNALS:
        signal.signal(number, signal.SIG_IGN)
    freeze()
    say(f"supervising {name}; the circuit is {loop.guard.circuit.value}")
    try:
        loop.run()
    finally:
        loop.close()
        for file in files:
            file.remove()
    say("the coil is off; ended")


def _leaves(loop: Loop) -> Callable[..., None]:
    return lambda *_: loop.leave()


def _check_folders(run_dir: Path, state_dir: Path) -> None:
    """Writable, not one and the same, and short enough for a socket."""
    _make_writable(run_dir)
    _make_writable(state_dir)
    if run_dir.resolve() == state_dir.resolve():
        raise fail(
            f"holdwatch: {run_dir} cannot be both run and state folder\n"
            "  why: the run folder is forgotten at a restart, and the lockout must not be\n"
            "  what to do: give two different folders"
        )
    if len(bytes(run_dir / SOCKET_NAME)) > LONGEST_SOCKET_PATH:
        raise fail(
            f"holdwatch: the path {run_dir} is too long\n"
            f"  why: the path of a Unix socket has {LONGEST_SOCKET_PATH} bytes at most\n"
            "  what to do: choose a shorter one with --run-dir"
        )


def _make_writable(folder: Path) -> None:
    """The folder, made if it can be; else say what to do."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / ".writable"
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise fail(
            f"holdwatch: cannot write in {folder} ({error.strerror})\n"
            "  why: status, requests and lockout are kept there; without them it must not run\n"
            "  what to do: create it for this user, or choose another with --run-dir, --state-dir"
        ) from None
