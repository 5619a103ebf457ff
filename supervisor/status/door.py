"""The door: who comes is counted at once, before TLS, and until the connection is gone.

A handshake under way holds a buffer of 256 KiB, and waits for the client. Were clients counted by
what they ask, those that say nothing at all would take all there is.
"""

import asyncio
import socket
import ssl
from collections.abc import Callable, Collection
from contextlib import suppress
from ipaddress import ip_address
from typing import NamedTuple

from supervisor.status.connection import Connection

HANDSHAKE_S = 5.0
FAREWELL_S = 0.5  # for a client of TLS to answer the end of the connection
AGAIN_AFTER_S = 0.1  # when nobody can be let in: no file descriptor is left, say
TOO_MANY = b"Too many connections. Close some, or try again in a few seconds.\n"
REFUSAL = (
    b"HTTP/1.1 503 Service Unavailable\r\nRetry-After: 5\r\nConnection: close\r\n"
    b"Content-Type: text/plain; charset=utf-8\r\nContent-Length: %d\r\n\r\n%s"
) % (len(TOO_MANY), TOO_MANY)


class Places(NamedTuple):
    """How many connections there may be, those that still shake hands among them.

    A machine has as many IPv6 addresses as it likes, of the one /64 that its network is (RFC 4291,
    section 2.5.1): of that, half of all. Not fewer, for a whole household is behind it.
    """

    of_all: int = 128
    of_one_address: int = 20
    of_one_network: int = 64

    def has_one(self, inside: Collection[str], address: str) -> bool:
        """For one more, beside those of these addresses."""
        network = _network(address)
        return (
            len(inside) < self.of_all
            and sum(_network(one) == network for one in inside) < self.of_one_network
            and sum(one == address for one in inside) < self.of_one_address
        )


def _network(address: str) -> bytes:
    packed = ip_address(address.partition("%")[0]).packed
    return packed[:8] if len(packed) > 4 else packed


PLACES = Places()


class Door:
    """Lets in as many as there are places for. One too many is told so; by TLS, where nothing can
    be told before a handshake, it is hung up on."""

    def __init__(
        self, make: Callable[[], Connection], tls: ssl.SSLContext | None, places: Places
    ) -> None:
        self._make = make
        self._tls = tls
        self._places = places
        self._inside: dict[asyncio.Task[None], str] = {}

    async def keep(self, listening: socket.socket) -> None:
        """Until cancelled; who is inside stays."""
        listening.setblocking(False)
        loop = asyncio.get_running_loop()
        while True:
            try:
                client, (address, *_) = await loop.sock_accept(listening)
            except OSError:
                await asyncio.sleep(AGAIN_AFTER_S)
                continue
            if self._places.has_one(self._inside.values(), address):
                serving = loop.create_task(self._serve(client))
                self._inside[serving] = address
                serving.add_done_callback(self._inside.pop)
            else:
                self._refuse(client)
            await asyncio.sleep(0)  # a crowd at the door does not hold up who is inside

    async def _serve(self, client: socket.socket) -> None:
        with suppress(OSError):  # what goes wrong with a handshake is not for the log
            _, connection = await asyncio.get_running_loop().connect_accepted_socket(
                self._make,
                client,
                ssl=self._tls,
                ssl_handshake_timeout=HANDSHAKE_S if self._tls else None,
                ssl_shutdown_timeout=FAREWELL_S if self._tls else None,
            )
            await connection.gone.wait()

    def _refuse(self, client: socket.socket) -> None:
        with client, suppress(OSError):
            if self._tls is None:
                client.send(REFUSAL)
