"""The page as it is served, with those of the machine's answers that a test wants to say itself."""

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import samples
import serving
from records import record
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from supervisor.snapshot import Snapshot
from supervisor.status.app import create_app
from supervisor.status.opening import Opening, Reply

Answer = Callable[[Request], Awaitable[Response]]


def _nobody() -> Reply:
    raise OSError("no daemon is here")


NOBODY_OPENS = Opening("a token that no test sends", _nobody)  # set up, and that is all
SILENT_FOR_S = 0.02  # at a time, until the page ends


@dataclass
class Page:
    """A page under way. ``answers`` stand before the app's own; ``asked`` is what they were sent.

    The machine's clock stands, so that a snapshot keeps its age.
    """

    run_dir: Path
    age_s: float
    url: str = ""
    answers: dict[str, Answer] = field(default_factory=dict)
    asked: list[tuple[str, str, str, bytes]] = field(default_factory=list)
    events: list[str] = field(default_factory=list)
    published_at_s: float = 1000.0
    is_cut: bool = False

    def publish(self, snapshot: Snapshot) -> None:
        """A snapshot of now, later than the last one."""
        self.published_at_s += 0.5
        samples.write(self.run_dir, replace(snapshot, published_at_s=self.published_at_s))

    def now_s(self) -> float:
        return self.published_at_s + self.age_s

    def tell(self, snapshot: Snapshot) -> None:
        """By the stream alone, as of now; the file stays as it was."""
        self.published_at_s += 0.01
        document = replace(snapshot, published_at_s=self.published_at_s).as_dict()
        document |= {"age_s": 0.1, "fresh": True, "problem": "", "opening_set_up": True}
        self.events.append(f"event: status\ndata: {json.dumps(document)}\n\n")

    async def stream(self, _: Request) -> Response:
        """Silent until told, so that the page asks, each second; 503 when it was cut."""

        async def events() -> AsyncIterator[str]:
            yield ":\n\n"
            sent = len(self.events)
            while not self.is_cut:
                for event in self.events[sent:]:
                    yield event
                sent = len(self.events)
                await asyncio.sleep(SILENT_FOR_S)

        if self.is_cut:
            return JSONResponse({"problem": "no more streams"}, 503)
        return StreamingResponse(events(), media_type="text/event-stream")


class StandIn:
    """ASGI middleware: the page's own answers first."""

    def __init__(self, app: ASGIApp, page: Page) -> None:
        self._app = app
        self._page = page

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        request = Request(scope, receive)
        answer = self._page.answers.get(request.url.path)
        if answer is None:
            await self._app(scope, receive, send)
            return
        token = request.headers.get("authorization", "")
        path = f"{request.url.path}?{request.url.query}".rstrip("?")
        self._page.asked.append((request.method, path, token, await request.body()))
        await (await answer(request))(scope, receive, send)


def saying(content: Any, code: int = 200) -> Answer:
    async def answer(_: Request) -> Response:
        return JSONResponse(content, code)

    return answer


@contextmanager
def page_over(
    run_dir: Path,
    snapshot: Snapshot,
    age_s: float = 0.5,
    journal: Path | None = None,
    opening: Opening | None = NOBODY_OPENS,
) -> Iterator[Page]:
    """The page over a snapshot that keeps this age, and ten minutes of record or a journal."""
    page = Page(run_dir, age_s)
    page.publish(snapshot)
    page.answers = {"/api/history": saying(record(snapshot)), "/api/stream": page.stream}
    if journal is not None:
        del page.answers["/api/history"]
    app = create_app(run_dir, now_s=page.now_s, journal=lambda: journal or run_dir, opening=opening)
    app.add_middleware(StandIn, page=page)
    with serving.served(app) as port:
        page.url = f"http://127.0.0.1:{port}/"
        try:
            yield page
        finally:
            page.is_cut = True


@contextmanager
def served(run_dir: Path, snapshot: Snapshot, age_s: float = 0.5) -> Iterator[str]:
    """The same, for those who need its address alone."""
    with page_over(run_dir, snapshot, age_s) as page:
        yield page.url
