"""In the guest: the daemon as a process forked from here, where the program is loaded already."""

import json
import os
import signal
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

from machine import TICK_S, settings_text

import supervisor.cli.run  # noqa: F401  loaded once, for every daemon forked from here
from supervisor.cli.main import main
from supervisor.control.requests import ask  # the daemon's own client

PATIENCE_S = 120


class Daemon:
    """``holdwatch run`` on the virtual bus, as a process of its own; waits on what it says.

    Forked from here, where the program is loaded: under emulation that takes twenty seconds.
    """

    def __init__(
        self,
        folder: Path,
        drive: str,
        *,
        break_it: Callable[[], None] = lambda: None,
        changes: dict[str, str] | None = None,
    ) -> None:
        """``break_it`` runs in its process first."""
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.run_dir, self.state_dir = folder / "run", folder / "state"
        words = [
            "run", str(_settings(folder, drive, changes or {})),
            "--run-dir", str(self.run_dir), "--state-dir", str(self.state_dir),
        ]  # fmt: skip
        self.ended: int | None = None
        self.pid = os.fork()
        if self.pid == 0:
            self._be_it(words, break_it)

    def _be_it(self, words: list[str], break_it: Callable[[], None]) -> None:
        log = os.open(self.folder / "log", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        os.dup2(log, 1)
        os.dup2(log, 2)
        sys.argv = ["holdwatch", *words]
        try:
            break_it()
            main()
        except SystemExit as leaving:
            sys.stderr.flush()
            os._exit(leaving.code if isinstance(leaving.code, int) else 1)
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)

    def said(self) -> str:
        log = self.folder / "log"
        return log.read_text("utf-8", "replace") if log.exists() else ""

    def poll(self) -> int | None:
        """Its exit code, negative for a signal, once it has ended."""
        if self.ended is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            self.ended = os.waitstatus_to_exitcode(status) if pid else None
        return self.ended

    def wait(self, for_s: float = PATIENCE_S) -> int | None:
        ends_s = time.monotonic() + for_s
        while self.poll() is None and time.monotonic() < ends_s:
            time.sleep(TICK_S)
        return self.ended

    def wait_until_up(self) -> None:
        _until(lambda: "supervising" in self.said() or self.poll() is not None)
        assert self.poll() is None, self.said()

    def ask(self, act: str, reason: str = "") -> dict[str, Any]:
        reply = ask(self.run_dir, act, reason, PATIENCE_S)
        return {"done": reply.done, "message": reply.message, "circuit": reply.circuit}

    def close(self) -> None:
        """Asks until the self-check has passed."""
        reply: dict[str, Any] = {}
        for _ in range(100):
            if (reply := self.ask("close"))["done"]:
                return
            time.sleep(0.2)
        raise AssertionError(f"{reply}\n{self.said()}")

    def kept(self) -> dict[str, Any]:
        """The latch's file."""
        found = json.loads((self.state_dir / "lockout.json").read_text("utf-8"))
        assert isinstance(found, dict)
        return found

    def signal(self, number: int) -> None:
        os.kill(self.pid, number)

    def end(self) -> None:
        """By whatever it takes."""
        for number in (signal.SIGCONT, signal.SIGTERM, signal.SIGKILL):
            if self.poll() is None:
                self.signal(number)
                self.wait(10 if number == signal.SIGTERM else 0.1)
        self.wait()


def _settings(folder: Path, drive: str, changes: dict[str, str]) -> Path:
    path = folder / "bench.yaml"
    path.write_text(settings_text(drive, changes), "utf-8")
    return path


def _until(is_so: Any) -> None:
    ends_s = time.monotonic() + PATIENCE_S
    while not is_so():
        if time.monotonic() > ends_s:
            raise AssertionError("waited in vain")
        time.sleep(0.02)
