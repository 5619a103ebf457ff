"""A daemon that is started only to be closed and killed: what opens the circuit then?"""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from shlex import join
from typing import Any, Protocol

import supervisor
from supervisor.commissioning.leaves import Killed
from supervisor.commissioning.measuring import CannotTell
from supervisor.control.requests import Reply, ask
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.left_outputs import LeftOutputs
from supervisor.devices.protocols import Clock
from supervisor.settings.edit import edited
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.source import read_text

ACCEPTED = {
    "uncommissioned": "accepted",
    "uncommissioned_reason": "closed for a second, to be killed while it is commissioned",
}
# Of holdwatch@.service, what decides how soon it is open after a death.
SERVICE = (
    "Type=notify",
    "WatchdogSec=2",
    "WatchdogSignal=SIGKILL",
    "TimeoutStopSec=10",
    "CPUSchedulingPolicy=rr",
    "CPUSchedulingPriority=20",
    "LimitMEMLOCK=infinity",
)
LIVES_FOR_S = 150  # at most: who has started it may be killed too
STARTS_WITHIN_S = 60.0
READY_WITHIN_S = 30.0
CLOSED_FOR_S = 1.0
LOOK_EVERY_S = 0.5
COMMAND_S = 60.0
LAST_WORDS = 600  # characters of a log

Asks = Callable[[Path, str], Reply]


@dataclass(frozen=True, slots=True)
class Folder:
    """All that a daemon of its own needs, below one folder."""

    path: Path

    @property
    def settings(self) -> Path:
        return self.path / "settings.yaml"

    @property
    def run_dir(self) -> Path:
        return self.path / "run"

    @property
    def state_dir(self) -> Path:
        return self.path / "state"

    @property
    def log(self) -> Path:
        return self.path / "log"

    def last_words(self) -> str:
        try:
            said = self.log.read_text("utf-8", "replace").strip()
        except OSError:
            return "it said nothing"
        return said[-LAST_WORDS:] or "it said nothing"


class Process(Protocol):
    """A daemon started for a folder, which is there when ``__init__`` returns."""

    def __init__(self, folder: Folder) -> None:
        """Raises CannotTell."""
        ...

    def is_alive(self) -> bool: ...

    def kill(self) -> None:
        """Without a warning. Raises CannotTell when there is nothing to kill."""
        ...

    def end(self) -> None:
        """Whatever is left of it; again and again does no harm."""
        ...


class Child:
    """Of this process, and of its terminal's signals independent."""

    def __init__(self, folder: Folder) -> None:
        with folder.log.open("wb") as log:
            self._process = subprocess.Popen(
                run_command(folder),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                env=os.environ | path_of_package(),
                start_new_session=True,
            )

    def is_alive(self) -> bool:
        return self._process.poll() is None

    def kill(self) -> None:
        self._process.kill()
        self._process.wait()

    def end(self) -> None:
        if self.is_alive():
            self._process.terminate()  # it opens first
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(COMMAND_S)
            return
        self.kill()


class Unit:
    """A transient one of systemd, so that its end is cleared up as that of the service."""

    def __init__(self, folder: Folder) -> None:
        self._name = f"{folder.path.name}.service"
        try:
            started = _told(unit_command(self._name, folder))
        except BaseException:  # Ctrl-C among them: it may be there already
            self.end()
            raise
        if started.returncode:
            said = f"{started.stderr.strip()}\n{folder.last_words()}"
            raise CannotTell(f"the daemon does not start: {said.strip()}")

    def is_alive(self) -> bool:
        return self._pid() > 0

    def kill(self) -> None:
        """The main process alone: what clears up must live."""
        pid = self._pid()
        if not pid:
            raise CannotTell("the daemon has ended by itself")
        os.kill(pid, signal.SIGKILL)

    def end(self) -> None:
        _told(["systemctl", "stop", self._name])
        _told(["systemctl", "reset-failed", self._name])

    def _pid(self) -> int:
        shown = _told(["systemctl", "show", "--property=MainPID", "--value", self._name])
        word = shown.stdout.strip()
        return int(word) if word.isdecimal() else 0


