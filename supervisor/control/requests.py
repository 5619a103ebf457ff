"""Requests to the loop (close, open, reset, profile, ...) and the Unix sockets they come through.

One socket takes every act, from the owner and the group. Another takes ``open`` alone, from any
user of this machine: opening is always allowed, and the page's process may do nothing else. Each is
served in a thread of its own, see ``aside``: strangers hold up neither the loop nor the other one.

One JSON object a line: ``{"act": "reset", "reason": "lead re-fastened"}``; one JSON object back:
``{"done": true, "message": "...", "circuit": "open"}``.
"""

import json
import os
import selectors
import socket
import struct
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Protocol

from supervisor.control.aside import Aside
from supervisor.control.caller import Caller, local_users
from supervisor.devices.protocols import Clock

ACTS = ("close", "open", "profile", "reset", "silence", "status")
SOCKET_NAME = "requests.sock"
OPEN_SOCKET_NAME = "open.sock"
MAX_CLIENTS = 8
PATIENCE_S = 2.0
MAX_REQUESTS_PER_CYCLE = 2
MAX_ACCEPTED_PER_CYCLE = 4
BACKLOG = 64
LONGEST_REASON = 200
CLOSES_WITHIN_S = 4.5  # of being asked; ``ask`` gives up after 5 s
LEAST_PATIENCE_S = 0.1  # for the answer, once it is connected
SO_PASSRIGHTS = 83  # Linux 6.16, asm-generic/socket.h: 0 refuses descriptors that are sent along


