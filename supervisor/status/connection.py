"""One client's connection: bounded in number, in what it may send, and in how slow it may be.

The server's own protocol waits without end for the rest of a request, and for a client that does
not read; one such client after the other would take all there is (slow loris).
"""

import asyncio

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_CONNECTIONS = 128
MOST_PER_ADDRESS = 20
LONGEST_HEAD_BYTES = 8192
REQUEST_S = 10.0  # for a whole request to come in, and from one to the next
READ_S = 5.0  # for a client to take what fills its buffer
TOO_MANY = b"Too many connections. Close some, or try again in a few seconds.\n"
REFUSAL = (
    b"HTTP/1.1 503 Service Unavailable\r\nRetry-After: 5\r\nConnection: close\r\n"
    b"Content-Type: text/plain; charset=utf-8\r\nContent-Length: %d\r\n\r\n%s"
) % (len(TOO_MANY), TOO_MANY)


class Connection(H11Protocol):
    """Gives up by itself whoever keeps it waiting."""

    most = MOST_CONNECTIONS
    most_per_address = MOST_PER_ADDRESS
    request_s = REQUEST_S
    read_s = READ_S

    _late: asyncio.TimerHandle | None = None
    _stuck: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        if self._is_one_too_many():
            transport.write(REFUSAL)
            transport.close()
        self._watch()

    def data_received(self, data: bytes) -> None:
        if not self.transport.is_closing():
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

    def shutdown(self) -> None:
        super().shutdown()
        if self.flow.write_paused or self._is_kept_waiting():
            self.transport.abort()

    def _is_one_too_many(self) -> bool:
        address = self.client and self.client[0]
        same = sum(1 for other in self.connections if _address(other) == address)
        return len(self.connections) > self.most or same > self.most_per_address

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


def _address(other: object) -> str | None:
    return other.client[0] if isinstance(other, Connection) and other.client else None
