"""``/api/history``, its table and the list of sessions as an HTTP client meets them."""

import asyncio
import csv
import io
import threading
from pathlib import Path
from typing import Any

import asking
import httpx
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from journals import closing, event, run, windows, written
from starlette.applications import Starlette
from starlette.responses import Response

from supervisor.journal.reader import Reader
from supervisor.status.app import create_app
from supervisor.status.history_desk import AT_ONCE, CSV_COLUMNS, MOST_KEPT, HistoryDesk

PATHS = ("/api/history", "/api/history.csv", "/api/sessions")


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("journal")
    return written(folder, run(), closing(0.0), *windows(0.0, 200.0), event(150.0))


@pytest.fixture
def app(tmp_path: Path, journal: Path) -> Starlette:
    return create_app(tmp_path, journal=lambda: journal)


def test_history_and_sessions(app: Starlette) -> None:
    answer = asking.ask(app, "/api/history?minutes=2&points=60")
    assert answer.status_code == 200
    assert answer.json()["bucket_s"] == 2.0
    assert len(answer.json()["columns"]["front_mean_v"]) == 60
    assert asking.ask(app, "/api/history?whole=1&session=1").json()["bucket_s"] == 1.0
    assert asking.ask(app, "/api/sessions").json() == [
        {
            "id": 1, "began_utc": "2026-05-28T20:26:40Z", "profile": "bank", "cells": 32,
            "simulated": True, "trips": 1,
        }
    ]  # fmt: skip


def test_the_table_has_the_same_rows_with_their_units(app: Starlette) -> None:
    columns = asking.ask(app, "/api/history?minutes=2").json()["columns"]
    answer = asking.ask(app, "/api/history.csv?minutes=2")
    assert answer.headers["content-type"].startswith("text/csv")
    head, *rows = list(csv.reader(io.StringIO(answer.text)))
    assert tuple(head) == CSV_COLUMNS
    assert len(rows) == len(columns["before_s"])
    assert [float(row[1]) for row in rows] == columns["before_s"]
    assert [float(row[3]) for row in rows] == columns["front_mean_v"]
    assert rows[-1][0] == "2026-05-28T20:30:00Z"
    assert {row[-1] for row in rows} == {"true"}


def test_the_names_in_the_table_are_those_of_an_export() -> None:
    from supervisor.journal.columns import SAMPLES  # noqa: PLC0415

    exported = {column.name for column in SAMPLES}
    assert set(CSV_COLUMNS) - exported == {"before_newest_seconds", "simulated"}


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("minutes=0", "minutes is a whole number from 1"),
        ("minutes=ten", "minutes is a whole number"),
        ("minutes=1e1", "minutes is a whole number"),
        ("minutes=-1", "minutes is a whole number"),
        ("minutes=" + "9" * 5000, "minutes is a whole number"),
        ("minutes=²", "minutes is a whole number"),
        ("whole=2", "whole is 1"),
        ("whole=1&minutes=10", "without minutes"),
        ("points=49", "points is a whole number from 50"),
        ("points=2001", "points is a whole number"),
        ("session=x", "session is a whole number"),
        ("session=0", "session is a whole number"),
        ("minutes=1&minutes=2", "given once"),
        ("hours=1", "no parameter 'hours'"),
    ],
)
@pytest.mark.parametrize("path", PATHS[:2])
def test_a_parameter_not_understood_is_refused_in_words(
    app: Starlette, path: str, query: str, words: str
) -> None:
    answer = asking.ask(app, f"{path}?{query}")
    assert answer.status_code == 422
    assert words in answer.json()["problem"]


def test_the_list_takes_no_parameters(app: Starlette) -> None:
    assert asking.ask(app, "/api/sessions?newest=3").status_code == 422


@settings(max_examples=100)
@given(
    st.dictionaries(
        st.sampled_from(["minutes", "whole", "session", "points", "x"]),
        st.integers().map(str) | st.text(max_size=8),
        max_size=3,
    )
)
def test_no_question_is_a_fault_of_ours(journal: Path, asked: dict[str, str]) -> None:
    app = create_app(journal.parent, journal=lambda: journal)
    answer = asking.ask(app, f"/api/history?{httpx.QueryParams(asked)}")
    assert answer.status_code in (200, 404, 422)
    assert answer.json()


long_digits = st.text("0123456789", max_size=5000) | st.builds(
    lambda zeros, number: zeros * "0" + str(number), st.integers(0, 30), st.integers(0, 10**30)
)


