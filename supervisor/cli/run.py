"""``holdwatch run``: the daemon."""

import logging
import signal
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from supervisor.cli.common import errors_in_words, fail, run_dir_option, say, state_dir_option
from supervisor.control.assemble import assemble
from supervisor.control.instance import claim
from supervisor.control.loop import Loop
from supervisor.control.publisher import StatusFile
from supervisor.control.requests import RequestSocket
from supervisor.devices.clock import MonotonicClock
from supervisor.devices.i2c import KernelI2C
from supervisor.devices.pins import open_pin_factory
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.fitness import load_fit

if TYPE_CHECKING:
    from supervisor.devices.protocols import I2CBus

ENDING_SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)


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
def command(
    settings_file: Path | None, scenario_file: Path | None, run_dir: Path, state_dir: Path
) -> None:
    """Supervise the circuit of a settings FILE (usually /etc/holdwatch/NAME.yaml).

    Starts open, always. Ends open: on SIGTERM, SIGINT and SIGHUP it opens first, then leaves.
    """
    if (settings_file is None) == (scenario_file is None):
        raise click.UsageError("give either a settings FILE or --simulate SCENARIO")
    logging.basicConfig(format="%(levelname)s %(name)s: %(message)s", level=logging.INFO)
    _make_writable(run_dir)
    _make_writable(state_dir)
    with errors_in_words():
        claim(run_dir)
        if state_dir.resolve() != run_dir.resolve():
            claim(state_dir)
        if scenario_file is not None:
            _run_simulated(scenario_file, run_dir, state_dir)
        elif settings_file is not None:
            _run_real(load_fit(settings_file), run_dir, state_dir)


def _run_real(settings: SupervisorSettings, run_dir: Path, state_dir: Path) -> None:
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
        inboxes=[RequestSocket(run_dir, clock)],
        publisher=status,
        simulated=False,
    )
    _supervise(loop, status, settings.bank.name)


def _run_simulated(scenario_file: Path, run_dir: Path, state_dir: Path) -> None:
    from supervisor.bench.rig import Rig
    from supervisor.bench.scenario import load_scenario

    clock = MonotonicClock()
    scenario, settings = load_scenario(scenario_file)
    status = StatusFile(run_dir)
    rig = Rig(
        scenario,
        settings,
        clock=clock,
        state_dir=state_dir,
        publisher=status,
        inboxes=[RequestSocket(run_dir, clock)],
    )
    _supervise(rig.loop, status, f"{settings.bank.name} (simulated: {scenario.name})")


def _supervise(loop: Loop, status: StatusFile, name: str) -> None:
    handlers = {number: signal.signal(number, _leaves(loop)) for number in ENDING_SIGNALS}
    say(f"supervising {name}; the circuit is {loop.guard.circuit.value}")
    try:
        loop.run()
    finally:
        loop.close()
        status.remove()
        for number, handler in handlers.items():
            signal.signal(number, handler)
    say("the coil is off; ended")


def _leaves(loop: Loop) -> Callable[..., None]:
    return lambda *_: loop.leave()


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
