"""A daemon that is started to be killed: its command lines, its own words, and nothing is left."""

import os
import signal
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from shlex import split
from typing import Any

import pytest

from supervisor.cli import killed_daemon, real_build
from supervisor.cli.killed_daemon import (
    SERVICE,
    Child,
    Folder,
    Unit,
    Victim,
    run_command,
    unit_command,
)
from supervisor.cli.real_build import RealBuild
from supervisor.commissioning.leaves import Killed
from supervisor.commissioning.measuring import CannotTell
from supervisor.control.requests import Reply
from supervisor.devices.errors import HardwareMissing
from supervisor.settings.load import load_settings
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock

READY = {"circuit": "open", "not_closing_because": []}


class Doomed:
    """Stands in for the process of a daemon; ``said`` goes into its log."""

    made: "list[Doomed]"
    said = ""
    lives = True

    def __init__(self, folder: Folder) -> None:
        self.folder, self.acts, self.is_killed = folder, [], False
        self.settings = load_settings(folder.settings)[0]
        folder.log.write_text(self.said, "utf-8")
        Doomed.made.append(self)

    def is_alive(self) -> bool:
        return self.lives and not self.is_killed

    def kill(self) -> None:
        self.is_killed = True

    def end(self) -> None:
        self.acts.append("end")


@pytest.fixture(autouse=True)
def _made(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """None yet; and what one that is refused leaves behind goes with the test."""
    Doomed.made = []
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))


class Answers:
    """Stands in for the daemon's socket: a list of replies in turn, the last one for ever."""

    def __init__(self, *replies: Reply | Exception) -> None:
        self._replies = list(replies)
        self.acts: list[str] = []

    def __call__(self, _run_dir: Path, act: str) -> Reply:
        self.acts.append(act)
        reply = self._replies.pop(0) if len(self._replies) > 1 else self._replies[0]
        if isinstance(reply, Exception):
            raise reply
        return reply


def status(circuit: str = "open", *why: str) -> Reply:
    return Reply(True, "", circuit, {"circuit": circuit, "not_closing_because": list(why)})


def victim(
    hut_path: Path,
    answers: Answers,
    clock: SimulatedClock | None = None,
    saw_closed: Callable[[], bool] = lambda: True,
) -> Victim:
    return Victim(hut_path, Doomed, clock or SimulatedClock(), saw_closed, answers)


def closed(auxiliary: bool | None) -> Reply:
    data = {"circuit": "closed", "not_closing_because": [], "auxiliary_closed": auxiliary}
    return Reply(True, "", "closed", data)


@pytest.mark.parametrize("auxiliary", [True, False, None])
@pytest.mark.parametrize("by_person", [True, False])
def test_whether_it_was_closed_is_told_by_the_contact_or_else_by_a_person(
    hut_path: Path, auxiliary: bool | None, by_person: bool
) -> None:
    asked: list[bool] = []

    def saw() -> bool:
        asked.append(by_person)
        return by_person

    answers = Answers(status(), Reply(True, "", "closed"), closed(auxiliary))
    killed = victim(hut_path, answers, saw_closed=saw).killed()
    assert killed.was_closed is (by_person if auxiliary is None else auxiliary)
    assert len(asked) == (auxiliary is None)


def test_one_that_opens_while_the_person_looks_is_not_counted_as_killed(hut_path: Path) -> None:
    answers = Answers(status(), Reply(True, "", "closed"), closed(None), status("locked out"))
    with pytest.raises(CannotTell, match="did not stay closed: it is locked out"):
        victim(hut_path, answers).killed()
    assert not Doomed.made[0].is_killed


def test_it_is_closed_for_a_second_and_killed(hut_path: Path) -> None:
    clock = SimulatedClock()
    answers = Answers(
        FileNotFoundError(),
        status("open", "no readings yet"),
        status("open", "no readings yet"),
        status(),
        Reply(True, "closed", "closed"),
        closed(True),
    )
    one = victim(hut_path, answers, clock)
    assert one.killed() == Killed(clock.now_s(), True)
    assert answers.acts == ["status", "status", "status", "status", "close", "status"]
    assert clock.now_s() >= 2.0
    process = Doomed.made[0]
    assert process.is_killed
    assert process.settings.uncommissioned == "accepted"
    assert process.folder.path.exists()  # what clears up after its death needs it
    one.clear_up()
    assert process.acts == ["end"]
    assert not process.folder.path.exists()


