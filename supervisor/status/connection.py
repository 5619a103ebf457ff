"""One client's connection: bounded in what it may send, and in how slow it may be.

The server's own protocol waits without end for the rest of a request, and for a client that does
not read; one such client after the other would take all there is (slow loris).
"""

import asyncio

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

LONGEST_HEAD_BYTES = 8192
REQUEST_S = 10.0  # for a whole request to come in, and from one to the next
READ_S = 5.0  # for a client to take what fills its buffer


class Connection(H11Protocol):
    """Gives up by itself whoever keeps it waiting; ``gone`` is set when it has ended."""

    request_s = REQUEST_S
    read_s = READ_S

    gone: asyncio.Event
    _late: asyncio.TimerHandle | None = None
    _stuck: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        self.gone = asyncio.Event()
        super().connection_made(transport)
        self._watch()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._watch()

    def on_response_complete(self) -> None:
        self._cancel_late()
        super().on_response_complete()
        self._watch()

    def pause_writing(self) -> None:
        super().pause_writing()
        self._stuck = self.loop.call_later(self.read_s, self.transport.abort)

    def resume_writing(self) -> None:
        self._cancel_stuck()
        super().resume_writing()

    def connection_lost(self, exc: Exception | None) -> None:
        self._cancel_late()
        self._cancel_stuck()
        super().connection_lost(exc)
        self.gone.set()

    def shutdown(self) -> None:
        super().shutdown()
        if self.flow.write_paused or self._is_kept_waiting():
            self.transport.abort()

    def _watch(self) -> None:
        if not self._is_kept_waiting():
            self._cancel_late()
        elif self._late is None:
            self._late = self.loop.call_later(self.request_s, self.transport.abort)

    def _cancel_late(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _cancel_stuck(self) -> None:
        if self._stuck is not None:
            self._stuck.cancel()
            self._stuck = None

    def _is_kept_waiting(self) -> bool:
        """Whether it is the client's turn: no request yet, or not all of it."""
        is_answering = self.cycle is not None and not self.cycle.response_complete
        return not is_answering or self.conn.their_state is h11.SEND_BODY
