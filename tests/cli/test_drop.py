"""``holdwatch drop``, and the daemon that writes down what there is to drop."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from lines import BUZZER, COIL, LAMP, MAINS, STRANGER, Lines, lines
from loop_bench import LoopBench, with_level_drive

from supervisor.cli import run
from supervisor.cli.main import main
from supervisor.control import instance
from supervisor.control.instance import FILE_NAME, claim
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.left_outputs import LeftOutputs
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.model import SupervisorSettings

__all__ = ["lines"]
PATIENCE_S = 30


def drop(run_dir: Path) -> tuple[int, str]:
    """Exit code, and what it says; on stderr, as everything."""
    result = CliRunner().invoke(main, ["drop", "--run-dir", str(run_dir)])
    assert result.stdout == ""
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stderr


@pytest.fixture
def killed(tmp_path: Path, hut_settings: SupervisorSettings) -> Path:
    """Run folder of a daemon that was killed."""
    LeftOutputs(tmp_path).write(hut_settings)
    return tmp_path


def test_what_was_left_is_switched_off_and_told(killed: Path, lines: Lines) -> None:
    code, said = drop(killed)
    assert code == 0
    assert said == "off: coil (GPIO 17), mains side (GPIO 22), buzzer (GPIO 25), lamp (GPIO 16)\n"
    assert [lines.level[gpio] for gpio in (COIL, MAINS, BUZZER, LAMP)] == [0, 0, 0, 0]
    assert lines.level[STRANGER] == 1


def test_a_second_time_there_is_nothing_to_do(killed: Path, lines: Lines) -> None:
    assert drop(killed)[0] == 0
    lines.level[COIL] = 1  # it is somebody else's by now
    assert drop(killed) == (0, f"nothing was left on in {killed}\n")
    assert lines.level[COIL] == 1


def test_nothing_left_is_no_failure(tmp_path: Path) -> None:
    assert drop(tmp_path) == (0, f"nothing was left on in {tmp_path}\n")


def test_a_folder_that_is_not_there_tells_nothing(tmp_path: Path) -> None:
    code, said = drop(tmp_path / "mistyped")
    assert code == 1
    assert "cannot be told" in said
    assert "mains switch" in said


def test_every_circuit_below_is_dropped_and_one_that_fails_keeps_no_other_on(
    tmp_path: Path, hut_settings: SupervisorSettings, lines: Lines
) -> None:
    """As the service has them: each in a folder of its own."""
    for name in ("a", "b", "c"):
        (tmp_path / name).mkdir()
        LeftOutputs(tmp_path / name).write(hut_settings)
    LeftOutputs(tmp_path / "a").path.write_text("no JSON")
    lock = claim(tmp_path / "b")
    try:
        code, said = drop(tmp_path)
    finally:
        os.close(lock)
    assert code == 1
    assert "nobody knows" in said
    assert f"at work in {tmp_path / 'b'}" in said
    assert "off: coil" in said
    assert lines.level[COIL] == 0


def test_beside_a_daemon_that_wrote_no_file_it_does_not_say_that_all_is_off(
    tmp_path: Path,
) -> None:
    lock = claim(tmp_path)
    try:
        code, said = drop(tmp_path)
    finally:
        os.close(lock)
    assert code == 1
    assert "a daemon is at work" in said


def test_while_a_daemon_is_at_work_nothing_is_touched(killed: Path, lines: Lines) -> None:
    lock = claim(killed)
    try:
        code, said = drop(killed)
    finally:
        os.close(lock)
    assert code == 1
    assert "a daemon is at work" in said
    assert f"holdwatch open --run-dir {killed}" in said
    assert "mains switch" in said
    assert lines.done == []
    assert LeftOutputs(killed).path.exists()


def test_while_it_drives_no_daemon_starts(
    killed: Path, lines: Lines, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its line would be busy for that start."""
    monkeypatch.setattr(instance.time, "sleep", lambda _: None)
    os.close(claim(killed))
    drive, refused = lines.gpio_claim_output, []

    def started_meanwhile(handle: int, gpio: int, level: int = 0) -> int:
        with pytest.raises(HardwareMissing) as told:
            claim(killed)
        refused.append(told.value.problem)
        return drive(handle, gpio, level)

    monkeypatch.setattr(lines, "gpio_claim_output", started_meanwhile)
    assert drop(killed)[0] == 0
    assert len(refused) == len((COIL, MAINS, BUZZER, LAMP))
    os.close(claim(killed))  # and given back


