"""``POST /api/open``: who knows the token may open the circuit. Nothing here closes or resets.

The request goes to a socket of the daemon that understands ``open`` alone. A token must be sent on
purpose: no cookie does it by itself, and what another site's page sends is refused.

The right token is never refused, whoever else guesses from the same address: a household, a proxy
or a tunnel has one for all. A wrong one is answered a second late, and a connection asks one thing
at a time: so no address tries more than some twenty a second, see ``door``. That keeps a guesser
from taking the processor; what keeps him out is the length of the token, see ``token``.
"""

import asyncio
import hmac
import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Protocol
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

MOST_BODY_BYTES = 1024
AT_ONCE = 4
WRONG_LATE_S = 1.0
NOT_SET_UP = (
    "opening from the page is not set up: web.token_file names no file in the settings "
    "(holdwatch web --new-token FILE makes one); use the button or holdwatch open"
)


class Reply(Protocol):
    """What the daemon answers."""

    @property
    def done(self) -> bool: ...
    @property
    def message(self) -> str: ...
    @property
    def circuit(self) -> str: ...


@dataclass(frozen=True)
class Opening:
    """``ask`` asks the daemon to open and waits for its answer; raises OSError or ValueError."""

    token: str
    ask: Callable[[], Reply]


class _Refused(Exception):
    def __init__(self, code: int, problem: str, **headers: str) -> None:
        self.answer = JSONResponse({"problem": problem}, code, headers)


class OpenDesk:
    """Answers the requests to open."""

    def __init__(self, opening: Opening | None) -> None:
        self._opening = opening
        self._threads = ThreadPoolExecutor(AT_ONCE, "open")

    async def answer(self, request: Request) -> Response:
        try:
            opening = await self._allowed(request)
            await _check_body(request)
        except _Refused as refused:
            return refused.answer
        try:
            loop = asyncio.get_running_loop()
            reply = await loop.run_in_executor(self._threads, opening.ask)
        except (OSError, ValueError, TypeError) as error:
            problem = (
                f"no answer from the supervisor ({error}): open by hand now, "
                "by the button or at the supply"
            )
            return JSONResponse({"problem": problem}, 503)
        return JSONResponse(
            {"done": reply.done, "message": reply.message, "circuit": reply.circuit}
        )

    async def _allowed(self, request: Request) -> Opening:
        if problem := _from_elsewhere(request.headers):
            raise _Refused(403, problem)
        if self._opening is None:
            raise _Refused(403, NOT_SET_UP)
        await _check_token(request.headers, self._opening.token)
        return self._opening


async def _check_token(headers: Headers, token: str) -> None:
    scheme, _, sent = headers.get("authorization", "").partition(" ")
    if scheme.lower() != "bearer" or not sent:
        raise _Refused(401, "no token was sent", **{"WWW-Authenticate": "Bearer"})
    if not hmac.compare_digest(sent.strip().encode("latin-1"), token.encode()):
        await asyncio.sleep(WRONG_LATE_S)
        challenge = 'Bearer error="invalid_token"'
        raise _Refused(401, "the token is wrong", **{"WWW-Authenticate": challenge})


def _from_elsewhere(headers: Headers) -> str:
    """Why this was not sent by our own page or by a program; empty when it was.

    W3C Fetch Metadata Request Headers: ``Sec-Fetch-Site``; WHATWG Fetch: ``Origin``.
    """
    if not set(headers.getlist("sec-fetch-site")) <= {"same-origin", "none"}:
        return "a page of another site may not open"
    host = headers.get("host", "").lower()
    if any(_host_of(origin) != host for origin in headers.getlist("origin")):
        return "a page of another origin may not open"
    return ""


def _host_of(origin: str) -> str | None:
    try:
        return urlsplit(origin).netloc.lower() or None
    except ValueError:
        return None


async def _check_body(request: Request) -> None:
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media_type != "application/json":
        raise _Refused(415, 'the body must be application/json: {"confirm": "open"}')
    body = b""
    try:
        async for chunk in request.stream():
            body += chunk
            if len(body) > MOST_BODY_BYTES:
                raise _Refused(413, "the body is too large", Connection="close")
    except ClientDisconnect:
        raise _Refused(400, "the body did not come") from None
    try:
        confirmed = json.loads(body) == {"confirm": "open"}
    except (ValueError, RecursionError):
        confirmed = False
    if not confirmed:
        raise _Refused(422, 'the body must be {"confirm": "open"}, no less and no more')
