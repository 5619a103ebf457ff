"""Asks the app over HTTP without a server."""

import asyncio
import sys
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest

sys.path.append(str(Path(__file__).parent))  # for the samples

from supervisor.status.app import create_app

Ask = Callable[..., httpx.Response]


@pytest.fixture
def ask(tmp_path: Path) -> Ask:
    """``ask(path, method="GET", **headers)`` of an app that serves ``tmp_path``."""
    transport = httpx.ASGITransport(create_app(tmp_path, "hut"))

    async def request(path: str, method: str, headers: dict[str, str]) -> httpx.Response:
        async with httpx.AsyncClient(transport=transport, base_url="http://localhost:8462") as c:
            return await c.request(method, path, headers=headers)

    def ask(path: str, method: str = "GET", **headers: str) -> httpx.Response:
        return asyncio.run(request(path, method, headers))

    return ask