def test_settings_without_the_two_keys_get_them(hut_path: Path, tmp_path: Path) -> None:
    lines = hut_path.read_text("utf-8").splitlines(keepends=True)
    config = tmp_path / "bank.yaml"
    config.write_text("".join(x for x in lines if not x.startswith("uncommissioned")), "utf-8")
    assert load_settings(config)[0].uncommissioned is None
    victim(config, Answers(status(), Reply(True, "", "closed"), status("closed"))).killed()
    assert Doomed.made[0].settings.uncommissioned == "accepted"
    assert load_settings(config)[0].uncommissioned is None


def test_a_refusal_is_told_in_its_own_words(hut_path: Path) -> None:
    answers = Answers(status("open", "lead"), Reply(False, "the front cell's lead is off", "open"))
    one = victim(hut_path, answers)
    with pytest.raises(CannotTell, match="does not close: the front cell's lead is off"):
        one.killed()
    assert not Doomed.made[0].is_killed
    one.clear_up()
    assert Doomed.made[0].acts == ["end"]


def test_one_that_trips_within_the_second_is_not_counted_as_killed(hut_path: Path) -> None:
    answers = Answers(status(), Reply(True, "", "closed"), status("locked out"))
    with pytest.raises(CannotTell, match="did not stay closed: it is locked out"):
        victim(hut_path, answers).killed()


@pytest.mark.parametrize("reply", [FileNotFoundError(), ConnectionError("x"), ValueError("x")])
def test_one_that_ends_or_never_answers_is_told_by_its_log(
    hut_path: Path, monkeypatch: pytest.MonkeyPatch, reply: Exception
) -> None:
    monkeypatch.setattr(Doomed, "said", "holdwatch: there is no /dev/i2c-1\n")
    monkeypatch.setattr(Doomed, "lives", False)
    with pytest.raises(CannotTell, match=r"has ended: holdwatch: there is no /dev/i2c-1"):
        victim(hut_path, Answers(reply)).killed()
    monkeypatch.setattr(Doomed, "lives", True)
    with pytest.raises(CannotTell, match="does not answer"):
        victim(hut_path, Answers(reply)).killed()


def test_a_settings_file_that_is_gone_is_told(tmp_path: Path) -> None:
    one = victim(tmp_path / "none.yaml", Answers(status()))
    with pytest.raises(CannotTell, match="no such file"):
        one.killed()
    one.clear_up()


def test_the_folder_stays_while_an_output_may_be_on(hut_path: Path) -> None:
    one = victim(hut_path, Answers(status(), Reply(True, "", "closed"), status("closed")))
    one.killed()
    folder = Doomed.made[0].folder
    (folder.run_dir / "outputs.json").write_text("torn", "utf-8")
    with pytest.raises(HardwareMissing, match="nobody knows which outputs were left on"):
        one.clear_up()
    assert folder.path.exists()
    (folder.run_dir / "outputs.json").unlink()
    one.clear_up()
    assert not folder.path.exists()


