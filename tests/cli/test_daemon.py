"""The daemon as a process of its own, on a simulated bank in real time, driven by its commands."""

import json
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from patient import patient_scenario

HOLDWATCH = [sys.executable, "-m", "supervisor"]
PATIENCE_S = 30


class Daemon:
    """One ``holdwatch run --simulate``. Waits on what it says, never on time."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.scenario = folder / "scenario.yaml"
        self.scenario.write_text(patient_scenario(), "utf-8")
        self.process = subprocess.Popen(
            [*HOLDWATCH, "run", "--simulate", str(self.scenario),
             "--run-dir", str(folder / "run"), "--state-dir", str(folder / "state")],
            stderr=subprocess.PIPE,
            text=True,
        )  # fmt: skip
        self.said: list[str] = []
        self.wait_for("supervising")

    def wait_for(self, word: str) -> str:
        assert self.process.stderr
        for line in self.process.stderr:
            self.said.append(line)
            if word in line:
                return line
        raise AssertionError(f"never said {word!r}: {''.join(self.said)}")

    def ask(self, *command: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*HOLDWATCH, *command, "--run-dir", str(self.folder / "run")],
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )

    def end(self, number: int) -> int:
        self.process.send_signal(number)
        assert self.process.stderr
        self.said += self.process.stderr.readlines()
        return self.process.wait(PATIENCE_S)

    @property
    def latch(self) -> str:
        content = json.loads((self.folder / "state" / "lockout.json").read_text("utf-8"))
        return str(content["state"])


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[[], Daemon]]:
    started: list[Daemon] = []

    def starts() -> Daemon:
        started.append(Daemon(tmp_path))
        return started[-1]

    yield starts
    for daemon in started:
        daemon.process.kill()
        daemon.process.wait()
        assert daemon.process.stderr
        daemon.process.stderr.close()


def insist(daemon: Daemon, *command: str) -> None:
    """Ask until the readings have come up, as an operator would."""
    for _ in range(50):
        answer = daemon.ask(*command)
        if answer.returncode == 0:
            return
    raise AssertionError(answer.stdout + answer.stderr)


def close(daemon: Daemon) -> None:
    insist(daemon, "close")


def test_close_status_open(start: Callable[[], Daemon]) -> None:
    daemon = start()
    close(daemon)
    assert daemon.latch == "armed"
    status = daemon.ask("status")
    assert status.returncode == 0
    assert "(simulated), profile bank: closed" in status.stdout
    silenced = daemon.ask("silence")
    assert "silent for 15 min" in silenced.stdout
    assert "front cell" in status.stdout
    whole = json.loads(daemon.ask("status", "--json").stdout)
    assert whole["circuit"] == "closed"
    assert whole["simulated"] is True
    assert daemon.ask("open").returncode == 0
    daemon.wait_for("opening confirmed")
    assert daemon.ask("reset", "--reason", "for the test").returncode == 1


@pytest.mark.parametrize(
    "number",
    [signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGQUIT, signal.SIGUSR1, signal.SIGABRT],
)
def test_a_signal_opens_first_and_leaves_in_order(start: Callable[[], Daemon], number: int) -> None:
    daemon = start()
    close(daemon)
    assert daemon.end(number) == 0
    said = "".join(daemon.said)
    assert said.index("the program was told to end") < said.index("opening confirmed")
    assert daemon.latch == "clear"
    assert not (daemon.folder / "run" / "status.json").exists()
    assert not (daemon.folder / "run" / "requests.sock").exists()


def test_the_keys_that_stop_a_program_do_not_stop_this_one(start: Callable[[], Daemon]) -> None:
    daemon = start()
    close(daemon)
    daemon.process.send_signal(signal.SIGTSTP)
    assert daemon.ask("status").returncode == 0
    assert daemon.end(signal.SIGTERM) == 0


@pytest.mark.parametrize(
    ("folders", "words"),
    [
        ([], "of its own"),
        (["--run-dir", "{}/same", "--state-dir", "{}/same"], "both run and state folder"),
        (["--run-dir", "{}/" + "x" * 110, "--state-dir", "{}/s"], "too long"),
        (["--run-dir", "/proc/nowhere", "--state-dir", "{}/s"], "cannot write"),
    ],
)
def test_folders_that_will_not_do_are_told(tmp_path: Path, folders: list[str], words: str) -> None:
    scenario = tmp_path / "scenario.yaml"
    scenario.write_text(patient_scenario(), "utf-8")
    result = subprocess.run(
        [*HOLDWATCH, "run", "--simulate", str(scenario), *(f.format(tmp_path) for f in folders)],
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert result.returncode in (1, 2)
    assert words in result.stderr
    assert "Traceback" not in result.stderr


def test_killed_while_closed_it_is_locked_out_and_then_has_to_cool(
    start: Callable[[], Daemon],
) -> None:
    daemon = start()
    close(daemon)
    daemon.end(signal.SIGKILL)
    again = start()
    refused = again.ask("close")
    assert refused.returncode == 1
    assert "ended without a word" in refused.stdout
    insist(again, "reset", "--reason", "it was killed for a test")
    waits = again.ask("close")
    assert waits.returncode == 1
    assert "it is not known how hot the supply is" in waits.stdout
    assert again.end(signal.SIGTERM) == 0


def test_a_second_daemon_on_either_folder_is_refused(start: Callable[[], Daemon]) -> None:
    daemon = start()
    for folders in (
        ["--run-dir", str(daemon.folder / "run"), "--state-dir", str(daemon.folder / "other")],
        ["--run-dir", str(daemon.folder / "other"), "--state-dir", str(daemon.folder / "state")],
    ):
        second = subprocess.run(
            [*HOLDWATCH, "run", "--simulate", str(daemon.scenario), *folders],
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )
        assert second.returncode == 69
        assert "another daemon" in second.stderr
    assert daemon.ask("status").returncode == 0


@pytest.mark.parametrize("act", [["close"], ["open"], ["reset", "--reason", "x y z"], ["status"]])
def test_without_a_daemon_the_commands_say_so(tmp_path: Path, act: list[str]) -> None:
    result = subprocess.run(
        [*HOLDWATCH, *act, "--run-dir", str(tmp_path)],
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert result.returncode == 75
    assert "Traceback" not in result.stderr
    assert str(tmp_path) in result.stderr


def test_real_devices_that_are_missing_are_told_with_their_remedy(
    tmp_path: Path, hut_path: Path
) -> None:
    settings = tmp_path / "no-such-bus.yaml"
    example = hut_path.read_text("utf-8")
    assert "  # number: 1\n" in example
    settings.write_text(example.replace("  # number: 1\n", "  number: 63\n"), "utf-8")
    result = subprocess.run(
        [*HOLDWATCH, "run", str(settings), "--run-dir", str(tmp_path / "r"),
         "--state-dir", str(tmp_path / "s")],
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert result.returncode == 69
    assert "/dev/i2c-63" in result.stderr
    assert "what to do" in result.stderr


def test_the_daemon_imports_neither_numpy_nor_web_nor_plotting() -> None:
    """On real devices: everything ``run`` needs, and the real devices' libraries."""
    probe = (
        "import sys, supervisor.cli.main, supervisor.cli.run, supervisor.devices.i2c\n"
        "supervisor.cli.main.main.get_command(None, 'run')\n"
        "import gpiozero, lgpio, smbus2\n"
        "heavy = ['numpy', 'starlette', 'uvicorn', 'prometheus_client', 'matplotlib', 'rich',\n"
        "         'scipy', 'anyio', 'supervisor.simulator', 'supervisor.bench',\n"
        "         'ssl', '_hashlib']\n"
        "print([name for name in heavy if sys.modules.get(name)])"
    )
    result = subprocess.run(
        [sys.executable, "-c", probe],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=True,
    )
    assert result.stdout.strip() == "[]"
