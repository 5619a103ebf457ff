"""One who is connected to a request socket: lines in, lines out, and how long he is borne with."""

import json
import re
import socket
import struct
from collections import deque
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

MAX_LINE_BYTES = 4096
MAX_UNSENT_BYTES = 256 * 1024
ASKS_TO_OPEN = re.compile(rb'"act"\s*:\s*"open"')  # within a text, quotes have a backslash


@dataclass(frozen=True, slots=True)
class Line:
    """What it says, and between which moments it came in."""

    text: bytes
    after_s: float
    before_s: float
    asks_to_open: bool


class Caller:
    """Its socket is touched by the thread that serves it alone; ``answer`` is for the loop too."""

    def __init__(
        self,
        connection: socket.socket,
        came_after_s: float,
        gives_up_at_s: float,
        users: Mapping[int, str],
    ) -> None:
        """Raises OSError."""
        connection.setblocking(False)
        self.connection = connection
        self.number = connection.fileno()
        self.all_read_at_s = came_after_s  # what is read from now on came in after this moment
        self.gives_up_at_s = gives_up_at_s
        self.unanswered = 0
        self.has_hung_up = self._is_at_end = False
        self.to_send = b""
        self._received = b""
        self._opens: deque[tuple[bytes, float, float]] = deque()
        self._others: deque[tuple[bytes, float, float]] = deque()
        self._was_heard = self._open_was_heard = self._open_is_unanswered = False
        self._answers: deque[tuple[DataclassInstance, Line]] = deque()
        credentials = connection.getsockopt(
            socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i")
        )
        _pid, uid, _gid = struct.unpack("3i", credentials)
        self.who = users.get(uid, f"user {uid}")

    @property
    def has_asked(self) -> bool:
        """A whole line waits to be taken."""
        return bool(self._opens or self._others)

    @property
    def wants_to_open(self) -> bool:
        """Whatever else it asked before; and only once until that is answered."""
        return bool(self._opens) and not self._open_is_unanswered

    @property
    def wants_something_else(self) -> bool:
        return bool(self._others) and not self.wants_to_open

    @property
    def waits_for_its_turn(self) -> bool:
        """For the first, and for the first of all to open: he may not lose it to a newcomer."""
        is_first = self.wants_to_open and not self._open_was_heard
        return self.unanswered > 0 or is_first or (self.has_asked and not self._was_heard)

    def next_line(self) -> Line:
        """The oldest that asks to open, else the oldest; taken out."""
        opens = self.wants_to_open
        line = (self._opens if opens else self._others).popleft()
        self.unanswered += 1
        self._was_heard = True
        if opens:
            self._open_was_heard = self._open_is_unanswered = True
        return Line(*line, opens)

    def receive(self, now_s: Callable[[], float]) -> None:
        """What is there. The end of all ends the last line as well."""
        looks_at_s = now_s()
        try:
            received = self.connection.recv(MAX_LINE_BYTES)
        except BlockingIOError:
            self.all_read_at_s = looks_at_s
            return
        except OSError:
            received = b""
        if not received:
            self.has_hung_up = self._is_at_end = True
            received = b"\n" if self._received else b""
        *texts, self._received = (self._received + received).split(b"\n")
        before_s = now_s()
        for text in texts:
            lines = self._opens if ASKS_TO_OPEN.search(text) else self._others
            lines.append((text, self.all_read_at_s, before_s))

    def answer(self, reply: "DataclassInstance", to: Line) -> None:
        self._answers.append((reply, to))

    def send(self) -> bool:
        """What can be sent at once. Whether anything was."""
        while self._answers:
            reply, line = self._answers.popleft()
            self.to_send += json.dumps(asdict(reply)).encode() + b"\n"
            self.unanswered -= 1
            if line.asks_to_open:
                self._open_is_unanswered = False
        if not self.to_send:
            return False
        try:
            sent = self.connection.send(self.to_send)
        except BlockingIOError:
            return False
        except OSError:
            self.to_send, self.has_hung_up = b"", True
            return False
        self.to_send = self.to_send[sent:]
        return True

    def is_over(self, now_s: float) -> bool:
        """Who has asked is heard, even one who has hung up since: until the end of what he sent."""
        lines = (*self._opens, *self._others)
        received_bytes = len(self._received) + sum(len(text) + 1 for text, *_ in lines)
        if received_bytes > MAX_LINE_BYTES or len(self.to_send) > MAX_UNSENT_BYTES:
            return True
        is_late = now_s > self.gives_up_at_s
        if self.to_send:
            return is_late
        return not (self.unanswered or self.has_asked) and (is_late or self._is_at_end)

    def hang_up(self) -> None:
        """Cannot fail."""
        self.has_hung_up = True
        with suppress(OSError):
            self.connection.close()


def local_users(path: Path = Path("/etc/passwd")) -> dict[int, str]:
    """Names by number. Of this machine only: to ask a directory may take long."""
    users: dict[int, str] = {}
    try:
        lines = path.read_text("utf-8", "replace").splitlines()
    except OSError:
        return users
    for line in lines:
        name, *others = line.split(":")
        if len(others) > 1 and others[1].isdecimal():
            users.setdefault(int(others[1]), name)
    return users