@settings(max_examples=200)
@given(
    st.sampled_from(["minutes", "session", "points"]),
    long_digits | st.tuples(long_digits, long_digits).map("".join),
)
@example("minutes", "1" + 100 * "0")
@example("session", "0" * 19 + "1" + 4000 * "9")
@example("points", "0" * 18 + "60" + 5000 * "0")
def test_no_number_is_too_long_for_us(journal: Path, name: str, digits: str) -> None:
    app = create_app(journal.parent, journal=lambda: journal)
    answer = asking.ask(app, f"/api/history?{name}={digits}")
    assert answer.status_code in ((200, 404, 422) if len(digits) <= 20 else (422,))
    assert len(answer.text) < 300 or answer.status_code == 200


@pytest.mark.parametrize("path", PATHS)
def test_without_a_journal_it_says_why(tmp_path: Path, path: str) -> None:
    (tmp_path / "text").write_text("no journal of ours, and no database at all\n" * 100)
    for journal, words in (
        (None, "--state-dir"),
        (lambda: tmp_path / "absent", "there is no journal"),
        (lambda: tmp_path / "text", "journal"),
    ):
        answer = asking.ask(create_app(tmp_path, journal=journal), path)
        assert answer.status_code == 404
        assert words in answer.json()["problem"]


def test_a_disk_that_fails_is_told_in_words(tmp_path: Path) -> None:
    def fails() -> Path:
        raise PermissionError(13, "Permission denied")

    answer = asking.ask(create_app(tmp_path, journal=fails), "/api/history")
    assert answer.status_code == 503
    assert "Permission denied" in answer.json()["problem"]


# --- a crowd


class Gate:
    """Queries that wait until told, and how many are at it."""

    def __init__(self) -> None:
        self.opens = threading.Event()
        self.now = self.most = self.count = 0
        self._lock = threading.Lock()

    def query(self, _: Reader) -> Response:
        with self._lock:
            self.count += 1
            self.now += 1
            self.most = max(self.most, self.now)
        assert self.opens.wait(20)
        with self._lock:
            self.now -= 1
        return Response("")


async def ask_all(desk: HistoryDesk, gate: Gate, keys: list[object]) -> list[Response]:
    asked = [asyncio.create_task(desk._answer(key, gate.query)) for key in keys]
    await asyncio.sleep(0)
    asyncio.get_running_loop().call_later(0.05, gate.opens.set)
    return await asyncio.gather(*asked)


def test_who_asks_the_same_shares_one_query(journal: Path) -> None:
    gate = Gate()
    answers = asyncio.run(ask_all(HistoryDesk(lambda: journal), gate, ["same"] * 100))
    assert gate.count == 1
    assert {answer.status_code for answer in answers} == {200}


def test_few_queries_at_once_and_no_queue_without_end(journal: Path) -> None:
    gate = Gate()
    keys: list[Any] = list(range(MOST_KEPT + 10))
    answers = asyncio.run(ask_all(HistoryDesk(lambda: journal), gate, keys))
    codes = [answer.status_code for answer in answers]
    assert codes.count(503) == 10
    assert all(a.headers["retry-after"] == "2" for a in answers if a.status_code == 503)
    assert gate.most <= AT_ONCE
    assert gate.count == MOST_KEPT


def test_answers_that_are_kept_stand_in_nobodys_way(journal: Path) -> None:
    async def main() -> list[int]:
        desk, gate = HistoryDesk(lambda: journal), Gate()
        gate.opens.set()
        answers = [await desk._answer(key, gate.query) for key in range(3 * MOST_KEPT)]
        assert len(desk._kept) <= MOST_KEPT
        return [answer.status_code for answer in answers]

    assert set(asyncio.run(main())) == {200}


def test_one_who_leaves_takes_the_answer_from_nobody_else(journal: Path) -> None:
    async def main() -> Response:
        desk, gate = HistoryDesk(lambda: journal), Gate()
        leaves = asyncio.create_task(desk._answer("same", gate.query))
        stays = asyncio.create_task(desk._answer("same", gate.query))
        await asyncio.sleep(0)
        leaves.cancel()
        gate.opens.set()
        return await stays

    assert asyncio.run(main()).status_code == 200


def test_an_answer_is_not_kept_for_long(journal: Path) -> None:
    desk, gate = HistoryDesk(lambda: journal), Gate()
    gate.opens.set()

    async def main() -> None:
        loop = asyncio.get_running_loop()
        await desk._answer("same", gate.query)
        await desk._answer("same", gate.query)
        assert gate.count == 1
        kept = desk._kept["same"]
        kept.at_s = loop.time() - 2.1
        await desk._answer("same", gate.query)
        assert gate.count == 2

    asyncio.run(main())
