"""``holdwatch sessions``: what there is, and what may be removed."""

import json
import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from journals import WALL_S, closing, codes, end, event, left, run, unseen_end, windows, written

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
        "     profile bank",
        "     ended, 1 trip",
        "     0 h 15 min recorded",
        "     12.3 Ah",
        "  2  2026-05-29 20:26 UTC",
        "     Hut bank, 32 cells",
        "     profile bank",
        "     finished (full)",
        "     0 h 15 min recorded",
        "     12.3 Ah",
        "  3  2026-05-30 20:26 UTC",
        "     Hut bank, 32 cells",
        "     profile final_hold",
        "     not ended",
        "     0 h 01 min recorded",
        "     at least 1.0 Ah",
        "  4  2026-05-28 20:26 UTC",
        "     Hut bank, 32 cells",
        "     profile bank",
        "     under way",
        "     0 h 00 min recorded",
        "     charge not told",
    ]
    assert max(map(len, result.stdout.splitlines())) <= 40
    assert result.stderr == ""


def test_the_same_as_json(path: Path) -> None:
    first = json.loads(asked(path, "--json").stdout)[0]
    assert first == {
        "number": 1, "began": "2026-05-28T20:26:40Z", "bank": "Hut bank", "cells": 32,
        "profiles": ["bank"], "state": "ended", "recorded_s": 900.0, "charged_ah": 12.34,
        "charge_is_whole": True, "trips": 1, "a_run_ended_unseen": False, "is_simulated": True,
        "is_thinned": False,
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
    said = "none of the 4 sessions in this journal is one of those asked for\n"
    assert result.stderr == said


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


@pytest.mark.parametrize(
    ("since", "found"),
    [
        ("2026-05-29T20:26:40Z", [2, 3]),
        ("2026-05-29T20:26:41Z", [3]),
        ("2026-05-29T20:26:40+00:00", [2, 3]),
        ("2026-05-29T22:26:40+02:00", [2, 3]),
        ("2026-05-29T22:26:41+02:00", [3]),
        ("2026-05-29 20:26", [2, 3]),
        ("2026-05-30", [3]),
    ],
)
def test_since_when_in_any_zone(path: Path, since: str, found: list[int]) -> None:
    assert numbers(path, "--since", since) == found


@pytest.mark.parametrize("since", ["yesterday", "2026-13-01", "01.07.2026", ""])
def test_a_date_that_is_none_says_how_to_write_one(path: Path, since: str) -> None:
    result = asked(path, "--since", since)
    assert result.exit_code == 2
    assert "2026-07-01T20:30+02:00" in result.stderr
    assert "UTC" in result.stderr


def killed_while_closed(folder: Path) -> Path:
    """And started again later; nobody has looked yet."""
    return written(
        folder, run(), event(9.9, "closed"), *charge(10.0),
        run(5000.0), event(5001.0, "locked_out_at_start"), unseen_end(5001.0),
    )  # fmt: skip


def test_a_run_that_ended_unseen_is_a_trip_and_its_charge_not_whole(tmp_path: Path) -> None:
    path = killed_while_closed(tmp_path)
    (only,) = json.loads(asked(path, "--json", "--tripped").stdout)
    told = ("trips", "a_run_ended_unseen", "charge_is_whole", "state")
    assert [only[key] for key in told] == [1, True, False, "ended unseen"]
    text = asked(path).stdout
    assert "ended without a word, 1 trip" in text
    assert "at least 12.3 Ah" in text
    assert asked(path, "--remove", "1", "--yes").exit_code == 1, "as one with any other trip"


def test_gone_on_with_after_that_it_is_still_told(tmp_path: Path) -> None:
    killed_while_closed(tmp_path)
    path = written(
        tmp_path, run(9000.0), closing(9010.0, is_new=False), event(9010.1, "closed"),
        event(9900.0, "finished"),
    )  # fmt: skip
    (only,) = json.loads(asked(path, "--json").stdout)
    told = ("trips", "a_run_ended_unseen", "charge_is_whole", "state")
    assert [only[key] for key in told] == [1, True, False, "finished"]


@pytest.mark.parametrize(
    ("counts", "is_whole", "told"),
    [
        ([0.0, 12.0, 24.2], True, "24.2 Ah"),
        ([0.0, 12.0, 24.2, 0.1, 0.8], False, "at least 24.2 Ah"),
        ([5.0, 4.0, 4.5], True, "4.5 Ah"),
        ([None, 3.0, None], False, "at least 3.0 Ah"),
    ],
)
def test_what_is_not_whole_is_at_least_the_most_that_was_counted(
    tmp_path: Path, counts: list[float | None], is_whole: bool, told: str
) -> None:
    """After a kill in mid-charge it counts on from what is remembered: from zero, perhaps."""
    rows = [progress(60.0 * k, ah, is_whole=is_whole) for k, ah in enumerate(counts)]
    path = written(tmp_path, run(), event(0.0, "closed"), closing(0.0), *rows)
    assert asked(path).stdout.splitlines()[-1].strip() == told


def test_that_it_ended_unseen_is_told_after_the_session_is_over_too(tmp_path: Path) -> None:
    killed_while_closed(tmp_path)
    path = written(tmp_path, run(9000.0), end(9e4))
    (only,) = json.loads(asked(path, "--json").stdout)
    assert only["state"] == "ended unseen"


def test_what_happens_to_an_open_circuit_changes_not_how_it_ended(tmp_path: Path) -> None:
    path = written(
        tmp_path, run(), event(0.0, "closed"), *charge(0.1, event(900.0, "finished")),
        event(1000.0, "trip", was_closed=False), event(1100.0, "ended"),
    )  # fmt: skip
    (only,) = json.loads(asked(path, "--json").stdout)
    assert (only["state"], only["trips"]) == ("finished", 1)


def test_all_profiles_that_it_was_closed_with_are_told_and_found(tmp_path: Path) -> None:
    path = written(
        tmp_path, run(), *charge(0.0), left(1000.0),
        closing(1100.0, is_new=False)._replace(profile="final_hold"), end(9000.0),
        closing(9100.0)._replace(profile="few_cells"),
    )  # fmt: skip
    assert numbers(path, "--profile", "bank") == [1]
    assert numbers(path, "--profile", "final_hold") == [1]
    assert numbers(path, "--profile", "few_cells") == [2]
    assert "profile bank, final_hold" in asked(path).stdout


def test_left_for_another_profile_is_not_under_way(tmp_path: Path, daemon: int) -> None:
    path = written(
        tmp_path, run(), event(0.0, "closed"), *charge(0.1, event(900.0, "opened")),
        event(1000.0, "session_left", profile="few_cells"), left(1000.0),
        event(1100.0, "closed"), closing(1100.1, cells=4),
    )  # fmt: skip
    assert daemon
    states = [one["state"] for one in json.loads(asked(path, "--json").stdout)]
    assert states == ["left for another profile", "under way"]


# --- damage


def damaged(path: Path, share: float) -> None:
    with path.open("r+b") as file:
        file.seek(int(path.stat().st_size * share) // 4096 * 4096)
        file.write(b"\xff" * 4096)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.7, 0.9])
@pytest.mark.parametrize("arguments", [(), ("--json",), ("--remove", "1", "--yes", "--with-trip")])
def test_damage_inside_is_told_in_words(
    path: Path, daemon: int, share: float, arguments: tuple[str, ...]
) -> None:
    os.close(daemon)
    damaged(path, share)
    result = asked(path, *arguments)
    assert "damaged" in result.stderr
    assert "what to do: keep a copy of the file" in result.stderr
    assert result.exception is None or isinstance(result.exception, SystemExit)


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
    assert asked(path).stdout.splitlines()[-3].strip() == "not ended"
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
