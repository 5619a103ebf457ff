"""``holdwatch sessions``: what there is, and what may be removed."""

import json
import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from journals import WALL_S, closing, codes, end, event, run, windows, written

from supervisor.cli.main import main
from supervisor.control.instance import claim
from supervisor.journal.reader import Reader
from supervisor.journal.records import Progress, Record
from supervisor.journal.store import Store

HOUR_S = 3600.0
DAY_S = 86400.0


def progress(mono_s: float, charged_ah: float | None, *, is_whole: bool = True) -> Progress:
    figures = (charged_ah, None, None, is_whole, None, None, None)
    return Progress(mono_s, WALL_S + mono_s, "closed", "bulk", *figures)


def charge(at_s: float, *last: Record, charged_ah: float = 12.34) -> list[Record]:
    """A quarter of an hour of it."""
    return [
        closing(at_s), progress(at_s, 0.0), *windows(at_s, at_s + 900),
        progress(at_s + 900, charged_ah), *last,
    ]  # fmt: skip


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[int]:
    """One is at work on the folder; its lock's open file."""
    file = claim(tmp_path)
    yield file
    with suppress(OSError):
        os.close(file)


@pytest.fixture
def path(tmp_path: Path, daemon: int) -> Path:  # noqa: ARG001
    """Simulated with a trip; real and finished; real, another profile, not ended; under way."""
    return written(
        tmp_path,
        run(),
        *charge(0.0, event(900.0), end(3000.0)),
        run(DAY_S, is_simulated=False),
        *charge(DAY_S, event(DAY_S + 900, "finished"), end(DAY_S + 3000)),
        *charge(DAY_S + HOUR_S)[1:],  # belongs to no session
        closing(2 * DAY_S)._replace(profile="final_hold"),
        progress(2 * DAY_S, None, is_whole=False),
        progress(2 * DAY_S + 60, 1.0, is_whole=False),
        run(0.5, is_simulated=False, wall_s=WALL_S + 3 * DAY_S),
        *charge(1.0)[:1],
    )


def asked(path: Path, *arguments: str, **keywords: Any) -> Result:
    return CliRunner().invoke(main, ["sessions", "--journal", str(path), *arguments], **keywords)


def numbers(path: Path, *arguments: str) -> list[int]:
    result = asked(path, "--json", *arguments)
    assert result.exit_code == 0, result.output
    return [one["number"] for one in json.loads(result.stdout)]


def test_the_list_tells_all_of_it_in_forty_columns(path: Path) -> None:
    result = asked(path)
    assert result.exit_code == 0
    assert result.stdout.splitlines() == [
        "  1  2026-05-28 20:26 UTC  SIMULATED",
        "     Hut bank, 32 cells",
        "     bank: ended, 1 trip",
        "     0 h 15 min, 12.3 Ah",
        "  2  2026-05-29 20:26 UTC",
        "     Hut bank, 32 cells",
        "     bank: finished",
        "     0 h 15 min, 12.3 Ah",
        "  3  2026-05-30 20:26 UTC",
        "     Hut bank, 32 cells",
        "     final_hold: not ended",
        "     0 h 01 min, at least 1.0 Ah",
        "  4  2026-05-28 20:26 UTC",
        "     Hut bank, 32 cells",
        "     bank: under way",
        "     0 h 00 min, charge not told",
    ]
    assert max(map(len, result.stdout.splitlines())) <= 40
    assert result.stderr == ""


def test_the_same_as_json(path: Path) -> None:
    first = json.loads(asked(path, "--json").stdout)[0]
    assert first == {
        "number": 1, "began": "2026-05-28T20:26:40Z", "bank": "Hut bank", "cells": 32,
        "profile": "bank", "state": "ended", "recorded_s": 900.0, "charged_ah": 12.34,
        "is_whole": True, "trips": 1, "is_simulated": True, "is_thinned": False,
    }  # fmt: skip


def test_some_of_them(path: Path) -> None:
    assert numbers(path) == [1, 2, 3, 4]
    assert numbers(path, "--tripped") == [1]
    assert numbers(path, "--simulated") == [1]
    assert numbers(path, "--real") == [2, 3, 4]
    assert numbers(path, "--profile", "final_hold") == [3]
    assert numbers(path, "--since", "2026-05-29") == [2, 3]
    assert numbers(path, "--since", "2026-05-29T20:26:41") == [3]
    assert numbers(path, "--since", "2026-05-29T20:26:40", "--profile", "bank") == [2]


