"""One who is connected to a request socket: lines in, lines out, and how long he is borne with."""

import json
import socket
import struct
from collections import deque
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

MAX_LINE_BYTES = 4096
MAX_UNSENT_BYTES = 256 * 1024


class Caller:
    """Its socket is touched by the thread that serves it alone; ``answer`` is for the loop too."""

    def __init__(
        self, connection: socket.socket, gives_up_at_s: float, users: Mapping[int, str]
    ) -> None:
        """Raises OSError."""
        connection.setblocking(False)
        self.connection = connection
        self.number = connection.fileno()
        self.gives_up_at_s = gives_up_at_s
        self.unanswered = 0
        self.was_heard = self.has_hung_up = False
        self.to_send = b""
        self._received = b""
        self._lines: deque[tuple[bytes, float, float]] = deque()
        self._answers: deque[DataclassInstance] = deque()
        credentials = connection.getsockopt(
            socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i")
        )
        _pid, uid, _gid = struct.unpack("3i", credentials)
        self.who = users.get(uid, f"user {uid}")

    @property
    def has_asked(self) -> bool:
        """A whole line waits to be taken."""
        return bool(self._lines)

    @property
    def waits_for_its_turn(self) -> bool:
        return self.unanswered > 0 or (self.has_asked and not self.was_heard)

    def asks_for(self, word: bytes) -> bool:
        """The oldest line holds it; what else it says is seen when it is taken."""
        return bool(self._lines) and word in self._lines[0][0]

    def next_line(self) -> tuple[bytes, float, float]:
        """The oldest whole line, taken out: came in after and before which moments."""
        self.unanswered += 1
        self.was_heard = True
        return self._lines.popleft()

    def receive(self, after_s: float, before_s: float) -> None:
        """What is there came in between these moments."""
        try:
            received = self.connection.recv(MAX_LINE_BYTES)
        except BlockingIOError:
            return
        except OSError:
            received = b""
        self.has_hung_up |= not received
        *lines, self._received = (self._received + received).split(b"\n")
        self._lines += [(line, after_s, before_s) for line in lines]

    def answer(self, reply: "DataclassInstance") -> None:
        self._answers.append(reply)

    def send(self) -> bool:
        """What can be sent at once. Whether anything was."""
        while self._answers:
            self.to_send += json.dumps(asdict(self._answers.popleft())).encode() + b"\n"
            self.unanswered -= 1
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
        """Who has asked is heard, even one who has hung up since."""
        received_bytes = len(self._received) + sum(len(line) + 1 for line, *_ in self._lines)
        if received_bytes > MAX_LINE_BYTES or len(self.to_send) > MAX_UNSENT_BYTES:
            return True
        is_late = now_s > self.gives_up_at_s
        if self.to_send:
            return is_late
        return not (self.unanswered or self.has_asked) and (is_late or self.has_hung_up)

    def hang_up(self) -> None:
        """Cannot fail."""
        self.has_hung_up = True
        with suppress(OSError):
            self.connection.close()
