"""``holdwatch messages`` as people use it: checked, tried, running, ended and begun anew."""

import importlib.util
import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from http_target import PATIENCE_S, HttpTarget, http_target
from message_bench import BANK, OPEN, JournalBench

from supervisor.cli.main import main
from supervisor.status.status_file import FILE_NAME

SECRET = "hunter2"


def settings_file(folder: Path, *urls: str, more: str = "") -> Path:
    path = folder / "messages.yaml"
    targets = "".join(f'  t{k}: {{url: "{url}", tell: [trips]}}\n' for k, url in enumerate(urls))
    path.write_text(f"targets:\n{targets}{more}", "utf-8")
    path.chmod(0o600)
    return path


def asked(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, ["messages", *words])
    return result.exit_code, result.stdout, result.stderr


def test_check_says_who_is_told_what(tmp_path: Path) -> None:
    quiet = 'quiet_hours: {begin: "22:00", end: "07:00"}'
    code, out, _ = asked(str(settings_file(tmp_path, "json://hut", more=quiet)), "--check")
    assert code == 0
    assert out.startswith("t0: trips\nquiet from 22:00 to 07:00")


def test_a_fault_is_told_with_its_line_and_exit_code(tmp_path: Path) -> None:
    path = settings_file(tmp_path, f"json://{SECRET}@hut", more="most_per_hour: 0")
    code, _, err = asked(str(path), "--check")
    assert code == 78
    assert f"{path}:3: most_per_hour" in err
    assert SECRET not in err


def test_a_test_message_tells_the_outcome_of_each_target(tmp_path: Path) -> None:
    with http_target() as good, http_target(403) as bad:
        path = settings_file(tmp_path, good.url(SECRET), bad.url(SECRET))
        code, out, err = asked(str(path), "--test")
        assert good.next()["title"] == bad.next()["title"] == "Test of holdwatch messages"
    assert code == 1
    assert out == "t0: sent\nt1: NOT sent: the service answers with status 403\n"
    assert SECRET not in out + err


def test_a_test_in_which_all_arrive_ends_well(tmp_path: Path) -> None:
    with http_target() as good:
        code, out, _ = asked(str(settings_file(tmp_path, good.url())), "--test")
    assert (code, out) == (0, "t0: sent\n")


def test_without_apprise_it_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    code, _, err = asked(str(settings_file(tmp_path, "json://hut")), "--check")
    assert code == 1
    assert "pip install 'holdwatch[messages]'" in err


def test_check_and_test_at_once_are_refused(tmp_path: Path) -> None:
    assert asked(str(settings_file(tmp_path, "json://hut")), "--check", "--test")[0] == 2


class MachineTime:
    """The machine's own clocks, for a journal that a process beside this one reads."""

    at_s = property(lambda _: time.monotonic())
    at_wall_s = property(lambda _: time.time())


class Hut:
    """A daemon's files, a target, and the messages' process."""

    def __init__(self, folder: Path, target: HttpTarget) -> None:
        self.folder, self.target = folder, target
        self.journal = JournalBench(folder, MachineTime())  # type: ignore[arg-type]
        self.journal.begin()
        self.journal.tell("without", "runs without balance")
        self.publish()
        self.file = settings_file(folder, target.url(SECRET))
        self.process: subprocess.Popen[str] | None = None

    def publish(self) -> None:
        now = replace(OPEN, published_at_s=time.monotonic())
        (self.folder / FILE_NAME).write_text(json.dumps(now.as_dict()), "utf-8")

    def command(self) -> list[str]:
        folders = [f"--{name}={self.folder}" for name in ("run-dir", "state-dir")]
        sent = f"--sent-dir={self.folder / 'sent'}"
        return [sys.executable, "-m", "supervisor", "messages", str(self.file), *folders, sent]

    def start(self) -> None:
        is_first = not (self.folder / "sent").exists()
        self.process = subprocess.Popen(self.command(), stderr=subprocess.PIPE, text=True)
        self.wait_for("tells t0")
        if is_first:
            self.wait_for("from now on")

    def wait_for(self, word: str) -> None:
        assert self.process
        assert self.process.stderr
        said = []
        for line in self.process.stderr:
            said.append(line)
            assert SECRET not in line
            if word in line:
                return
        raise AssertionError(f"never said {word!r}: {''.join(said)}")

    def end(self, number: int = signal.SIGTERM) -> int:
        assert self.process
        self.process.send_signal(number)
        self.process.communicate(timeout=PATIENCE_S)
        code = self.process.returncode
        self.process = None
        return code


@pytest.fixture
def hut(tmp_path: Path) -> Iterator[Hut]:
    with http_target() as target:
        hut = Hut(tmp_path, target)
        yield hut
        if hut.process:
            hut.end(signal.SIGKILL)
        hut.journal.close()


def test_a_trip_arrives_and_no_end_of_the_process_repeats_or_loses_one(hut: Hut) -> None:
    hut.journal.trip(reason="before anybody asked")
    hut.start()
    for number, ending in enumerate([signal.SIGTERM, signal.SIGKILL, signal.SIGINT], start=1):
        hut.journal.trip(reason=f"the {number}. trip")
        posted = hut.target.next()
        assert posted["title"] == f"TRIP overvoltage: {BANK}"
        assert f"the {number}. trip" in posted["message"]
        hut.wait_for(f"message {2 * number - 1} sent")
        hut.end(ending)
        hut.journal.trip(reason=f"while it was ended, {number}")
        hut.start()
        assert "while it was ended" in hut.target.next()["message"]
        hut.wait_for(f"message {2 * number} sent")
    assert hut.end() == 0
    assert hut.target.posts.empty()


def test_two_at_once_would_send_all_twice_so_the_second_is_refused(hut: Hut) -> None:
    hut.start()
    second = subprocess.run(
        hut.command(), capture_output=True, text=True, timeout=PATIENCE_S, check=False
    )
    assert second.returncode == 69
    assert "is using" in second.stderr


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    path = settings_file(tmp_path, "json://hut")
    code, _, err = asked(str(path), f"--run-dir={tmp_path}", f"--sent-dir={tmp_path / 'file/sent'}")
    assert code == 1
    assert "--sent-dir" in err


def test_the_address_is_in_no_processs_arguments_or_environment(hut: Hut) -> None:
    hut.journal.close()
    with http_target(None) as hanging:
        hut.file = settings_file(hut.folder, hanging.url(SECRET))
        hut.start()
        hut.journal.trip()
        hanging.next()
        assert hut.process
        children = Path(f"/proc/{hut.process.pid}/task/{hut.process.pid}/children").read_text()
        pids = [str(hut.process.pid), *children.split()]
        assert len(pids) > 1
        for pid in pids:
            for part in ("cmdline", "environ"):
                assert SECRET.encode() not in Path(f"/proc/{pid}/{part}").read_bytes()
        hut.end(signal.SIGKILL)
