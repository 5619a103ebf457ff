"""A metrics page that is asked without end takes no more memory than at first."""

import asyncio
import gc
import sys
from collections.abc import MutableMapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from loop_bench import LoopBench

from supervisor.control.publisher import StatusFile
from supervisor.settings.model import SupervisorSettings
from supervisor.status.app import create_app

SCRAPES = 600
FEW_BLOCKS = SCRAPES // 10  # one object left by each scrape would be ten times as many


async def ask(app: Any, path: str) -> int:
    """One request in the language of servers, without one; the status."""
    told: list[MutableMapping[str, Any]] = []
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET",
        "path": path, "raw_path": path.encode(), "query_string": b"", "root_path": "",
        "headers": [(b"host", b"localhost")], "scheme": "http",
        "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 8462),
    }  # fmt: skip

    async def receive() -> MutableMapping[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: MutableMapping[str, Any]) -> None:
        told.append(message)

    await app(scope, receive, send)
    return int(told[0]["status"])


@pytest.mark.parametrize("path", ["/metrics", "/api/status", "/nowhere"])
def test_twice_the_scrapes_take_no_more_memory(
    hut_settings: SupervisorSettings, tmp_path: Path, path: str
) -> None:
    """Of a loop that runs: each scrape meets other figures."""
    bench = LoopBench(hut_settings, tmp_path)
    bench.run(1.5)
    snapshot = bench.loop._viewer.last
    assert snapshot
    bench.loop.close()
    file = StatusFile(tmp_path)
    app = create_app(tmp_path, "hut", now_s=lambda: snapshot.published_at_s)

    async def scrapes(count: int) -> None:
        for number in range(count):
            if number % 100 == 0:
                file.publish(replace(snapshot, now_s=snapshot.now_s + number))
            assert await ask(app, path) == (404 if path == "/nowhere" else 200)

    asyncio.run(scrapes(SCRAPES))
    before = blocks()
    asyncio.run(scrapes(SCRAPES))
    assert blocks() - before < FEW_BLOCKS


def blocks() -> int:
    """Blocks of memory in use: exact, and it slows nothing down."""
    gc.collect()
    return sys.getallocatedblocks()
