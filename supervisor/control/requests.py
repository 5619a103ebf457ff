"""Requests to the loop (close, open, reset, profile, ...) and the Unix sockets they come through.

One socket takes every act, from the owner and the group. Another takes ``open`` alone, from any
user of this machine: opening is always allowed, and the page's process may do nothing else. Each is
served in a thread of its own, see ``aside``: strangers hold up neither the loop nor the other one.

One JSON object a line: ``{"act": "reset", "reason": "lead re-fastened"}``; one JSON object back:
``{"done": true, "message": "...", "circuit": "open"}``.
"""

import json
import logging
import os
import selectors
import socket
import struct
import time
from collections import Counter, deque
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Protocol

from supervisor.control.aside import Aside
from supervisor.devices.protocols import Clock

ACTS = ("close", "open", "profile", "reset", "silence", "status")
SOCKET_NAME = "requests.sock"
OPEN_SOCKET_NAME = "open.sock"
MAX_CLIENTS = 8
MAX_LINE_BYTES = 4096
MAX_UNSENT_BYTES = 256 * 1024
PATIENCE_S = 2.0
MAX_REQUESTS_PER_CYCLE = 2
MAX_ACCEPTED_PER_CYCLE = 4
BACKLOG = 64
LONGEST_REASON = 200
LEAST_PATIENCE_S = 0.1  # for the answer, once it is connected
SO_PASSRIGHTS = 83  # Linux 6.16, asm-generic/socket.h: 0 refuses descriptors that are sent along

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Reply:
    """``done`` tells whether the act was carried out; ``data`` is the status, if asked for."""

    done: bool
    message: str
    circuit: str
    data: dict[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Request:
    """An act asked for by ``who``; ``answer`` is called once with the outcome."""

    act: str
    reason: str
    who: str
    answer: Callable[[Reply], None]


class Inbox(Protocol):
    def take(self) -> list[Request]:
        """The requests that have come in. Never blocks, never raises."""
        ...

    def close(self) -> None: ...


class Mailbox:
    """An inbox within the process, for the operator of a simulation."""

    def __init__(self) -> None:
        self._waiting: list[Request] = []
        self.replies: list[Reply] = []

    def put(self, act: str, reason: str = "", who: str = "simulated operator") -> None:
        self._waiting.append(Request(act, reason, who, self.replies.append))

    def take(self) -> list[Request]:
        taken, self._waiting = self._waiting, []
        return taken

    def close(self) -> None:
        self._waiting.clear()


class _Client:
    """One connection: a line in, a line out."""

    def __init__(
        self, connection: socket.socket, gives_up_at_s: float, users: Mapping[int, str]
    ) -> None:
        self.connection = connection
        self.gives_up_at_s = gives_up_at_s
        self.unanswered = 0
        self.was_heard = self.has_hung_up = False
        self.received = self.to_send = b""
        self._answers: deque[Reply] = deque()
        credentials = connection.getsockopt(
            socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i")
        )
        _pid, uid, _gid = struct.unpack("3i", credentials)
        self.who = users.get(uid, f"user {uid}")

    @property
    def has_asked(self) -> bool:
        """A whole line waits to be taken."""
        return b"\n" in self.received

    @property
    def waits_for_its_turn(self) -> bool:
        return self.unanswered > 0 or (self.has_asked and not self.was_heard)

    def next_line(self) -> bytes:
        """The oldest whole line that came in, taken out; empty when there is none."""
        line, newline, rest = self.received.partition(b"\n")
        if not newline:
            return b""
        self.received = rest
        return line

    def understand(self, line: bytes, acts: tuple[str, ...]) -> Request | None:
        """The request in a line; None, and the client told, when it is none."""
        self.unanswered += 1
        self.was_heard = True
        try:
            asked = json.loads(line)
            act, reason = asked["act"], asked.get("reason", "")
            if act not in acts or not isinstance(reason, str):
                raise ValueError
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            known = ", ".join(acts)
            problem = f'not understood; a request is {{"act": one of {known}, "reason": "..."}}'
            self.answer(Reply(False, problem, ""))
            return None
        if act == "close" and self.has_hung_up:  # nobody stands by any more
            self.answer(Reply(False, "not closed: who asked has hung up", ""))
            return None
        return Request(act, _plain(reason[:LONGEST_REASON]), self.who, self.answer)

    def answer(self, reply: Reply) -> None:
        """By the loop, too."""
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
        if len(self.received) > MAX_LINE_BYTES or len(self.to_send) > MAX_UNSENT_BYTES:
            return True
        is_late = now_s > self.gives_up_at_s
        if self.to_send:
            return is_late
        return not (self.unanswered or self.has_asked) and (is_late or self.has_hung_up)


class RequestSocket:
    """One socket, of ``acts`` for whom ``mode`` lets in; polled, never waited for.

    It has bounds on what it takes in a cycle, whatever crowd there is.
    """

    def __init__(
        self,
        run_dir: Path,
        clock: Clock,
        name: str = SOCKET_NAME,
        acts: tuple[str, ...] = ACTS,
        mode: int = 0o660,
    ) -> None:
        """Raises OSError when the socket cannot be made."""
        self._clock = clock
        self._acts = acts
        self._path = run_dir / name
        self._selector = selectors.DefaultSelector()
        self._path.unlink(missing_ok=True)
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._listener.setblocking(False)
        with suppress(OSError):
            self._listener.setsockopt(socket.SOL_SOCKET, SO_PASSRIGHTS, 0)
        before = os.umask(0o777 & ~mode)
        try:
            self._listener.bind(str(self._path))
        finally:
            os.umask(before)
        self._listener.listen(BACKLOG)
        self._selector.register(self._listener, selectors.EVENT_READ, None)
        self._clients: dict[int, _Client] = {}
        self._users = local_users()

    def rest(self, at_most_s: float) -> None:
        """While nobody is here, until somebody comes."""
        if not self._clients:
            self._selector.select(at_most_s)

    def take(self) -> list[Request]:
        """A few requests at most, of each client one, those who waited longest first."""
        try:
            return self._take()
        except Exception:  # what strangers send must not end the thread that serves all others
            log.exception("%s: its clients are dropped", self._path.name)
            self._drop_all()
            return []

    def _take(self) -> list[Request]:
        self._send_answers()
        ready = {key.fd: key.data for key, _ in self._selector.select(0)}
        for number, client in ready.items():
            if isinstance(client, _Client) and self._clients.get(number) is client:
                self._receive(client)
        if self._listener.fileno() in ready:  # last: it may drop others
            self._accept()
        requests: list[Request] = []
        for number, client in list(self._clients.items()):
            if len(requests) < MAX_REQUESTS_PER_CYCLE and (line := client.next_line()):
                self._clients[number] = self._clients.pop(number)  # to the end of the queue
                request = client.understand(line, self._acts)
                requests += [request] if request else []
        return requests

    def close(self) -> None:
        self._send_answers()
        self._path.unlink(missing_ok=True)
        self._drop_all()
        self._selector.close()
        self._listener.close()

    def _accept(self) -> None:
        """When all who are here wait for their turn, so does who comes, in the kernel's queue."""
        for _ in range(MAX_ACCEPTED_PER_CYCLE):
            is_full = len(self._clients) >= MAX_CLIENTS
            makes_room = self._who_makes_room() if is_full else None
            if is_full and makes_room is None:
                return
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return  # nobody, or gone again
            if makes_room:
                self._drop(makes_room)
            connection.setblocking(False)
            client = _Client(connection, self._clock.now_s() + PATIENCE_S, self._users)
            self._clients[connection.fileno()] = client
            self._selector.register(connection, selectors.EVENT_READ, client)
            self._receive(client)  # mostly it has asked already

    def _receive(self, client: _Client) -> None:
        try:
            received = client.connection.recv(MAX_LINE_BYTES)
        except BlockingIOError:
            return
        except OSError:
            received = b""
        client.received += received
        client.has_hung_up |= not received
        if client.is_over(self._clock.now_s()):
            self._drop(client)

    def _send_answers(self) -> None:
        now_s = self._clock.now_s()
        for client in list(self._clients.values()):
            if client.send():
                client.gives_up_at_s = now_s + PATIENCE_S
            if client.is_over(now_s):
                self._drop(client)

    def _who_makes_room(self) -> _Client | None:
        """For a newcomer, who may want to open: the longest idle of the user who has most here."""
        crowd = Counter(client.who for client in self._clients.values())
        idle = [c for c in self._clients.values() if not c.waits_for_its_turn]
        return min(idle, key=lambda c: (-crowd[c.who], c.gives_up_at_s), default=None)

    def _drop_all(self) -> None:
        for client in list(self._clients.values()):
            self._drop(client)

    def _drop(self, client: _Client) -> None:
        del self._clients[client.connection.fileno()]
        self._selector.unregister(client.connection)
        client.connection.close()


def request_sockets(run_dir: Path, clock: Clock) -> list[Inbox]:
    """Those of a daemon: every act for its group, ``open`` for everybody. Raises OSError."""
    return [_aside(RequestSocket(run_dir, clock)), _aside(open_socket(run_dir, clock))]


def open_socket(run_dir: Path, clock: Clock) -> RequestSocket:
    return RequestSocket(run_dir, clock, OPEN_SOCKET_NAME, acts=("open",), mode=0o666)


def _aside(served: RequestSocket) -> Inbox:
    return Aside("requests", served, MAX_REQUESTS_PER_CYCLE)


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


def _plain(text: str) -> str:
    """On one line, and such as every file takes: a terminal may send half a character."""
    return "".join(c if c.isprintable() else " " for c in text)


def ask(
    run_dir: Path,
    act: str,
    reason: str = "",
    patience_s: float = 5.0,
    socket_name: str = SOCKET_NAME,
) -> Reply:
    """Send one request to a running daemon and wait for the answer.

    Raises OSError when there is no daemon, or none that answers within ``patience_s``.
    """
    until_s = time.monotonic() + patience_s
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
        _wait_to_connect(connection, patience_s)
        connection.connect(str(run_dir / socket_name))
        connection.settimeout(max(until_s - time.monotonic(), LEAST_PATIENCE_S))
        connection.sendall(json.dumps({"act": act, "reason": reason}).encode() + b"\n")
        with connection.makefile("rb") as answers:
            line = answers.readline()
    if not line:
        raise ConnectionError("the daemon closed the connection without an answer")
    return Reply(**json.loads(line))


def _wait_to_connect(connection: socket.socket, patience_s: float) -> None:
    """In turn with a crowd before it: the kernel keeps the order, but of those only who wait in a
    call. One that tries again and again comes last."""
    whole_s, part_s = divmod(patience_s, 1)
    timeval = struct.pack("@ll", int(whole_s), int(part_s * 1e6))
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, timeval)