class Victim:
    """A daemon on a copy of a settings file, with folders of its own, that is closed and killed."""

    def __init__(
        self,
        config: Path,
        process: type[Process],
        clock: Clock,
        saw_closed: Callable[[], bool],
        asks: Asks = ask,
    ) -> None:
        """``saw_closed``: a person's answer, where no auxiliary contact tells the daemon."""
        self._config = config
        self._saw_closed = saw_closed
        self._starts = process
        self._clock = clock
        self._asks = asks
        self._process: Process | None = None
        self._folder: Folder | None = None

    def killed(self) -> Killed:
        """Raises CannotTell, in the daemon's own words."""
        self._folder = folder = Folder(Path(tempfile.mkdtemp(prefix="holdwatch-killed-")))
        self._write(folder)
        self._process = self._starts(folder)
        self._wait("open", STARTS_WITHIN_S, lambda _status: True)
        self._wait("ready", READY_WITHIN_S, lambda status: not status.get("not_closing_because"))
        reply = self._ask("close")
        if reply is None or not reply.done:
            raise CannotTell(f"the daemon does not close: {self._why(reply)}")
        self._sleep(CLOSED_FOR_S)
        was_closed = self._while_closed().get("auxiliary_closed")
        if was_closed is None:
            was_closed = self._saw_closed()
            self._while_closed()  # a person takes time
        at_s = self._clock.now_s()
        self._process.kill()
        return Killed(at_s, was_closed is True)

    def clear_up(self) -> None:
        """Raises HardwareMissing when an output may still be on; the folder is kept then."""
        try:
            if self._process:
                self._process.end()
        except CannotTell as problem:
            raise HardwareMissing(
                f"the daemon that was to be killed may still run: {problem}",
                "look for it (systemctl list-units 'holdwatch-*'), end it, then holdwatch drop",
            ) from None
        finally:
            if self._folder:
                LeftOutputs(self._folder.run_dir).switch_off()
        if self._folder:
            shutil.rmtree(self._folder.path, ignore_errors=True)

    def _while_closed(self) -> dict[str, Any]:
        """The status. Raises CannotTell when it is not closed any more."""
        reply = self._ask("status")
        if reply is None or reply.circuit != "closed":
            raise CannotTell(f"the daemon did not stay closed: {self._why(reply)}")
        return reply.data or {}

    def _write(self, folder: Folder) -> None:
        try:
            text = edited(read_text(self._config), ACCEPTED, str(self._config))
        except SettingsFaults as faults:
            raise CannotTell(str(faults)) from None
        folder.settings.write_text(text, "utf-8")
        folder.run_dir.mkdir()
        folder.state_dir.mkdir()

    def _wait(self, what: str, within_s: float, is_so: Callable[[dict[str, Any]], bool]) -> None:
        """Until the daemon says so. Not ready in time: it says why when it is asked to close."""
        assert self._process
        until_s = self._clock.now_s() + within_s
        while self._clock.now_s() < until_s:
            reply = self._ask("status")
            if reply is not None and is_so(reply.data or {}):
                return
            if not self._process.is_alive():
                raise CannotTell(f"the daemon has ended: {self._last_words()}")
            self._sleep(LOOK_EVERY_S)
        if what == "open":
            raise CannotTell(f"the daemon does not answer: {self._last_words()}")

    def _ask(self, act: str) -> Reply | None:
        assert self._folder
        with suppress(OSError, ValueError, TypeError):
            return self._asks(self._folder.run_dir, act)
        return None

    def _why(self, reply: Reply | None) -> str:
        return self._last_words() if reply is None else reply.message or f"it is {reply.circuit}"

    def _last_words(self) -> str:
        return self._folder.last_words() if self._folder else ""

    def _sleep(self, seconds: float) -> None:
        self._clock.sleep_until(self._clock.now_s() + seconds)


def has_systemd() -> bool:
    """It runs this machine (sd_booted(3)), and we may give it a unit."""
    is_there = Path("/run/systemd/system").is_dir() and shutil.which("systemd-run") is not None
    return is_there and os.geteuid() == 0


def run_command(folder: Folder) -> list[str]:
    """The daemon for it."""
    folders = ["--run-dir", str(folder.run_dir), "--state-dir", str(folder.state_dir)]
    return [sys.executable, "-m", "supervisor", "run", str(folder.settings), *folders]


def unit_command(name: str, folder: Folder) -> list[str]:
    """The same by systemd, with the service's way of clearing up; returns when it is ready."""
    drop = [sys.executable, "-m", "supervisor", "drop", "--run-dir", str(folder.run_dir)]
    properties = (
        *SERVICE,
        f"RuntimeMaxSec={LIVES_FOR_S}",
        f"ExecStopPost={join(drop)}",
        f"StandardError=append:{folder.log}",
    )
    return [
        "systemd-run",
        "--quiet",
        "--collect",
        f"--unit={name}",
        *(f"--setenv={key}={value}" for key, value in path_of_package().items()),
        *(f"--property={one}" for one in properties),
        *run_command(folder),
    ]


def path_of_package() -> dict[str, str]:
    """So that it is found from any folder: the GPIO library changes the working one."""
    return {"PYTHONPATH": str(Path(supervisor.__file__).parents[1])}


def _told(command: list[str]) -> "subprocess.CompletedProcess[str]":
    """What a command says. Raises CannotTell when it does not come to an end."""
    try:
        return subprocess.run(
            command, capture_output=True, text=True, timeout=COMMAND_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise CannotTell(f"{command[0]}: {error}") from None