def test_whether_a_daemon_is_at_work_that_cannot_be_told_is_said(
    killed: Path, lines: Lines
) -> None:
    (killed / FILE_NAME).symlink_to(FILE_NAME)
    code, said = drop(killed)
    assert code == 1
    assert "or nobody may see here whether one is" in said
    assert "sudo" in said
    assert lines.done == []


def test_a_file_that_cannot_be_removed_is_told_in_words(
    killed: Path, lines: Lines, monkeypatch: pytest.MonkeyPatch
) -> None:
    def forbidden(path: Path, **_: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "unlink", forbidden)
    code, said = drop(killed)
    assert code == 1
    assert "all are off" in said
    assert "outputs.json" in said
    assert "what to do" in said
    assert lines.level[COIL] == 0


def test_a_pin_that_is_held_is_told_and_all_others_are_off(killed: Path, lines: Lines) -> None:
    lines.busy.add(COIL)
    code, said = drop(killed)
    assert code == 1
    assert "coil (GPIO 17), GPIO busy" in said
    assert "what to do" in said
    assert [lines.level[gpio] for gpio in (MAINS, BUZZER, LAMP)] == [0, 0, 0]


def test_a_file_that_cannot_be_read_is_told(killed: Path, lines: Lines) -> None:
    LeftOutputs(killed).path.write_text('{"boot"')
    code, said = drop(killed)
    assert code == 1
    assert "outputs.json cannot be read" in said
    assert "mains switch" in said
    assert lines.done == []


