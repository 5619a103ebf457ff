"""All that a check may look at: the machine, the kernel's leaves, and what is to run on it."""

from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from supervisor.control.instance import is_claimed
from supervisor.host.check_config_txt import ConfigTxt
from supervisor.host.check_kernel import Kernel
from supervisor.host.check_machine import Machine, User
from supervisor.host.check_unit import Unit, daemon_unit
from supervisor.settings.hardware import Bus
from supervisor.settings.model import SupervisorSettings

RUN_DIR = "/run/holdwatch"


@dataclass
class Host:
    """``settings`` is None when there are none or they are at fault; ``circuit`` is their name."""

    run_dir: Path
    state_dir: Path
    settings_file: Path | None = None
    settings: SupervisorSettings | None = None
    faults: int = 0  # of the settings file
    machine: Machine = field(default_factory=Machine)
    kernel: Kernel = field(default_factory=Kernel)

    @property
    def circuit(self) -> str:
        return self.settings_file.stem if self.settings_file else ""

    @property
    def circuit_or_name(self) -> str:
        """For a command that is to be typed."""
        return self.circuit or "NAME"

    @property
    def bus(self) -> Bus:
        return self.settings.bus if self.settings else Bus()

    @cached_property
    def unit(self) -> Unit:
        return daemon_unit(self.machine, self.circuit)

    @cached_property
    def service_user(self) -> User | None:
        return self.machine.user(self.unit.user, self.unit.groups)

    @cached_property
    def caller(self) -> User:
        uid, gids = self.kernel.caller()
        return User("you", uid, gids)

    @cached_property
    def config_txt(self) -> ConfigTxt | None:
        return ConfigTxt.of(self.machine)

    @cached_property
    def at_work(self) -> Path | None:
        """The folder of a daemon that is at work, or may be: when that cannot be told, it is."""
        below = self.machine.found(f"{RUN_DIR}/*")
        for folder in dict.fromkeys([self.run_dir, Path(RUN_DIR), *map(Path, below)]):
            if is_claimed(self.machine.at(folder)):
                return folder
        for process in self.machine.processes[0]:
            if process.command == "run":
                return _run_dir(process.arguments)
        return self.state_dir if is_claimed(self.machine.at(self.state_dir)) else None

    @property
    def another_at_work(self) -> Path | None:
        """The same, when that daemon is certainly not the one of this circuit."""
        own = (self.run_dir, self.state_dir, Path(RUN_DIR))
        return None if self.at_work in own else self.at_work


def _run_dir(arguments: tuple[str, ...]) -> Path:
    if "--run-dir" in arguments[:-1]:
        return Path(arguments[arguments.index("--run-dir") + 1])
    return Path(RUN_DIR)
