"""``/api/history``, ``/api/history.csv``, ``/api/sessions``: a query at a time, in a thread.

Who asks the same within two seconds gets the same answer, so a crowd costs what one does.
"""

import asyncio
import csv
import io
import json
import sqlite3
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from supervisor.journal.reader import NoJournal, Reader, Unreadable
from supervisor.status.history import Asked, History, history, sessions

AT_ONCE = 1
FRESH_S = 2.0
MOST_KEPT = 32  # answers, waiting ones too
MOST_MINUTES = 14 * 24 * 60
LEAST_POINTS, POINTS, MOST_POINTS = 50, 360, 2000
MINUTES = 10
LONGEST_NUMBER = 20  # in characters
PARAMETERS = ("minutes", "whole", "session", "points")
CSV_COLUMNS = (
    "utc", "before_newest_seconds",
    "front_cell_lowest_volts", "front_cell_volts", "front_cell_highest_volts",
    "far_cell_lowest_volts", "far_cell_volts", "far_cell_highest_volts",
    "current_lowest_amperes", "current_amperes", "current_highest_amperes",
    "simulated",
)  # fmt: skip
NOT_SET_UP = "no journal is shown here: holdwatch web was started without the daemon's --state-dir"

Make = Callable[[Reader], Response]


@dataclass
class _Kept:
    answer: "asyncio.Future[Response]"
    at_s: float


class HistoryDesk:
    """``journal`` finds the file, at each query anew; None: there is none to be shown."""

    def __init__(self, journal: Callable[[], Path] | None) -> None:
        self._journal = journal
        self._threads = ThreadPoolExecutor(AT_ONCE, "history")
        self._kept: dict[object, _Kept] = {}

    async def history(self, request: Request) -> Response:
        return await self._told(request, lambda told: _JSON(told.as_dict()))

    async def history_csv(self, request: Request) -> Response:
        return await self._told(request, _csv)

    async def sessions(self, request: Request) -> Response:
        if request.query_params:
            return _problem(422, "the list of sessions takes no parameters")
        return await self._answer("sessions", lambda reader: _JSON(sessions(reader)))

    async def _told(self, request: Request, render: Callable[[History], Response]) -> Response:
        try:
            asked = parse(request.query_params)
        except ValueError as wrong:
            return _problem(422, str(wrong))
        key = request.url.path, asked
        return await self._answer(key, lambda reader: render(history(reader, asked)))

    async def _answer(self, key: object, make: Make) -> Response:
        loop = asyncio.get_running_loop()
        now_s = loop.time()
        self._forget(now_s)
        kept = self._kept.get(key)
        if kept is None:
            if len(self._kept) >= MOST_KEPT:
                return _problem(503, "too many are asking for the history", **{"Retry-After": "2"})
            answer = loop.run_in_executor(self._threads, self._query, make)
            kept = self._kept[key] = _Kept(answer, now_s)
        return await asyncio.shield(kept.answer)  # one who leaves takes it from nobody else

    def _forget(self, now_s: float) -> None:
        """What is old; and to make room, what has been answered."""
        done = [(key, kept) for key, kept in self._kept.items() if kept.answer.done()]
        for key, kept in done:
            if now_s > kept.at_s + FRESH_S or len(self._kept) >= MOST_KEPT:
                del self._kept[key]

    def _query(self, make: Make) -> Response:
        """In a thread. The file is open no longer than this: what is read cannot be tidied up."""
        if self._journal is None:
            return _problem(404, NOT_SET_UP)
        try:
            with Reader(self._journal()) as reader:
                return make(reader)
        except Unreadable as trouble:
            return _problem(503, f"the journal cannot be read now: {trouble}")
        except NoJournal as none:
            return _problem(404, f"{none}")
        except (sqlite3.Error, OSError) as error:
            return _problem(503, f"the journal cannot be read now: {error}")


class _JSON(JSONResponse):
    def render(self, content: object) -> bytes:
        return json.dumps(content, allow_nan=False, separators=(",", ":")).encode()


def _problem(code: int, problem: str, **headers: str) -> Response:
    return JSONResponse({"problem": problem}, code, headers)


def parse(given: QueryParams) -> Asked:
    """What is asked for. Raises ValueError, in words."""
    values = dict(given.multi_items())
    if len(values) != len(given.multi_items()):
        raise ValueError("each parameter may be given once")
    if unknown := sorted(set(values) - set(PARAMETERS)):
        known = ", ".join(PARAMETERS)
        raise ValueError(f"there is no parameter {unknown[0][:40]!r}; there are: {known}")
    if "whole" in values and ("minutes" in values or values["whole"] != "1"):
        raise ValueError("whole is 1, and goes without minutes")
    minutes = None if "whole" in values else _number(values, "minutes", 1, MOST_MINUTES, MINUTES)
    session = _number(values, "session", 1, 10**15, 0)
    points = _number(values, "points", LEAST_POINTS, MOST_POINTS, POINTS)
    return Asked(minutes, session or None, points)


def _number(values: dict[str, str], name: str, least: int, most: int, default: int) -> int:
    text = values.get(name)
    if text is None:
        return default
    is_number = len(text) <= LONGEST_NUMBER and text.isascii() and text.isdigit()
    if not (is_number and least <= int(text) <= most):
        raise ValueError(f"{name} is a whole number from {least} to {most}")
    return int(text)


def _csv(told: History) -> Response:
    """RFC 4180; empty where nothing good was read."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(CSV_COLUMNS)
    simulated = str(told.session.is_simulated).lower()
    for before_s, values in told.rows():
        writer.writerow((told.utc(before_s), before_s, *values, simulated))
    name = f"holdwatch-session-{told.session.id}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text.getvalue(), headers=headers, media_type="text/csv")
