"""``/api/stream``: the status as server-sent events, by one look at the file for all streams.

After the WHATWG HTML Living Standard, "Server-sent events": an event ``status`` whose data is the
document of ``/api/status`` on one line, when the snapshot is new, and again each second when it is
not, so that a dead link and a dead daemon can be told apart. A stream that falls behind is given
the newest document only; nothing queues up.
"""

import asyncio
import json
from collections.abc import AsyncIterator, Callable

from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.types import Receive, Scope, Send

from supervisor.status.document import as_dict
from supervisor.status.status_file import Status

LOOK_EVERY_S = 0.5
AGAIN_AFTER_S = 0.9  # with the look that follows: a second
RETRY_MS = 1000
MEDIA_TYPE = "text/event-stream"
FULL_HEADERS = {"Retry-After": "5"}


class Streams:
    """An ASGI app for any number of clients up to ``most``; then 503."""

    def __init__(self, look: Callable[[], Status], most: int) -> None:
        self._look = look
        self._most = most
        self._count = 0
        self._event = b""
        self._told = asyncio.Event()
        self._poller: asyncio.Task[None] | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["method"] == "HEAD" or self._count >= self._most:
            await self._short_answer(scope["method"])(scope, receive, send)
            return
        self._count += 1
        try:
            events = self._events(self._running_poller())
            await StreamingResponse(events, media_type=MEDIA_TYPE)(scope, receive, send)
        finally:
            self._count -= 1
            if not self._count:
                self.end()

    def end(self) -> None:
        """Every stream ends, as one does whose server leaves."""
        if self._poller:
            self._poller.cancel()
            self._poller = None

    def _short_answer(self, method: str) -> Response:
        if method == "HEAD":
            return Response(media_type=MEDIA_TYPE)
        problem = f"{self._most} streams are open, and no more are served; ask /api/status"
        return JSONResponse({"problem": problem}, 503, FULL_HEADERS)

    def _running_poller(self) -> "asyncio.Task[None]":
        if self._poller is None or self._poller.done():
            self._event = b""
            self._poller = asyncio.create_task(self._poll())
            self._poller.add_done_callback(lambda _: self._tell(b""))
        return self._poller

    async def _events(self, poller: "asyncio.Task[None]") -> AsyncIterator[bytes]:
        yield f"retry: {RETRY_MS}\n\n".encode()
        while not poller.done():
            told = self._told
            if self._event:
                yield self._event
            await told.wait()

    async def _poll(self) -> None:
        now_s = asyncio.get_running_loop().time
        at_s, told_at_s, told = now_s(), float("-inf"), None
        while True:
            status = self._look()
            what = (status.snapshot and status.snapshot.published_at_s, status.problem)
            if what != told or at_s >= told_at_s + AGAIN_AFTER_S:
                told, told_at_s = what, at_s
                self._tell(event(status))
            at_s = max(at_s + LOOK_EVERY_S, now_s())
            await asyncio.sleep(at_s - now_s())

    def _tell(self, event: bytes) -> None:
        self._event = event
        told, self._told = self._told, asyncio.Event()
        told.set()


def event(status: Status) -> bytes:
    """One event: JSON escapes every line break, so the data is one line."""
    data = json.dumps(as_dict(status), allow_nan=False, separators=(",", ":"))
    return f"event: status\ndata: {data}\n\n".encode()
