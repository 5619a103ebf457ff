"""A request socket, polled by hand, and who asks there."""

import json
import socket
from collections.abc import Iterable
from pathlib import Path

from supervisor.control.requests import MAX_CLIENTS, Reply, Request, RequestSocket
from supervisor.simulator.clock import SimulatedClock


def line(act: str, reason: str = "") -> bytes:
    return json.dumps({"act": act, "reason": reason}).encode() + b"\n"


def answer_all(taken: Iterable[Request]) -> None:
    for request in taken:
        request.answer(Reply(True, "", "open"))


class Bench:
    """A request socket and clients; the clock stands still unless told."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.clock = SimulatedClock()
        self.inbox = RequestSocket(folder, self.clock)
        self.clients: list[socket.socket] = []

    def connect(self) -> socket.socket:
        client = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        client.settimeout(2)
        client.connect(str(self.folder / "requests.sock"))
        self.clients.append(client)
        return client

    def take(self) -> list[Request]:
        """As many polls as it takes to accept and to read what was sent."""
        return [request for _ in range(MAX_CLIENTS + 2) for request in self.inbox.take()]

    def close(self) -> None:
        self.inbox.close()
        for client in self.clients:
            client.close()