def test_without_the_library_it_says_so(killed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", None)
    monkeypatch.setenv("LG_WD", "")
    code, said = drop(killed)
    assert code == 1
    assert "lgpio cannot be loaded" in said


def test_it_loads_next_to_nothing() -> None:
    """It runs while the coil is on."""
    probe = (
        "import sys, supervisor.cli.main\n"
        "supervisor.cli.main.main.get_command(None, 'drop')\n"
        "heavy = ['pydantic', 'gpiozero', 'yaml', 'smbus2', 'numpy', 'sqlite3', 'rich',"
        " 'supervisor.settings.model', 'supervisor.control.loop']\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    result = subprocess.run(
        [sys.executable, "-c", probe],
        capture_output=True, text=True, timeout=PATIENCE_S, check=True,
    )  # fmt: skip
    assert result.stdout.strip() == "[]"


# --- the daemon writes the file


class Real:
    """``holdwatch run`` as on real devices, which are those of a simulated world."""

    def __init__(
        self, folder: Path, settings: SupervisorSettings, patch: pytest.MonkeyPatch
    ) -> None:
        self.run_dir = folder / "run"
        self.bench = LoopBench(with_level_drive(settings), folder)
        self.bench.loop.close()
        self.left = LeftOutputs(self.run_dir)
        clock, world = self.bench.clock, self.bench.world
        patch.setattr(run, "load_fit", lambda _: self.bench.settings)
        patch.setattr(run, "MonotonicClock", lambda: clock)
        patch.setattr(run, "KernelI2C", lambda *_: world.open_bus())
        patch.setattr(run, "open_pin_factory", lambda *_: world.pin_factory)

    def at(self, at_s: float, act: Callable[[], None]) -> None:
        self.bench.world.at(at_s, act)

    def go(self) -> tuple[int, str]:
        """Until it ends. Exit code, and what it says."""
        result = CliRunner().invoke(
            main,
            ["run", "any.yaml", "--run-dir", str(self.run_dir),
             "--state-dir", str(self.run_dir.parent / "state")],
        )  # fmt: skip
        self.error = result.exception
        return result.exit_code, result.stderr


@pytest.fixture
def real(
    tmp_path: Path, hut_settings: SupervisorSettings, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Real]:
    numbers = (*run.ENDING_SIGNALS, *run.STOPPING_SIGNALS)
    before = {number: signal.getsignal(number) for number in numbers}
    yield Real(tmp_path, hut_settings, monkeypatch)
    for number, handler in before.items():
        signal.signal(number, handler)


def leave() -> None:
    os.kill(os.getpid(), signal.SIGTERM)


@pytest.mark.usefixtures("lines")
def test_the_file_is_there_from_the_first_cycle_to_a_clean_end(real: Real) -> None:
    seen: list[bool] = []
    real.at(0.01, lambda: seen.append(real.left.path.exists()))
    real.at(1.0, lambda: seen.append(real.left.path.exists()))
    real.at(1.0, leave)
    code, said = real.go()
    assert code == 0, said
    assert "the coil is off; ended" in said
    assert seen == [True, True]
    assert not real.left.path.exists()
    assert not (real.run_dir / "status.json").exists()


@pytest.mark.usefixtures("lines")
def test_without_the_file_nothing_is_supervised(
    real: Real, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device", "outputs.json.new")

    monkeypatch.setattr(LeftOutputs, "write", full)
    code, said = real.go()
    assert code == 1
    assert "No space left" in said
    assert "supervising" not in said


@pytest.mark.usefixtures("lines")
def test_an_end_that_could_not_release_the_coil_leaves_the_file(
    real: Real, monkeypatch: pytest.MonkeyPatch
) -> None:
    pin = real.bench.world.pin_factory.pin(COIL)

    def stuck(_: object) -> None:
        raise OSError("the pin is stuck")

    def stick() -> None:
        monkeypatch.setattr(type(pin), "_set_state", stuck)
        leave()

    real.at(1.0, stick)
    assert real.go()[0] != 0
    assert real.left.path.exists()


def test_a_start_switches_off_what_a_killed_run_left_on_other_pins(
    real: Real, lines: Lines, hut_settings: SupervisorSettings
) -> None:
    real.run_dir.mkdir()
    elsewhere = hut_settings.contactor.model_copy(update={"pin": STRANGER})
    real.left.write(hut_settings.model_copy(update={"contactor": elsewhere}))
    real.at(1.0, leave)
    code, said = real.go()
    assert code == 0, said
    assert "coil (GPIO 5)" in said.split("supervising")[0]
    assert lines.level[STRANGER] == 0
    assert lines.level[COIL] == 1, "not in that file"


def test_a_start_that_cannot_switch_it_off_is_none(real: Real, lines: Lines) -> None:
    real.run_dir.mkdir()
    real.left.write(real.bench.settings)
    lines.busy.add(COIL)
    code, said = real.go()
    assert code == 69
    assert "coil (GPIO 17), GPIO busy" in said
    assert "supervising" not in said
    assert real.left.path.exists()


@pytest.mark.parametrize("is_busy", [False, True])
def test_settings_at_fault_come_after_what_was_left_on(
    real: Real, lines: Lines, monkeypatch: pytest.MonkeyPatch, *, is_busy: bool
) -> None:
    """Their exit code is the one that systemd does not try again."""

    def faulty(_: Path) -> None:
        raise SettingsFaults([])

    real.run_dir.mkdir()
    real.left.write(real.bench.settings)
    monkeypatch.setattr(run, "load_fit", faulty)
    lines.busy.update({COIL} if is_busy else ())
    assert real.go()[0] == (69 if is_busy else 78)
    assert lines.level[COIL] == is_busy


def test_a_second_daemon_leaves_the_file_of_the_first_alone(real: Real, lines: Lines) -> None:
    real.run_dir.mkdir()
    real.left.write(real.bench.settings)
    before = real.left.path.read_bytes()
    lock = claim(real.run_dir)
    try:
        code, said = real.go()
    finally:
        os.close(lock)
    assert code == 69
    assert "another daemon" in said
    assert real.left.path.read_bytes() == before
    assert lines.done == []


def test_folders_given_by_a_relative_path_stay_where_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The GPIO library changes the working folder."""
    given: list[Path] = []
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(run, "_run_real", lambda _, *folders: given.extend(folders))
    words = ["run", "any.yaml", "--run-dir", "r", "--state-dir", "s"]
    assert CliRunner().invoke(main, words).exit_code == 0
    assert given == [tmp_path / "r", tmp_path / "s"]


def test_a_simulated_run_writes_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[object] = []
    monkeypatch.setattr(LeftOutputs, "write", lambda *_: written.append(1))
    monkeypatch.setattr(run, "_supervise", lambda *_: None)
    scenario = Path(__file__).parents[2] / "config" / "scenarios" / "overvoltage.yaml"
    result = CliRunner().invoke(
        main,
        ["run", "--simulate", str(scenario), "--run-dir", str(tmp_path / "r"),
         "--state-dir", str(tmp_path / "s")],
    )  # fmt: skip
    assert result.exit_code == 0, result.stderr
    assert not written