@dataclass(frozen=True, slots=True)
class Reply:
    """``done`` tells whether the act was carried out; ``data`` is the status, if asked for."""

    done: bool
    message: str
    circuit: str
    data: dict[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Request:
    """An act asked for by ``who``; ``answer`` is called once with the outcome.

    ``came_at_s`` is the latest moment at which an ``open`` may have come in, of all else the
    earliest: so nothing that was sent before an ``open`` seems to be sent after it. Infinite for
    what comes in as it is taken.
    """

    act: str
    reason: str
    who: str
    answer: Callable[[Reply], None]
    came_at_s: float = float("inf")
    has_hung_up: Callable[[], bool] = lambda: False

    def why_no_longer(self, now_s: float) -> str:
        """Why nothing is closed for it any more; empty while it may be."""
        if self.has_hung_up():
            return "who asked has hung up"
        age_s = now_s - self.came_at_s
        if age_s > CLOSES_WITHIN_S:
            return f"asked {age_s:.1f} s ago, and nobody may stand by any more; ask again"
        return ""


class Inbox(Protocol):
    @property
    def is_served(self) -> bool:
        """Whether what is sent here is heard at all."""
        ...

    def take(self) -> list[Request]:
        """The requests that have come in. Never blocks, never raises."""
        ...

    def close(self) -> None: ...


class Mailbox:
    """An inbox within the process, for the operator of a simulation."""

    is_served = True

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
        self._selector = self._new_selector()
        self._clients: dict[int, Caller] = {}
        self._users = local_users()
        self._all_let_in_at_s = clock.now_s()

    def rest(self, at_most_s: float) -> None:
        """While nobody is here, until somebody comes: nobody knows how long ago, if it stands."""
        if not self._clients:
            looks_at_s = self._clock.now_s()
            if not self._selector.select(0):
                self._all_let_in_at_s = looks_at_s
                self._selector.select(at_most_s)

    def take(
        self, most: int = MAX_REQUESTS_PER_CYCLE, most_urgent: int = MAX_REQUESTS_PER_CYCLE
    ) -> list[Request]:
        """Of each client one: ``most_urgent`` of those who want to open, then ``most`` of all
        others; those who waited longest first."""
        looks_at_s = self._clock.now_s()
        ready = {key.fd for key, _ in self._selector.select(0)}
        for client in list(self._clients.values()):
            if client.number in ready:
                self._receive(client)
            else:
                client.all_read_at_s = looks_at_s
        self._send_answers()  # only now: nobody's time is up before he is read
        if self._listener.fileno() in ready:  # last: it may drop others
            self._accept(looks_at_s)
        else:
            self._all_let_in_at_s = looks_at_s
        turn = self._next(most, most_urgent)
        return [request for client in turn if (request := self._understand(client))]

    def start_again(self) -> None:
        """Without those who are connected."""
        self._drop_all()
        self._selector.close()
        self._selector = self._new_selector()

    def close(self) -> None:
        self._send_answers()
        self._path.unlink(missing_ok=True)
        self._drop_all()
        self._selector.close()
        self._listener.close()

    def _new_selector(self) -> selectors.BaseSelector:
        selector = selectors.DefaultSelector()
        selector.register(self._listener, selectors.EVENT_READ, None)
        return selector

    def _accept(self, looks_at_s: float) -> None:
        """When all who are here wait for their turn, so does who comes, in the kernel's queue."""
        after_s = self._all_let_in_at_s
        for _ in range(MAX_ACCEPTED_PER_CYCLE):
            is_full = len(self._clients) >= MAX_CLIENTS
            makes_room = self._who_makes_room() if is_full else None
            if is_full and makes_room is None:
                return
            try:
                connection, _ = self._listener.accept()
            except BlockingIOError:
                self._all_let_in_at_s = looks_at_s
                return
            except OSError:
                return  # gone again, or no descriptor is left
            if makes_room:
                self._drop(makes_room)
            gives_up_at_s = self._clock.now_s() + PATIENCE_S
            client = Caller(connection, after_s, gives_up_at_s, self._users)
            self._clients[client.number] = client
            self._selector.register(connection, selectors.EVENT_READ, client)
            self._receive(client)  # mostly it has asked already

    def _receive(self, client: Caller) -> None:
        client.receive(self._clock.now_s)
        if client.is_over(self._clock.now_s()):
            self._drop(client)

    def _next(self, most: int, most_urgent: int) -> list[Caller]:
        """Whose turn it is; they go to the end of the queue."""
        clients = self._clients.values()
        turn = [client for client in clients if client.wants_to_open][:most_urgent]
        turn += [client for client in clients if client.wants_something_else][:most]
        for client in turn:
            self._clients[client.number] = self._clients.pop(client.number)
        return turn

    def _understand(self, client: Caller) -> Request | None:
        """The request in its next line; None, and the client told, when it is none."""
        line = client.next_line()
        answer = partial(client.answer, to=line)
        try:
            asked = json.loads(line.text)
            act, reason = asked["act"], asked.get("reason", "")
            if act not in self._acts or not isinstance(reason, str):
                raise ValueError
            if line.asks_to_open and act != "open":
                raise ValueError  # two acts in one
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            known = ", ".join(self._acts)
            problem = f'not understood; a request is {{"act": one of {known}, "reason": "..."}}'
            answer(Reply(False, problem, ""))
            return None
        return Request(
            act,
            _plain(reason[:LONGEST_REASON]),
            client.who,
            answer,
            came_at_s=line.before_s if act == "open" else line.after_s,
            has_hung_up=lambda: client.has_hung_up,
        )

    def _send_answers(self) -> None:
        now_s = self._clock.now_s()
        for client in list(self._clients.values()):
            if client.send():
                client.gives_up_at_s = now_s + PATIENCE_S
            if client.is_over(now_s):
                self._drop(client)

    def _who_makes_room(self) -> Caller | None:
        """For a newcomer, who may want to open: the longest idle of the user who has most here."""
        crowd = Counter(client.who for client in self._clients.values())
        idle = [c for c in self._clients.values() if not c.waits_for_its_turn]
        return min(idle, key=lambda c: (-crowd[c.who], c.gives_up_at_s), default=None)

    def _drop_all(self) -> None:
        for client in list(self._clients.values()):
            self._drop(client)

    def _drop(self, client: Caller) -> None:
        """Cannot fail, whatever came of letting it in."""
        self._clients.pop(client.number, None)
        with suppress(KeyError, ValueError, OSError):
            self._selector.unregister(client.connection)
        client.hang_up()


def request_sockets(run_dir: Path, clock: Clock) -> list[Inbox]:
    """Those of a daemon: every act for its group, ``open`` for everybody. Raises OSError."""
    return [_aside(RequestSocket(run_dir, clock)), _aside(open_socket(run_dir, clock))]


def open_socket(run_dir: Path, clock: Clock) -> RequestSocket:
    return RequestSocket(run_dir, clock, OPEN_SOCKET_NAME, acts=("open",), mode=0o666)


def _aside(served: RequestSocket) -> Inbox:
    """There is room for an ``open`` of each client, whatever else waits."""
    most = MAX_REQUESTS_PER_CYCLE
    return Aside("requests", served, most, most + MAX_CLIENTS)


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
        connection.sendall(
            json.dumps({"act": act, "reason": reason[:LONGEST_REASON]}).encode() + b"\n"
        )
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
