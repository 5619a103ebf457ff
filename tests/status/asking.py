"""Asks an app over HTTP without a server, with a body and from any address."""

import asyncio

import httpx
from starlette.applications import Starlette

BASE_URL = "http://localhost:8462"


def ask(
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

    async def request() -> httpx.Response:
        async with httpx.AsyncClient(transport=transport, base_url=BASE_URL) as client:
            return await client.request(method, path, headers=named, content=body)

    return asyncio.run(request())
