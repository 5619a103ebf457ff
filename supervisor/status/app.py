"""The status page as a Starlette app: ``/``, ``/api/status``, ``/metrics``. Shows, never acts.

``GET /api/status`` answers with one JSON object:

- every field of ``snapshot.Snapshot`` under its own name (units at the end of the names);
- ``age_s``: seconds since the supervisor published it, by this machine's clock;
- ``fresh``: true while ``age_s`` lies in 0 ... 3 s; only then are the values the present ones;
- ``problem``: a sentence why not, empty when fresh.

Status 200 when a snapshot could be read, fresh or not. Status 503 when there is none: then only
``age_s`` (null), ``fresh`` (false) and ``problem`` are present.
"""

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from supervisor.status.guard import Guard, private_names
from supervisor.status.metrics import StatusCollector
from supervisor.status.status_file import Status, current

ASSETS = Path(__file__).parent / "assets"
MEDIA_TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
}


def create_app(
    run_dir: Path, host_name: str = "localhost", now_s: Callable[[], float] = time.monotonic
) -> Starlette:
    """The app over one run directory; ``host_name`` is the name this machine goes by.

    ``now_s`` is the clock that a snapshot's age is told by.
    """

    def look() -> Status:
        return current(run_dir, now_s)

    registry = CollectorRegistry(auto_describe=False)
    registry.register(StatusCollector(look))

    async def api_status(_: Request) -> Response:
        status = look()
        code = 200 if status.snapshot else 503
        content = json.dumps(as_dict(status), indent=1, allow_nan=False)
        return Response(content, code, media_type="application/json")

    async def metrics(_: Request) -> Response:
        return Response(generate_latest(registry), media_type=CONTENT_TYPE_LATEST)

    pages = [_asset("/", ASSETS / "index.html")]
    files = [_asset(f"/assets/{f.name}", f) for f in ASSETS.iterdir() if f.suffix != ".html"]
    data = [Route("/api/status", api_status), Route("/metrics", metrics)]
    guard = Middleware(Guard, names=private_names(host_name))
    return Starlette(routes=pages + files + data, middleware=[guard])


def as_dict(status: Status) -> dict[str, Any]:
    """The JSON object of ``/api/status``."""
    snapshot = status.snapshot.as_dict() if status.snapshot else {}
    return snapshot | {"age_s": status.age_s, "fresh": status.fresh, "problem": status.problem}


def _asset(url: str, file: Path) -> Route:
    content, media_type = file.read_bytes(), MEDIA_TYPES[file.suffix]

    async def answer(_: Request) -> Response:
        return Response(content, media_type=media_type)

    return Route(url, answer)
