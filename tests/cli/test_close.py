"""Closing as another profile: its steps, its own checks, and the comparison afterwards."""

from collections.abc import Callable
from typing import Any

import pytest
from click.testing import CliRunner, Result

from supervisor.cli import asking, close
from supervisor.cli.main import main
from supervisor.control.requests import Reply

PROFILES = {
    "bank": {"about": "the settings of the file themselves", "steps": []},
    "final_hold": {"about": "The last hours", "steps": ["Big supply off", "Small shunt in place"]},
}


class Daemon:
    """Answers as one does; keeps what it was asked."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, str]] = []
        self.shunt_a: float | None = 9.8
        self.refuses = ""

    def __call__(self, _run_dir: Any, act: str, reason: str = "") -> Reply:
        self.asked.append((act, reason))
        if act == "profile" and not reason:
            return Reply(True, "", "open", PROFILES)
        if act == "status":
            channels = [{"channel": "shunt", "value": self.shunt_a}]
            data = {"circuit": "open", "not_closing_because": [], "channels": channels}
            return Reply(True, "", "open", data)
        if act == self.refuses:
            return Reply(False, "the circuit is closed, and must be open", "closed")
        return Reply(True, f"{act} done", "closed")

    @property
    def acts(self) -> list[str]:
        return [act for act, reason in self.asked if act != "status" and (act, reason) != LISTED]


LISTED = ("profile", "")
Run = Callable[..., Result]


@pytest.fixture
def daemon(monkeypatch: pytest.MonkeyPatch) -> Daemon:
    daemon = Daemon()
    monkeypatch.setattr(close, "asked", daemon)
    monkeypatch.setattr(asking, "asked", daemon)
    return daemon


@pytest.fixture
def run(daemon: Daemon) -> Run:  # noqa: ARG001
    def run(*options: str, typed: str = "") -> Result:
        return CliRunner().invoke(main, ["close", "--run-dir", ".", *options], input=typed)

    return run


def test_plain_closing_asks_nothing(run: Run, daemon: Daemon) -> None:
    assert run().exit_code == 0
    assert daemon.asked == [("close", "")]


def test_step_by_step_then_compared(run: Run, daemon: Daemon) -> None:
    result = run("--profile", "final_hold", typed="y\ny\n10\n")
    assert result.exit_code == 0
    assert daemon.acts == ["profile", "close"]
    for words in ("The last hours", "Big supply off", "Small shunt in place", "agreed: 9.8 A"):
        assert words in result.stderr


def test_a_step_that_is_not_done_ends_it(run: Run, daemon: Daemon) -> None:
    result = run("--profile", "final_hold", typed="y\nn\n")
    assert result.exit_code == 1
    assert daemon.acts == []
    assert "not closed: that comes first" in result.stderr


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("117\n", "is this the shunt of the profile"),
        ("0\n", "is this the shunt of the profile"),
        ("much\n", "is no number of amperes"),
        ("nan\n", "is no number of amperes"),
        ("inf\n", "is no number of amperes"),
        ("1e999\n", "is no number of amperes"),
    ],
)
def test_a_current_that_does_not_agree_opens(
    run: Run, daemon: Daemon, typed: str, words: str
) -> None:
    result = run("--profile", "final_hold", typed=f"y\ny\n{typed}")
    assert result.exit_code == 1
    assert daemon.acts == ["profile", "close", "open"]
    assert words in result.stderr


def test_a_current_that_cannot_be_told_opens(run: Run, daemon: Daemon) -> None:
    daemon.shunt_a = None
    assert run("--profile", "final_hold", typed="y\ny\n10\n").exit_code == 1
    assert daemon.acts[-1] == "open"


@pytest.mark.parametrize(("shunt_a", "typed"), [(0.0, "0\n"), (0.02, "0.2\n"), (0.8, "1\n")])
def test_too_little_to_compare_is_said(
    run: Run, daemon: Daemon, shunt_a: float, typed: str
) -> None:
    daemon.shunt_a = shunt_a
    result = run("--profile", "final_hold", typed=f"y\ny\n{typed}")
    assert result.exit_code == 0
    assert "not compared" in result.stderr
    assert "agreed" not in result.stderr


def test_not_comparing_is_said(run: Run) -> None:
    result = run("--profile", "final_hold", typed="y\ny\n\n")
    assert result.exit_code == 0
    assert "would not be noticed" in result.stderr


def test_yes_asks_nothing(run: Run, daemon: Daemon) -> None:
    assert run("--profile", "final_hold", "--yes").exit_code == 0
    assert daemon.acts == ["profile", "close"]


def test_an_unknown_profile_names_the_known_ones(run: Run, daemon: Daemon) -> None:
    result = run("--profile", "finale", "--yes")
    assert result.exit_code == 1
    assert "bank, final_hold" in result.stderr
    assert daemon.acts == []


def test_a_profile_that_is_refused_closes_nothing(run: Run, daemon: Daemon) -> None:
    daemon.refuses = "profile"
    result = run("--profile", "final_hold", "--yes")
    assert result.exit_code == 1
    assert "must be open" in result.stderr
    assert daemon.acts == ["profile"]


def test_json_has_nobody_to_ask(run: Run) -> None:
    assert run("--profile", "final_hold", "--json").exit_code == 2
