"""The status page as a Starlette app. Shows; opens for who knows the token; never closes or resets.

``GET /api/status`` answers with one JSON object:

- every field of ``snapshot.Snapshot`` under its own name (units at the end of the names);
- ``age_s``: seconds since the supervisor published it, by this machine's clock;
- ``fresh``: true while ``age_s`` lies in 0 ... 3 s; only then are the values the present ones;
- ``problem``: a sentence why not, empty when fresh;
- ``opening_set_up``: whether ``POST /api/open`` opens for who knows the token.

Status 200 while it is fresh, else 503 with ``Retry-After``: who looks at the code alone must not
take old values for the present ones. The body is the same; where no snapshot can be read at all,
only these four are present, ``age_s`` null. ``/api/openapi.json`` describes this and all the rest.
"""

import json
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from prometheus_client import CollectorRegistry
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from supervisor.status.document import as_dict, status_schema
from supervisor.status.guard import OPEN_PATH, Guard, private_names
from supervisor.status.history_desk import HistoryDesk
from supervisor.status.metrics import StatusCollector, exposition
from supervisor.status.openapi import description
from supervisor.status.opening import OpenDesk, Opening
from supervisor.status.status_file import Status, current
from supervisor.status.stream import Streams

ASSETS = Path(__file__).parent / "assets"
MEDIA_TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
# Where a browser looks for them; a service worker governs the pages below its own place.
AT_THE_ROOT = ("manifest.webmanifest", "service-worker.js")
MOST_STREAMS = 50
NOT_FRESH = {"Retry-After": "1"}  # a daemon at work publishes more often than that


def create_app(
    run_dir: Path,
    host_name: str = "localhost",
    now_s: Callable[[], float] = time.monotonic,
    *,
    journal: Callable[[], Path] | None = None,
    opening: Opening | None = None,
    most_streams: int = MOST_STREAMS,
) -> Starlette:
    """The app over one run directory; ``host_name`` is the name this machine goes by.

    ``now_s`` is the clock that a snapshot's age is told by. ``journal`` finds the file of the
    record; None: no history is shown. ``opening`` None: nobody opens from the page.
    """

    def look() -> Status:
        return replace(current(run_dir, now_s), opening_set_up=opening is not None)

    async def api_status(_: Request) -> Response:
        status = look()
        content = json.dumps(as_dict(status), indent=1, allow_nan=False)
        code, headers = (200, {}) if status.fresh else (503, NOT_FRESH)
        return Response(content, code, headers, media_type="application/json")

    streams = Streams(look, most_streams)
    past, open_desk = HistoryDesk(journal), OpenDesk(opening)
    app = Starlette(
        routes=[
            *_assets(),
            Route("/api/status", api_status),
            Route("/api/status/schema", _constant(status_schema)),
            Route("/api/stream", streams),
            Route("/api/history", past.history),
            Route("/api/history.csv", past.history_csv),
            Route("/api/sessions", past.sessions),
            Route(OPEN_PATH, open_desk.answer, methods=["POST"]),
            Route("/api/openapi.json", _constant(description)),
            Route("/metrics", _metrics(look)),
        ],
        middleware=[Middleware(Guard, names=private_names(host_name))],
        exception_handlers={404: _nothing_here},
    )
    app.router.redirect_slashes = False
    app.state.streams = streams
    return app


Answer = Callable[[Request], object]
NOTHING_HERE = (
    "there is nothing at this path: the page is at /, and /api/openapi.json tells of all else; "
    "no path but the page's ends with a slash"
)


async def _nothing_here(_: Request, __: Exception) -> Response:
    return JSONResponse({"problem": NOTHING_HERE}, 404)


def _metrics(look: Callable[[], Status]) -> Answer:
    registry = CollectorRegistry(auto_describe=False)
    registry.register(StatusCollector(look))

    async def metrics(request: Request) -> Response:
        text, media_type = exposition(registry, request.headers.get("accept", ""))
        return Response(text, headers={"Content-Type": media_type})

    return metrics


def _constant(content: Callable[[], object]) -> Answer:
    """Made when it is asked for first."""

    async def answer(_: Request) -> Response:
        return JSONResponse(content())

    return answer


def _assets() -> list[Route]:
    files = {f"/assets/{f.name}": f for f in ASSETS.iterdir() if f.suffix != ".html"}
    files["/"] = ASSETS / "index.html"
    files |= {f"/{name}": ASSETS / name for name in AT_THE_ROOT if (ASSETS / name).exists()}
    return [_asset(url, file) for url, file in files.items()]


def _asset(url: str, file: Path) -> Route:
    content, media_type = file.read_bytes(), MEDIA_TYPES[file.suffix]

    async def answer(_: Request) -> Response:
        return Response(content, media_type=media_type)

    return Route(url, answer)
