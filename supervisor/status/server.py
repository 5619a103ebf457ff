"""The server: ours is a listening socket, bounds on its clients, and an end within a second."""

import asyncio
import socket
import ssl

import uvicorn
from starlette.applications import Starlette

from supervisor.status.connection import LONGEST_HEAD_BYTES, Connection
from supervisor.status.door import PLACES, Door, Places

UNSENT_BYTES = 128 * 1024  # that the kernel keeps for a client
UNHEARD_MS = 10_000  # without a sign that anything arrived; a phone out of range


class PageServer(uvicorn.Server):
    """Serves until SIGTERM or SIGINT; all streams of the app end then."""

    def __init__(
        self,
        app: Starlette,
        tls: ssl.SSLContext | None = None,
        connection: type[Connection] = Connection,
        places: Places = PLACES,
    ) -> None:
        settings = uvicorn.Config(
            app,
            ws="none",
            loop="asyncio",
            lifespan="off",
            log_level="error",  # a client's garbage is not for the log
            access_log=False,
            server_header=False,
            proxy_headers=False,
            h11_max_incomplete_event_size=LONGEST_HEAD_BYTES,
            timeout_graceful_shutdown=1,
        )
        super().__init__(settings)
        self._app = app
        self._connection = connection
        self._door = Door(self._connect, tls, places)
        self._keeping: list[asyncio.Task[None]] = []

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        loop = asyncio.get_running_loop()
        self.servers = []  # the door is ours
        self._keeping = [loop.create_task(self._door.keep(one)) for one in sockets or []]
        self.started = True

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        for keeping in self._keeping:
            keeping.cancel()
        self._app.state.streams.end()
        await super().shutdown(sockets)

    def _connect(self) -> Connection:
        return self._connection(self.config, self.server_state, app_state={})


def set_up(listening: socket.socket) -> None:
    """Options that each connection inherits."""
    # Without it every answer waits 40 ms for the peer's ACK.
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, UNHEARD_MS)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, UNSENT_BYTES)
