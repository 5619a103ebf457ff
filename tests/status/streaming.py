"""One client of the event stream, by ASGI, on the loop's own time."""

import asyncio
import json
from typing import Any

from supervisor.status.stream import Streams


class Client:
    """One stream by ASGI; ``takes_s`` is how long each piece takes to be sent."""

    def __init__(self, streams: Streams, method: str = "GET", takes_s: float = 0.0) -> None:
        self.status = 0
        self.headers: dict[bytes, bytes] = {}
        self.pieces: list[tuple[float, bytes]] = []
        self.is_over = False
        self._streams = streams
        self._takes_s = takes_s
        self._leaves = asyncio.Event()
        self._scope: dict[str, Any] = {
            "type": "http", "method": method, "asgi": {"spec_version": "2.3"}, "headers": [],
        }  # fmt: skip
        self.task = asyncio.create_task(self._run())

    async def leave(self) -> None:
        self._leaves.set()
        await self.task

    @property
    def events(self) -> list[tuple[float, dict[str, Any]]]:
        """When, and the data."""
        found = []
        for at_s, piece in self.pieces:
            if piece.startswith(b"event: status\ndata: "):
                assert piece.endswith(b"\n\n")
                assert piece.count(b"\n") == 3
                found.append((at_s, json.loads(piece.splitlines()[1].removeprefix(b"data: "))))
        return found

    async def _run(self) -> None:
        await self._streams(self._scope, self._receive, self._send)
        self.is_over = True

    async def _receive(self) -> dict[str, Any]:
        await self._leaves.wait()
        return {"type": "http.disconnect"}

    async def _send(self, message: Any) -> None:
        if message["type"] == "http.response.start":
            self.status, self.headers = message["status"], dict(message["headers"])
        elif message.get("body"):
            self.pieces.append((asyncio.get_running_loop().time(), message["body"]))
            await asyncio.sleep(self._takes_s)
