"""`holdwatch campaign`: JSON, table, exit codes, stopping early. The runs are stand-ins."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from supervisor.bench.campaign import spread as spreading
from supervisor.bench.campaign.run import Run
from supervisor.bench.campaign.shrink import Shrinker
from supervisor.cli.main import main

KEYS = {
    "seed", "asked", "done", "stopped", "simulated_s", "settings_refused", "outcomes", "coverage",
    "violations", "beyond_reach",
}  # fmt: skip


def stand_in(seed: int, run: int, **changes: Any) -> Run:
    made: dict[str, Any] = {
        "seed": seed,
        "run": run,
        "outcome": "tripped",
        "ended": "tripped",
        "tripped_by": "sensing",
        "faults": ("lead_open",),
        "newest": "lead_open",
        "late": (),
        "operator": "asleep",
        "response_s": 0.1 * (run + 1),
        "peak_cell_v": 3.4,
        "simulated_s": 20.0,
        "refused": 1,
        "violations": (),
        "broken": (),
        "beyond_reach": (),
    }
    return Run(**made | changes)


def broken(seed: int, run: int) -> Run:
    return stand_in(seed, run, violations=("invariant a",) if run == 1 else (), broken=("a",))


def called(monkeypatch: pytest.MonkeyPatch, one: Any, *options: str) -> Any:
    monkeypatch.setattr(spreading, "run_one", one)
    return CliRunner().invoke(main, ["campaign", "--jobs", "1", "--seed", "4", *options])


def test_json_and_exit_codes(monkeypatch: pytest.MonkeyPatch) -> None:
    good = called(monkeypatch, stand_in, "--runs", "3", "--json")
    assert good.exit_code == 0
    report = json.loads(good.stdout)
    assert set(report) == KEYS
    assert (report["seed"], report["asked"], report["done"]) == (4, 3, 3)
    assert report["coverage"] == [
        {
            "fault": "lead_open",
            "outcome": "tripped",
            "runs": 3,
            "tripped_by": {"sensing": 3},
            "response_min_s": 0.1,
            "response_median_s": 0.2,
            "response_max_s": pytest.approx(0.3),
        }
    ]
    bad = called(monkeypatch, broken, "--runs", "3", "--json")
    assert bad.exit_code == 1
    (violation,) = json.loads(bad.stdout)["violations"]
    assert (violation["seed"], violation["run"], violation["what"]) == (4, 1, ["invariant a"])


def test_beyond_reach_is_listed_and_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    def welded(seed: int, run: int) -> Run:
        return stand_in(seed, run, beyond_reach=("contact welded",))

    came = called(monkeypatch, welded, "--runs", "2")
    assert came.exit_code == 0
    assert "beyond reach, 2 runs: contact welded (run 0, 1)" in came.stdout


def test_a_table_for_people_and_nothing_but_words_on_stderr(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    came = called(monkeypatch, broken, "--runs", "3")
    assert "lead_open" in came.stdout
    assert "VIOLATION seed 4 run 1" in came.stdout
    assert came.stderr.strip() == "3 of 3 runs, 1 with a broken invariant"


def test_ctrl_c_keeps_what_was_done(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(seed: int, run: int) -> Run:
        if run == 2:
            raise KeyboardInterrupt
        return stand_in(seed, run)

    came = called(monkeypatch, interrupted, "--runs", "9", "--json")
    report = json.loads(came.stdout)
    assert (report["done"], report["stopped"], came.exit_code) == (2, "interrupted", 0)


def test_minutes_stop_cleanly(monkeypatch: pytest.MonkeyPatch) -> None:
    came = called(monkeypatch, stand_in, "--runs", "9", "--json", "--minutes", "0.000000001")
    report = json.loads(came.stdout)
    assert (report["done"], report["stopped"]) == (1, "time is up")


@pytest.mark.parametrize("wrong", [("--runs", "0"), ("--jobs", "0"), ("--minutes", "0")])
def test_usage(wrong: tuple[str, str]) -> None:
    assert CliRunner().invoke(main, ["campaign", *wrong]).exit_code == 2


def test_a_missing_package_is_a_usage_error(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(*_: object, **__: object) -> Iterator[Run]:
        raise spreading.MissingPart("the package joblib is not installed; install it with: pip")

    monkeypatch.setattr(spreading, "spread", missing)
    came = CliRunner().invoke(main, ["campaign", "--jobs", "2"])
    assert came.exit_code == 2
    assert "install it with" in came.stderr


def test_each_violation_becomes_a_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(Shrinker, "shrink", lambda self: self.document)
    came = called(monkeypatch, broken, "--runs", "2", "--json", "--out", str(tmp_path))
    (violation,) = json.loads(came.stdout)["violations"]
    assert Path(violation["file"]).parent == tmp_path
    assert Path(violation["file"]).read_text("utf-8").startswith("# invariant a")


def test_a_fault_that_struck_too_late_shows_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def late(seed: int, run: int) -> Run:
        return stand_in(seed, run, faults=("lead_open", "kill"), late=("kill",))

    report = json.loads(called(monkeypatch, late, "--runs", "2", "--json").stdout)
    rows = {row["fault"]: row for row in report["coverage"]}
    assert rows["kill"]["outcome"] == "struck too late"
    assert rows["kill"]["response_max_s"] is None
    assert rows["lead_open"]["response_max_s"] is not None
