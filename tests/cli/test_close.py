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
        self.circuit, self.then = "open", "closed"
        self.lockout: dict[str, Any] | None = None
        self.profile = "bank"

    def __call__(self, _run_dir: Any, act: str, reason: str = "") -> Reply:
        self.asked.append((act, reason))
        if act == "profile" and not reason:
            return Reply(True, "", "open", PROFILES)
        if act == "status":
            channels = [{"channel": "shunt", "value": self.shunt_a}]
            data = {"circuit": self.circuit, "not_closing_because": [], "channels": channels}
            data |= {"lockout": self.lockout, "profile": self.profile}
            return Reply(True, "", self.circuit, data)
        if act == self.refuses:
            return Reply(False, "the circuit is closed, and must be open", "closed")
        if act == "close":
            self.circuit = self.then
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
        ("much\nmuch\n", "is no number of amperes"),
        ("nan\nnan\n", "is no number of amperes"),
        ("inf\ninf\n", "is no number of amperes"),
        ("1e999\n1e999\n", "is no number of amperes"),
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


@pytest.mark.parametrize(("shunt_a", "typed"), [(0.0, "0\n"), (0.02, "0.2\n"), (0.8, "0.9\n")])
def test_too_little_to_compare_is_said(
    run: Run, daemon: Daemon, shunt_a: float, typed: str
) -> None:
    daemon.shunt_a = shunt_a
    result = run("--profile", "final_hold", typed=f"y\ny\n{typed}")
    assert result.exit_code == 0
    assert "not compared" in result.stderr
    assert "agreed" not in result.stderr


@pytest.mark.parametrize(("shunt_a", "typed"), [(0.3, "4.5\n"), (3.2, "0\n"), (0.1, "1.3\n")])
def test_another_shunt_shows_at_small_currents_too(
    run: Run, daemon: Daemon, shunt_a: float, typed: str
) -> None:
    daemon.shunt_a = shunt_a
    result = run("--profile", "final_hold", typed=f"y\ny\n{typed}")
    assert result.exit_code == 1
    assert daemon.acts[-1] == "open"


def test_a_slip_of_the_finger_is_asked_once_more(run: Run, daemon: Daemon) -> None:
    result = run("--profile", "final_hold", typed="y\ny\nten\n9.8\n")
    assert "agreed" in result.stderr
    assert "open" not in daemon.acts


def test_in_force_and_closed_there_is_nothing_to_do(run: Run, daemon: Daemon) -> None:
    daemon.circuit, daemon.profile = "closed", "final_hold"
    result = run("--profile", "final_hold")
    assert result.exit_code == 0
    assert "nothing to do" in result.stderr


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


@pytest.mark.parametrize("circuit", ["closed", "locked out", "paused", "finished"])
@pytest.mark.parametrize("options", [(), ("--yes",)])
def test_a_circuit_that_must_first_be_opened_or_reset_asks_for_no_steps(
    run: Run, daemon: Daemon, circuit: str, options: tuple[str, ...]
) -> None:
    daemon.circuit = circuit
    result = run("--profile", "final_hold", *options, typed="y\ny\n\n")
    assert result.exit_code == 1
    assert daemon.acts == []
    assert f"the circuit is {circuit}" in result.stderr
    assert ("holdwatch reset" if circuit == "locked out" else "holdwatch open") in result.stderr
    assert "Big supply off" not in result.stderr


def test_why_it_is_locked_out_is_told(run: Run, daemon: Daemon) -> None:
    daemon.circuit, daemon.lockout = "locked out", {"reason": "front cell 3.601 V"}
    assert "front cell 3.601 V" in run("--profile", "final_hold").stderr


def test_an_unfit_circuit_may_be_fit_as_the_profile(run: Run, daemon: Daemon) -> None:
    """A shunt that is not that of the file, say."""
    daemon.circuit = "unfit"
    result = run("--profile", "final_hold", typed="y\nn\n")
    assert "Big supply off" in result.stderr


def test_at_the_meter_it_is_said_that_the_contactor_is_closed(run: Run) -> None:
    result = run("--profile", "final_hold", typed="y\ny\n10\n")
    assert "The contactor is closed and watched." in result.stderr


def test_a_trip_before_the_meter_was_read_is_not_blamed_on_the_shunt(
    run: Run, daemon: Daemon
) -> None:
    daemon.then, daemon.shunt_a = "locked out", 0.0
    daemon.lockout = {"reason": "front cell 3.601 V"}
    result = run("--profile", "final_hold", typed="y\ny\n10\n")
    assert result.exit_code == 1
    assert "not compared: the circuit is locked out meanwhile (front cell 3.601 V)" in result.stderr
    assert "is this the shunt" not in result.stderr


def test_whoever_leaves_the_question_is_told_how_things_stand(run: Run, daemon: Daemon) -> None:
    result = run("--profile", "final_hold", typed="y\ny\n")
    assert result.exit_code == 0
    assert "not compared" in result.stderr
    assert "the contactor stays closed" in result.stderr
    assert daemon.acts == ["profile", "close"]


@pytest.mark.parametrize("options", [("--yes",), ("--yes", "--json")])
def test_yes_says_that_nothing_was_compared(run: Run, options: tuple[str, ...]) -> None:
    result = run("--profile", "final_hold", *options)
    assert "not compared: a shunt that is not the one in the settings" in result.stderr
    assert "not compared" not in result.stdout
