"""The page's server on a port of its own, in a thread of the test; and plain clients of it."""

import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from starlette.applications import Starlette

from supervisor.status.connection import Connection
from supervisor.status.door import PLACES, Places
from supervisor.status.server import PageServer, set_up

PATIENCE_S = 20.0
GET = b"GET %s HTTP/1.1\r\nHost: localhost\r\n\r\n"


@contextmanager
def served(
    app: Starlette,
    tls: ssl.SSLContext | None = None,
    connection: type[Connection] = Connection,
    places: Places = PLACES,
) -> Iterator[int]:
    """Its port. All has ended when this is left."""
    listening = socket.create_server(("127.0.0.1", 0))
    set_up(listening)
    server = PageServer(app, tls, connection, places)
    thread = threading.Thread(target=server.run, args=([listening],))
    thread.start()
    try:
        yield listening.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join(PATIENCE_S)
        assert not thread.is_alive()


def client(port: int, sends: bytes = b"", source: str = "127.0.0.1") -> socket.socket:
    connection = socket.create_connection(
        ("127.0.0.1", port), timeout=PATIENCE_S, source_address=(source, 0)
    )
    connection.sendall(sends)
    return connection


def get(port: int, path: str, source: str = "127.0.0.1") -> socket.socket:
    return client(port, GET % path.encode(), source)


def rest(connection: socket.socket) -> bytes:
    """All that comes until the other side hangs up."""
    received = b""
    with connection:
        try:
            while more := connection.recv(65536):
                received += more
        except ConnectionResetError:
            pass
    return received


def head_and_some(connection: socket.socket, until: bytes) -> bytes:
    """What comes until there is this."""
    received = b""
    while until not in received:
        more = connection.recv(65536)
        assert more, received
        received += more
    return received
