"""Asks an app over HTTP without a server, with a body and from any address; nobody waits."""

from pathlib import Path
from typing import Any

import httpx
import skipping
from starlette.applications import Starlette

from supervisor.control.requests import Reply
from supervisor.status.app import create_app
from supervisor.status.opening import Opening

BASE_URL = "http://localhost:8462"
TOKEN = "correct-horse-battery-staple"
BODY = b'{"confirm": "open"}'


async def answer(
    app: Starlette,
    path: str,
    method: str = "GET",
    body: bytes | None = None,
    address: str = "192.168.1.20",
    **headers: str,
) -> httpx.Response:
    """Underscores of the headers' names are hyphens."""
    transport = httpx.ASGITransport(app, client=(address, 50000))
    named = [
        (name.replace("_", "-").encode(), value.encode("latin-1"))
        for name, value in headers.items()
    ]
    async with httpx.AsyncClient(transport=transport, base_url=BASE_URL) as client:
        return await client.request(method, path, headers=named, content=body)


def ask(app: Starlette, path: str, *how: Any, **named: Any) -> httpx.Response:
    """The same from outside of an event loop."""
    return skipping.run(answer(app, path, *how, **named))


class Page:
    """An app that may open, with what the daemon was asked."""

    def __init__(self, folder: Path, token: str | None = TOKEN) -> None:
        self.asked = 0
        self.reply: Reply | Exception = Reply(True, "the coil is dropped", "open")
        self.opening = Opening(token, self._ask) if token else None
        self.app = create_app(folder, opening=self.opening)

    def _ask(self) -> Reply:
        self.asked += 1
        if isinstance(self.reply, Exception):
            raise self.reply
        return self.reply

    async def answer(
        self, token: str | None = TOKEN, body: bytes = BODY, **headers: str
    ) -> httpx.Response:
        given = {"content_type": "application/json"} | headers
        if token is not None:
            given = {"authorization": f"Bearer {token}"} | given
        return await answer(self.app, "/api/open", "POST", body, **given)

    def post(self, *token: str | None, **given: Any) -> httpx.Response:
        return skipping.run(self.answer(*token, **given))
