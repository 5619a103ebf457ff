"""Asks the app over HTTP without a server, or with one and a browser."""

import asyncio
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

sys.path.append(str(Path(__file__).parent))  # for the samples

import browsing

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


@pytest.fixture(scope="session")
def opened_browser() -> Iterator[browsing.Browser]:
    if shutil.which("chromedriver") is None or shutil.which("chromium") is None:
        pytest.skip("chromium and chromedriver are not installed")
    with browsing.browser() as opened:
        yield opened


@pytest.fixture
def browser(opened_browser: browsing.Browser) -> Iterator[browsing.Browser]:
    """The one browser, in the end as it was."""
    yield opened_browser
    opened_browser.be_itself()
