"""Hands one message to one target, by a process that can be ended; or asks whether it could be."""

import json
import subprocess
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import Any, NamedTuple, Protocol

PROGRAM = [sys.executable, "-P", "-m", "supervisor.messages.deliver"]
UNDERSTOOD_WITHIN_S = 60.0  # apprise is large, and a small computer's card slow


class Outcome(NamedTuple):
    """``why`` it failed, in words that hold no address."""

    sent: bool
    why: str = ""


class Delivery(Protocol):
    """One under way."""

    def outcome(self) -> Outcome | None:
        """None: not known yet. Never waits."""

    def wait(self, within_s: float) -> None:
        """Until its outcome is known, but no longer."""

    def end(self) -> None:
        """Whatever it does."""


class Courier(Protocol):
    def start(self, url: str, title: str, body: str, kind: str) -> Delivery:
        """``kind``: failure, warning, success or info."""


class AppriseCourier:
    """By the library apprise. Never raises."""

    def start(self, url: str, title: str, body: str, kind: str) -> Delivery:
        return _Process({"url": url, "title": title, "body": body, "kind": kind})


class _Process:
    """The address goes through a pipe: arguments and environment can be read by others."""

    def __init__(self, task: dict[str, Any]) -> None:
        self._known: Outcome | None = None
        try:
            self._process = subprocess.Popen(
                PROGRAM,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                start_new_session=True,  # what a terminal tells this process is not for that one
            )
        except OSError as error:
            self._known = Outcome(False, f"no process could be started: {error.strerror}")
            return
        assert self._process.stdin
        with suppress(BrokenPipeError), self._process.stdin as pipe:
            pipe.write(json.dumps(task).encode())

    def outcome(self) -> Outcome | None:
        if self._known or self._process.poll() is None:
            return self._known
        assert self._process.stdout
        with self._process.stdout as pipe:
            said = pipe.read()
        try:
            answer = json.loads(said)
            self._known = Outcome(answer["sent"] is True, str(answer["why"]))
        except (ValueError, KeyError, TypeError):
            self._known = Outcome(False, f"its process ended with {self._process.returncode}")
        return self._known

    def wait(self, within_s: float) -> None:
        if self._known is None:
            with suppress(subprocess.TimeoutExpired):
                self._process.wait(within_s)

    def end(self) -> None:
        if self._known is None:
            self._process.kill()
            self._process.wait()
            self.outcome()


def understands(urls: Sequence[str]) -> list[bool]:
    """Which of these apprise could send to. Raises OSError when it cannot be asked."""
    if not urls:
        return []
    try:
        asked = subprocess.run(
            PROGRAM, input=json.dumps({"urls": list(urls)}).encode(), stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, timeout=UNDERSTOOD_WITHIN_S, check=False,
        )  # fmt: skip
        understood: list[bool] = json.loads(asked.stdout)["understood"]
    except (subprocess.TimeoutExpired, ValueError, KeyError):
        raise OSError("apprise could not be asked which addresses it understands") from None
    return understood