def test_the_daemon_runs_in_folders_of_its_own(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    assert run_command(folder)[1:] == [
        "-m", "supervisor", "run", str(tmp_path / "settings.yaml"),
        "--run-dir", str(tmp_path / "run"), "--state-dir", str(tmp_path / "state"),
    ]  # fmt: skip


def test_a_unit_has_what_the_service_has(tmp_path: Path) -> None:
    """systemd.service(5), systemd-run(1)."""
    folder = Folder(tmp_path / "it's here")
    command = unit_command("holdwatch-killed-x.service", folder)
    assert command[0] == "systemd-run"
    assert "--unit=holdwatch-killed-x.service" in command
    assert command[-len(run_command(folder)) :] == run_command(folder)
    service = Path(__file__).parents[2] / "systemd" / "holdwatch@.service"
    text = service.read_text("utf-8").splitlines()
    for one in SERVICE:
        assert one in text
        assert f"--property={one}" in command
    assert "--property=RuntimeMaxSec=150" in command
    drop = next(word for word in command if word.startswith("--property=ExecStopPost="))
    assert split(drop.partition("ExecStopPost=")[2])[1:] == [
        "-m", "supervisor", "drop", "--run-dir", str(folder.run_dir),
    ]  # fmt: skip


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> Callable[[dict[str, Any]], list[list[str]]]:
    """What systemd would answer, by the command's words."""

    def tells(answers: dict[str, Any]) -> list[list[str]]:
        heard: list[list[str]] = []

        def tell(command: list[str]) -> Any:
            heard.append(command)
            code, out = next((a for word, a in answers.items() if word in command), (0, ""))
            return type("Told", (), {"returncode": code, "stdout": out, "stderr": out})

        monkeypatch.setattr(killed_daemon, "_told", tell)
        return heard

    return tells


def test_of_a_unit_the_main_process_alone_is_killed(
    told: Callable[..., list[list[str]]], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    heard = told({"show": (0, "4711\n")})
    killed: list[tuple[int, int]] = []
    monkeypatch.setattr(os, "kill", lambda *what: killed.append(what))
    unit = Unit(Folder(tmp_path))
    assert unit.is_alive()
    unit.kill()
    assert killed == [(4711, signal.SIGKILL)]
    unit.end()
    assert ["systemctl", "stop", f"{tmp_path.name}.service"] in heard


def test_a_unit_that_does_not_start_or_has_gone_is_told(
    told: Callable[..., list[list[str]]], tmp_path: Path
) -> None:
    (tmp_path / "log").write_text("the bus is busy", "utf-8")
    told({"systemd-run": (1, "Job failed.")})
    with pytest.raises(CannotTell, match=r"(?s)Job failed\..*the bus is busy"):
        Unit(Folder(tmp_path))
    told({"show": (0, "0\n")})
    unit = Unit(Folder(tmp_path))
    assert not unit.is_alive()
    with pytest.raises(CannotTell, match="ended by itself"):
        unit.kill()


def test_a_child_is_killed_and_its_words_are_kept(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    program = "import sys; print('at work', file=sys.stderr, flush=True); sys.stdin.read(); input()"
    waits = "import signal, sys; print('at work', file=sys.stderr, flush=True); signal.pause()"
    folder = Folder(tmp_path)
    for text in (program, waits):
        monkeypatch.setattr(
            killed_daemon, "run_command", lambda _folder, text=text: [sys.executable, "-c", text]
        )
        child = Child(folder)
        child.kill() if text is waits else child.end()
        assert not child.is_alive()
        child.end()


def build(hut_path: Path, settings: SupervisorSettings, told: list[str]) -> RealBuild:
    return RealBuild(hut_path, settings, Path("/nonexistent"), told.append)


def test_without_systemd_it_says_that_nobody_clears_up(
    hut_path: Path, hut_settings: SupervisorSettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Refuses:
        def __init__(self, _config: Path, process: type, *_: object) -> None:
            self.acts = [process.__name__]
            refused.append(self)

        def killed(self) -> Killed:
            raise CannotTell("no")

        def clear_up(self) -> None:
            self.acts.append("cleared up")

    refused: list[Refuses] = []
    monkeypatch.setattr(real_build, "Victim", Refuses)
    for systemd, process in ((False, "Child"), (True, "Unit")):
        monkeypatch.setattr(real_build, "has_systemd", lambda systemd=systemd: systemd)
        told: list[str] = []
        with pytest.raises(CannotTell):
            build(hut_path, hut_settings, told).kill_a_daemon(hut_settings, lambda: True)
        assert refused[-1].acts == [process, "cleared up"]
        assert bool(told) is not systemd


def test_pins_are_let_go_before_the_daemon_takes_them(
    hut_path: Path, hut_settings: SupervisorSettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    order: list[str] = []

    class Pins:
        def close(self) -> None:
            order.append("pins let go")

    class Kills:
        def __init__(self, *_: object) -> None:
            order.append("daemon started")

        def killed(self) -> Killed:
            return Killed(3.0, True)

        def clear_up(self) -> None:
            order.append("cleared up")

    monkeypatch.setattr(real_build, "open_pin_factory", lambda *_: Pins())
    monkeypatch.setattr(real_build, "Victim", Kills)
    one = build(hut_path, hut_settings, [])
    first = one.pin_factory
    assert one.pin_factory is first
    assert one.kill_a_daemon(hut_settings, lambda: True) == Killed(3.0, True)
    assert one.pin_factory is not first
    one.close()
    one.close()
    assert order == ["pins let go", "daemon started", "pins let go", "cleared up"]