def test_none_is_so(path: Path) -> None:
    result = asked(path, "--tripped", "--real")
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == "none of the 4 sessions is so\n"


def test_a_journal_without_a_session(tmp_path: Path) -> None:
    result = asked(written(tmp_path, run()))
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == "no session yet: nothing was ever closed\n"


def test_a_session_over_two_runs_counts_both(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        run(), closing(0.0), progress(0.0, 0.0), progress(600.0, 1.0),
        run(5.0, wall_s=WALL_S - 9 * DAY_S),
        closing(10.0, is_new=False), progress(10.0, 1.0), progress(310.0, 2.5),
    )  # fmt: skip
    (only,) = json.loads(asked(path, "--json").stdout)
    assert (only["recorded_s"], only["charged_ah"]) == (900.0, 2.5)


# --- removing


def test_it_removes_and_says_so_in_the_journal(path: Path) -> None:
    result = asked(path, "--remove", "2", "--yes")
    assert (result.exit_code, result.stdout) == (0, ""), result.output
    assert "session 2 was removed" in result.stderr
    assert numbers(path) == [1, 3, 4]
    assert codes(path)[-1] == "session_removed"
    with Reader(path) as reader:
        assert list(reader.samples(2, 1000)) == []


def test_it_asks_first(path: Path) -> None:
    result = asked(path, "--remove", "2", input="n\n")
    assert result.exit_code == 1
    assert "2026-05-29 20:26 UTC" in result.stderr
    assert "nothing was removed" in result.stderr
    assert numbers(path) == [1, 2, 3, 4]
    assert asked(path, "--remove", "2", input="").exit_code == 1  # nobody there to answer
    assert numbers(path) == [1, 2, 3, 4]
    assert asked(path, "--remove", "2", input="y\n").exit_code == 0
    assert numbers(path) == [1, 3, 4]


def test_one_with_a_trip_needs_a_word_more(path: Path) -> None:
    result = asked(path, "--remove", "1", "--yes")
    assert result.exit_code == 1
    assert "has a trip" in result.stderr
    assert "--with-trip" in result.stderr
    assert numbers(path) == [1, 2, 3, 4]
    assert asked(path, "--remove", "1", "--yes", "--with-trip").exit_code == 0
    assert numbers(path) == [2, 3, 4]


def test_the_newest_is_kept_as_long_as_it_has_not_ended(path: Path) -> None:
    result = asked(path, "--remove", "4", "--yes", "--with-trip")
    assert result.exit_code == 1
    assert "a daemon is at work" in result.stderr
    assert numbers(path) == [1, 2, 3, 4]


def test_without_a_daemon_the_newest_may_go_as_well(path: Path, daemon: int) -> None:
    os.close(daemon)
    assert "bank: not ended" in asked(path).stdout
    assert asked(path, "--remove", "4", "--yes").exit_code == 0
    assert numbers(path) == [1, 2, 3]


def test_the_newest_may_go_once_it_has_ended(tmp_path: Path) -> None:
    path = written(tmp_path, run(), *charge(0.0, end(3000.0)))
    assert asked(path, "--remove", "1", "--yes").exit_code == 0
    assert numbers(path) == []


def test_a_daemon_that_writes_on_does_not_notice(path: Path) -> None:
    store = Store(path)
    store.connect()
    store.write([run(9 * DAY_S, is_simulated=False), closing(9 * DAY_S)])
    assert asked(path, "--remove", "2", "--yes").exit_code == 0
    store.write([event(9 * DAY_S + 1)], flush=True)
    store.disconnect()
    assert numbers(path, "--tripped") == [1, 5]


def test_no_such_session_to_remove(path: Path) -> None:
    result = asked(path, "--remove", "9", "--yes")
    assert result.exit_code == 1
    assert "there is no session 9" in result.stderr
    assert "choose one of 1, 2, 3, 4" in result.stderr


@pytest.mark.parametrize(
    "arguments", [("--yes",), ("--with-trip",), ("--remove", "2", "--json"), ("--remove", "0")]
)
def test_words_that_do_not_go_together(path: Path, arguments: tuple[str, ...]) -> None:
    assert asked(path, *arguments).exit_code == 2
    assert numbers(path) == [1, 2, 3, 4]


def test_no_journal(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["sessions", "--state-dir", str(tmp_path)])
    assert result.exit_code == 1
    assert "there is no journal" in result.stderr
    assert list(tmp_path.iterdir()) == []
