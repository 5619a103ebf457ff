"""The event stream: one look for all, the newest only, and a sign of life each second."""

import asyncio
import json
from contextlib import suppress
from dataclasses import replace
from itertools import pairwise

import pytest
import samples
import skipping
from streaming import Client

from supervisor.status.status_file import STALE_AFTER_S, Status
from supervisor.status.stream import LOOK_EVERY_S, Streams

JUST_S = 1e-6


class Daemon:
    """Publishes every ``every_s`` of the loop's time; a Streams looks at it."""

    def __init__(self, every_s: float = 0.25) -> None:
        self.every_s = every_s
        self.stops_at_s = float("inf")
        self.looks = 0

    def look(self) -> Status:
        self.looks += 1
        now_s = asyncio.get_running_loop().time()
        published_s = min(now_s, self.stops_at_s) // self.every_s * self.every_s
        snapshot = replace(samples.CLOSED, published_at_s=published_s)
        age_s = now_s - published_s
        return Status(snapshot, age_s, "old" if age_s > STALE_AFTER_S else "")


def over(seconds: float, daemon: Daemon, takes_s: float = 0.0) -> Client:
    async def main() -> Client:
        one = Client(Streams(daemon.look, 5), takes_s=takes_s)
        await asyncio.sleep(seconds)
        await one.leave()
        return one

    return skipping.run(main())


def between(client: Client) -> list[float]:
    times = [at_s for at_s, _ in client.events]
    return [after - before for before, after in pairwise(times)]


def test_begins_with_when_to_come_back_and_the_newest_document() -> None:
    client = over(0.1, Daemon())
    assert client.status == 200
    assert client.headers[b"content-type"].startswith(b"text/event-stream")
    assert client.pieces[0][1] == b"retry: 1000\n\n"
    at_s, document = client.events[0]
    assert at_s == 0.0
    assert document["bank"] == samples.CLOSED.bank
    assert (document["fresh"], document["problem"]) == (True, "")


def test_each_new_snapshot_at_most_two_a_second() -> None:
    client = over(20.0, Daemon(every_s=0.1))
    assert min(between(client)) >= LOOK_EVERY_S - JUST_S
    assert len(client.events) >= 40


def test_a_dead_daemon_is_told_each_second_with_its_age() -> None:
    daemon = Daemon()
    daemon.stops_at_s = 3.0
    client = over(20.0, daemon)
    assert max(between(client)) <= 1.0 + JUST_S
    ages = [document["age_s"] for at_s, document in client.events if at_s > 3.0]
    assert ages == sorted(ages)
    late = [document for at_s, document in client.events if at_s > 3.0 + STALE_AFTER_S + 0.5]
    assert late
    assert all((d["fresh"], d["problem"]) == (False, "old") for d in late)


def test_no_file_is_told_as_well() -> None:
    async def main() -> Client:
        one = Client(Streams(lambda: Status(None, None, "no status file"), 5))
        await asyncio.sleep(5.0)
        await one.leave()
        return one

    client = skipping.run(main())
    assert max(between(client)) <= 1.0 + JUST_S
    assert client.events[-1][1] == {
        "age_s": None,
        "fresh": False,
        "problem": "no status file",
        "opening_set_up": False,
    }


@pytest.mark.parametrize("count", [1, 50])
def test_one_look_serves_all(count: int) -> None:
    daemon = Daemon()

    async def main() -> list[Client]:
        streams = Streams(daemon.look, 50)
        clients = [Client(streams) for _ in range(count)]
        await asyncio.sleep(10.25)
        for client in clients:
            await client.leave()
        looks = daemon.looks
        await asyncio.sleep(10.0)
        assert daemon.looks == looks  # nobody listens, nobody looks
        return clients

    clients = skipping.run(main())
    assert daemon.looks == 21
    assert {len(client.events) for client in clients} == {21}


def test_one_too_many_is_told_so_and_a_place_is_free_again() -> None:
    async def main() -> None:
        streams = Streams(Daemon().look, 2)
        first, second, third = (Client(streams) for _ in range(3))
        await third.task
        assert third.status == 503
        assert third.headers[b"retry-after"] == b"5"
        assert "2 streams" in json.loads(third.pieces[0][1])["problem"]
        await first.leave()
        fourth = Client(streams)
        await asyncio.sleep(1.0)
        assert fourth.status == 200
        assert len(fourth.events) > 1
        await second.leave()
        await fourth.leave()

    skipping.run(main())


def test_a_slow_client_gets_the_newest_only() -> None:
    client = over(60.0, Daemon(), takes_s=7.0)
    assert len(client.events) <= 9
    for at_s, document in client.events[1:]:
        assert at_s - document["published_at_s"] <= LOOK_EVERY_S + JUST_S


def test_head_does_not_wait_for_the_end() -> None:
    async def main() -> Client:
        one = Client(Streams(Daemon().look, 2), method="HEAD")
        await one.task
        return one

    client = skipping.run(main())
    assert (client.status, client.pieces) == (200, [])
    assert client.headers[b"content-type"].startswith(b"text/event-stream")


def test_all_end_with_the_server() -> None:
    async def main() -> list[Client]:
        streams = Streams(Daemon().look, 5)
        clients = [Client(streams) for _ in range(5)]
        await asyncio.sleep(2.0)
        streams.end()
        await asyncio.wait_for(asyncio.gather(*(c.task for c in clients)), 0.1)
        return clients

    assert all(client.is_over for client in skipping.run(main()))


@pytest.mark.parametrize("fails_at", [1, 3])
def test_a_look_that_fails_ends_the_streams_and_the_next_one_begins_anew(fails_at: int) -> None:
    daemon = Daemon()

    def look() -> Status:
        if daemon.looks == fails_at:
            daemon.looks += 1
            raise RuntimeError("a fault of ours")
        return daemon.look()

    async def main() -> None:
        asyncio.get_running_loop().set_exception_handler(lambda *_: None)
        daemon.looks = 1
        streams = Streams(look, 5)
        first = Client(streams)
        await asyncio.sleep(10.0)
        assert first.is_over
        second = Client(streams)
        await asyncio.sleep(2.0)
        assert len(second.events) > 2
        await second.leave()

    skipping.run(main())


def test_a_client_torn_off_leaves_no_place_taken() -> None:
    async def main() -> None:
        streams = Streams(Daemon().look, 1)
        for _ in range(3):
            one = Client(streams)
            await asyncio.sleep(1.0)
            one.task.cancel()
            with suppress(asyncio.CancelledError):
                await one.task
            assert one.status == 200

    skipping.run(main())
