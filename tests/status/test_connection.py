"""Clients that keep the server waiting, do not read, or come in a crowd."""

import asyncio
import socket
import threading
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import pytest
import samples
import serving
from serving import PATIENCE_S, client, get, head_and_some, rest
from starlette.applications import Starlette
from starlette.responses import StreamingResponse
from starlette.routing import Route

from supervisor.status.app import create_app
from supervisor.status.connection import LONGEST_HEAD_BYTES, Connection
from supervisor.status.door import PLACES, Places
from supervisor.status.status_file import Status
from supervisor.status.stream import Streams

HEAD = b"GET /api/status HTTP/1.1\r\nHost: localhost\r\n"
POST = (
    b"POST /api/open HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
    b"Content-Length: 19\r\n\r\n"
)


class Hasty(Connection):
    """Waits for nobody for long; so do the tests."""

    request_s = 0.2
    read_s = 0.2


FEW = Places(of_all=6, of_one_address=3)


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    samples.publish(tmp_path, samples.CLOSED)
    with serving.served(create_app(tmp_path), connection=Hasty, places=FEW) as port:
        yield port


@pytest.mark.parametrize(
    "sends", [b"", b"G", HEAD, HEAD + b"X-More: ", POST, POST + b'{"confirm'], ids=len
)
def test_half_a_request_is_given_up(port: int, sends: bytes) -> None:
    answer = rest(client(port, sends))
    assert b"200 OK" not in answer


def drip(connection: socket.socket, what: bytes) -> bool:
    """Byte by byte, faster than the server's patience; whether it hung up meanwhile."""
    connection.settimeout(0.05)
    for number in range(1000):
        try:
            connection.sendall(what[number % len(what)].to_bytes())
            if connection.recv(65536) == b"":
                return True
        except TimeoutError:
            continue
        except OSError:
            return True
    return False


@pytest.mark.parametrize("before", [b"", HEAD + b"\r\n"], ids=["at once", "after an answer"])
def test_a_head_that_drips_in_is_given_up(port: int, before: bytes) -> None:
    """Slow loris: every byte comes in time, the whole never does."""
    with client(port, before + HEAD) as dripping:
        if before:
            head_and_some(dripping, b'"problem"')
        assert drip(dripping, b"X-More: more\r\n")


def test_a_body_that_drips_in_is_given_up(port: int) -> None:
    with client(port, POST.replace(b"19", b"900")) as dripping:
        assert drip(dripping, b" ")


def test_who_asks_in_time_is_served_again_and_again(port: int) -> None:
    with client(port) as patient:
        for _ in range(5):
            patient.sendall(HEAD + b"\r\n")
            head_and_some(patient, b'"problem"')


def test_requests_one_behind_the_other_are_all_answered(port: int) -> None:
    answer = rest(client(port, 3 * (HEAD + b"\r\n")))
    assert answer.count(b"200 OK") == 3


def test_a_stream_is_not_given_up_for_lasting(tmp_path: Path) -> None:
    """Longer than a request may take: what is long is our turn, not the client's."""
    samples.publish(tmp_path, samples.CLOSED)
    with serving.served(create_app(tmp_path), connection=Hasty) as port:
        stream = get(port, "/api/stream")
        received = b""
        while received.count(b"event: status") < 4:
            more = stream.recv(65536)
            assert more
            received += more
    assert rest(stream).endswith(b"0\r\n\r\n")


def test_a_crowd_from_one_address_leaves_room_for_others(port: int) -> None:
    crowd = [get(port, "/api/stream") for _ in range(3)]
    for one in crowd:
        head_and_some(one, b"event: status")
    refused = rest(get(port, "/api/status"))
    assert b"503 Service Unavailable" in refused
    assert b"Retry-After: 5" in refused
    with get(port, "/api/status", source="127.0.0.2") as other:
        assert b"200 OK" in head_and_some(other, b'"problem"')
    for one in crowd:
        one.close()


def test_a_crowd_from_everywhere_is_bounded_too(port: int) -> None:
    crowd = [get(port, "/api/stream", source=f"127.0.0.{n}") for n in range(1, 7)]
    for one in crowd:
        head_and_some(one, b"event: status")
    assert b"503" in rest(get(port, "/api/status", source="127.0.0.9"))
    for one in crowd:
        one.close()


@pytest.mark.parametrize(
    ("inside", "address", "has_place"),
    [
        ([f"2001:db8:1:2::{n:x}" for n in range(64)], "2001:db8:1:2:ffff::1", False),
        ([f"2001:db8:1:2::{n:x}" for n in range(63)], "2001:db8:1:2:ffff::1", True),
        ([f"2001:db8:1:2::{n:x}" for n in range(64)], "2001:db8:1:3::1", True),
        ([f"2001:db8:1:2::{n:x}" for n in range(64)], "192.0.2.1", True),
        ([f"fe80::{n:x}%eth0" for n in range(64)], "fe80::ffff%eth0", False),
        (["fe80::1%eth0"] * 20, "fe80::1%eth0", False),
        ([f"192.0.2.{n}" for n in range(64)], "192.0.2.200", True),
        ([f"192.0.{n}.1" for n in range(128)], "198.51.100.1", False),
    ],
)
def test_one_network_of_many_addresses_takes_half_of_the_places(
    inside: list[str], address: str, has_place: bool
) -> None:
    """RFC 4291, section 2.5.1: an interface identifier has 64 bits, all of them its owner's."""
    assert PLACES.has_one(inside, address) is has_place


def test_places_are_free_again(port: int) -> None:
    for _ in range(20):
        with get(port, "/api/status") as one:
            head_and_some(one, b'"problem"')
        rest(client(port, b"G"))


@pytest.mark.parametrize("size", [LONGEST_HEAD_BYTES, 1_000_000])
def test_a_head_without_end_is_refused(port: int, size: int) -> None:
    with client(port) as endless:
        try:
            endless.sendall(HEAD + b"X: " + size * b"x")
            answer = rest(endless)
        except OSError:  # hung up while we still sent
            return
    assert b"200 OK" not in answer


class Endless:
    """An answer that never ends; ``is_over`` is set when nobody listens any more."""

    def __init__(self) -> None:
        self.is_over = threading.Event()
        self.app = Starlette(routes=[Route("/", self)])
        self.app.state.streams = Streams(lambda: Status(None, None, ""), 1)

    async def __call__(self, *asgi: Any) -> None:
        try:
            await StreamingResponse(self._pieces())(*asgi)
        finally:
            self.is_over.set()

    async def _pieces(self) -> AsyncIterator[bytes]:
        while True:
            yield 65536 * b"x"
            await asyncio.sleep(0)  # what is sent to nobody does not wait


def test_who_does_not_read_is_dropped() -> None:
    endless = Endless()
    with serving.served(endless.app, connection=Hasty) as port, get(port, "/"):
        assert endless.is_over.wait(PATIENCE_S)


def test_who_does_not_read_does_not_hold_up_the_end(capfd: pytest.CaptureFixture[str]) -> None:
    endless = Endless()

    class Patient(Connection):
        read_s = 10 * PATIENCE_S

    with serving.served(endless.app, connection=Patient) as port:
        deaf = get(port, "/")
        head_and_some(deaf, b"x")
    deaf.close()
    assert endless.is_over.is_set()
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    "sends", [b"\x16\x03\x01\x02\x00\x01", b"\r\n" * 9, b"GET / HTTP/9.9\r\n\r\n"]
)
def test_garbage_is_not_for_the_log(
    port: int, sends: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    assert b"200 OK" not in rest(client(port, sends))
    assert capfd.readouterr().err == ""
