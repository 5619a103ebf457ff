"""In the guest, under systemd: a circuit's unit, what systemctl and its journal say, its users."""

import ctypes
import grp
import json
import os
import pwd
import socket
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

SETTINGS = Path("/etc/holdwatch")
PATIENCE_S = 120
LOOK_S = 0.25
TRIES, AGAIN_S = 100, 0.2
CGROUPS = Path("/sys/fs/cgroup/system.slice")
SHOWN = ("ActiveState", "SubState", "Result", "ExecMainStatus", "NRestarts", "MainPID")
libc = ctypes.CDLL(None, use_errno=True)


class Service:
    """``holdwatch@NAME``, or another template's unit of ours."""

    def __init__(self, name: str, settings: str | None = None, template: str = "holdwatch") -> None:
        self.name, self.unit = name, f"{template}@{name}.service"
        self.run_dir, self.state_dir = (
            Path("/run/holdwatch", name),
            Path("/var/lib/holdwatch", name),
        )
        if settings is not None:
            SETTINGS.mkdir(exist_ok=True)
            (SETTINGS / f"{name}.yaml").write_text(settings, "utf-8")

    def systemctl(self, verb: str, *options: str) -> int:
        """Its exit code. Of the daemon, ``start`` returns when it has said that it is ready."""
        return subprocess.run(
            ["systemctl", verb, *options, self.unit], capture_output=True, check=False
        ).returncode

    def start(self) -> None:
        assert self.systemctl("start") == 0, self.said()

    def shown(self) -> dict[str, str]:
        asked = ["systemctl", "show", "-p", ",".join(SHOWN), self.unit]
        told = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
        return dict(line.split("=", 1) for line in told.splitlines())

    @property
    def pid(self) -> int:
        return int(self.shown()["MainPID"])

    def wait(self, **wanted: str | tuple[str, ...]) -> dict[str, str]:
        """Until systemctl shows that, or one of those; what it shows then."""
        ends_s = time.monotonic() + PATIENCE_S
        while time.monotonic() < ends_s:
            shown = self.shown()
            if all(shown[key] in _several(value) for key, value in wanted.items()):
                return shown
            time.sleep(LOOK_S)
        raise AssertionError(f"never {wanted}: {shown}\n{self.said()}")

    def said(self) -> str:
        """Of the unit and by it, in the journal."""
        asked = ["journalctl", "-b", "--no-pager", "-o", "cat", "-u", self.unit]
        return subprocess.run(asked, capture_output=True, text=True, check=True).stdout[-3000:]

    def kept(self) -> dict[str, Any]:
        """The latch's file."""
        found = json.loads((self.state_dir / "lockout.json").read_text("utf-8"))
        assert isinstance(found, dict)
        return found

    def ask(self, act: str, reason: str = "", *, door: str = "requests.sock") -> dict[str, Any]:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
            connection.settimeout(PATIENCE_S)
            connection.connect(str(self.run_dir / door))
            connection.sendall(json.dumps({"act": act, "reason": reason}).encode() + b"\n")
            with connection.makefile("rb") as answers:
                found = json.loads(answers.readline())
        assert isinstance(found, dict)
        return found

    def settled(self) -> str:
        """Its circuit, once the self-check is over."""
        for _ in range(TRIES):
            circuit = str(self.ask("status")["circuit"])
            if circuit != "unfit":
                break
            time.sleep(AGAIN_S)
        return circuit

    def close(self) -> dict[str, Any]:
        """Asks until the self-check has passed; what is locked out is reset first."""
        reply: dict[str, Any] = {}
        for _ in range(TRIES):
            if (reply := self.ask("close"))["done"]:
                return reply
            if reply["circuit"] == "locked out":
                self.ask("reset", "the bench has looked")
            time.sleep(AGAIN_S)
        raise AssertionError(f"{reply}\n{self.said()}")


def _several(value: str | tuple[str, ...]) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else value


def as_user(name: str, act: Callable[[], Any], *, group: str | None = None) -> Any:
    """What ``act`` returns, or the error's name, in a process of that user, who is in ``group``."""
    return apart(lambda: _become(name, group), act)


def within(service: Service, act: Callable[[], Any], *, user: str | None = None) -> Any:
    """With the files that the unit sees, and the devices that it may use; as root or as a user."""
    pid = service.pid
    group = Path(f"/proc/{pid}/cgroup").read_text().strip().split("::")[1]

    def enter() -> None:
        Path(f"/sys/fs/cgroup{group}/cgroup.procs").write_text(str(os.getpid()))
        files = os.open(f"/proc/{pid}/ns/mnt", os.O_RDONLY)
        if libc.setns(files, 0):
            raise OSError(ctypes.get_errno(), "setns")
        if user:
            _become(user, None)

    return apart(enter, act)


def _become(name: str, group: str | None) -> None:
    user = pwd.getpwnam(name)
    os.setgroups([grp.getgrnam(group).gr_gid] if group else [])
    os.setgid(user.pw_gid)
    os.setuid(user.pw_uid)


def apart(change: Callable[[], None], act: Callable[[], Any]) -> Any:
    reading, writing = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            change()
            told = act()
        except BaseException as error:
            told = type(error).__name__ + (f" {error.errno}" if isinstance(error, OSError) else "")
        os.write(writing, json.dumps(told).encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as answer:
        told = json.loads(answer.read())
    os.waitpid(pid, 0)
    return told
