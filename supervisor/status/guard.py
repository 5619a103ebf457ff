"""What every answer passes: security headers, a known host name, GET or HEAD only but to open.

The host check stops a foreign web page from reading the status by pointing a name of its own at
this machine (DNS rebinding). Addresses need no check: a rebinding attack has to use a name.
"""

import ipaddress

from starlette.datastructures import MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

# Endings that no public registry hands out, so that no stranger can own such a name.
PRIVATE_ENDINGS = ("", ".local", ".lan", ".home", ".internal", ".home.arpa")

OPEN_PATH = "/api/open"  # the one place that takes a POST

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
        "img-src 'self'; manifest-src 'self'; worker-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Cache-Control": "no-store",
}


def private_names(host_name: str) -> frozenset[str]:
    """Names under which a machine of this host name is reached on its own network."""
    first_label = host_name.lower().split(".")[0]
    own = {first_label + ending for ending in PRIVATE_ENDINGS} if first_label else set()
    return frozenset(own | {"localhost"})


class Guard:
    """ASGI middleware; ``names`` are the accepted host names besides addresses."""

    def __init__(self, app: ASGIApp, names: frozenset[str]) -> None:
        self._app = app
        self._names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(HEADERS)
            await send(message)

        app = self._refusal(scope) or self._app
        await app(scope, receive, send_with_headers)

    def _refusal(self, scope: Scope) -> ASGIApp | None:
        hosts = [value for name, value in scope["headers"] if name == b"host"]
        if len(hosts) != 1 or not is_accepted(hosts[0].decode("latin-1"), self._names):
            return PlainTextResponse(
                "Unknown host name. Use this machine's address, its own name, or localhost.\n", 421
            )
        if scope["path"] == f"{OPEN_PATH}/":
            return None  # a slip: that there is nothing says more than that nothing acts here
        acts = scope["path"] == OPEN_PATH
        allowed = ("POST",) if acts else ("GET", "HEAD")
        if scope["method"] not in allowed:
            what = "asks to open" if acts else "shows, it does not act"
            return PlainTextResponse(
                f"Only {' and '.join(allowed)}: this {what}.\n",
                405,
                headers={"Allow": ", ".join(allowed)},
            )
        return None


def is_accepted(host: str, names: frozenset[str]) -> bool:
    """Whether a Host header names an address or one of ``names``; a port may follow."""
    if host.startswith("["):
        name, bracket, port = host[1:].partition("]")
        return bool(bracket) and _is_address(name, 6) and _is_port_suffix(port)
    name, colon, port = host.partition(":")
    if not _is_port_suffix(colon + port):
        return False
    return _is_address(name, 4) or name.lower().removesuffix(".") in names


def _is_address(text: str, version: int) -> bool:
    try:
        return ipaddress.ip_address(text).version == version
    except ValueError:
        return False


def _is_port_suffix(text: str) -> bool:
    return not text or (text[0] == ":" and text[1:].isascii() and text[1:].isdigit())
