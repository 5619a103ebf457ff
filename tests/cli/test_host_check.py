"""The command: what it prints, at which width, and how it ends."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pi_tree import SETTINGS, PiTree

from supervisor.cli import host_check
from supervisor.cli.host_check import verdict
from supervisor.cli.main import main
from supervisor.host.check_answer import Finding, State
from supervisor.host.check_host import Host
from supervisor.settings.model import SupervisorSettings

FLAGS = "/sys/devices/platform/soc/soc:firmware/get_throttled"


@pytest.fixture
def pi(tmp_path: Path, hut_settings: SupervisorSettings, monkeypatch: pytest.MonkeyPatch) -> PiTree:
    """The command looks at this machine instead of the one it runs on."""
    tree = PiTree(tmp_path / "machine", hut_settings)

    def on_the_tree(*told: object) -> Host:
        host = Host(*told)  # type: ignore[arg-type]
        host.machine, host.kernel = tree.host().machine, tree.kernel
        if host.settings_file:
            tree.write(str(host.settings_file), "")
        return host

    monkeypatch.setattr(host_check, "Host", on_the_tree)
    return tree


@pytest.fixture
def etc(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(host_check, "SETTINGS_DIR", tmp_path / "etc")
    (tmp_path / "etc").mkdir()
    return tmp_path / "etc"


def ask(*arguments: str, columns: int = 80) -> Result:
    env = {"COLUMNS": str(columns)}
    return CliRunner().invoke(main, ["host-check", *arguments], env=env, catch_exceptions=False)


def config(folder: Path, hut_path: Path, change: tuple[str, str] | None = None) -> Path:
    text = hut_path.read_text("utf-8")
    if change:
        assert change[0] in text
        text = text.replace(*change)
    path = folder / "hut.yaml"
    path.write_text(text, "utf-8")
    return path


@pytest.mark.usefixtures("pi")
def test_a_sound_machine_is_fit(tmp_path: Path, hut_path: Path) -> None:
    result = ask("--config", str(config(tmp_path, hut_path)))
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("Raspberry Pi 4 Model B Rev 1.4, for hut\n")
    assert result.stdout.endswith("\nfit: the daemon may run unattended on this machine\n")


def test_faults_come_first_and_end_with_1(pi: PiTree, tmp_path: Path, hut_path: Path) -> None:
    pi.write(FLAGS, "1\n")
    pi.remove("/dev/watchdog")
    result = ask("--config", str(config(tmp_path, hut_path)))
    assert result.exit_code == 1
    headings = [line for line in result.stdout.splitlines() if re.fullmatch(r"[A-Z].*:", line)]
    assert headings == ["Faults, to be seen to first:", "Warnings:", "Notes:", "Good:"]
    assert result.stdout.splitlines()[-1] == "NOT FIT: 1 fault, 1 warning"


@pytest.mark.parametrize("columns", [80, 40])
def test_it_fits_the_terminal(pi: PiTree, tmp_path: Path, hut_path: Path, columns: int) -> None:
    for path in ("/dev/watchdog", "/sys/bus", "/proc/swaps", "/usr/local/lib"):
        pi.remove(path)
    pi.write(FLAGS, "50005\n")
    pi.hide_processes()
    result = ask("--config", str(config(tmp_path, hut_path)), columns=columns)
    too_wide = [line for line in result.stdout.splitlines() if len(line) > columns]
    assert [line for line in too_wide if " " in line.strip()] == []
    assert "\x1b" not in result.stdout
    assert [w for w in " ".join(too_wide).split() if not w.startswith(("/", "holdwatch"))] == []


@pytest.mark.usefixtures("pi")
def test_json_is_a_list_of_findings_with_the_documented_keys(
    tmp_path: Path, hut_path: Path
) -> None:
    result = ask("--config", str(config(tmp_path, hut_path)), "--json")
    told = json.loads(result.stdout)
    assert result.exit_code == 0
    keys = {"id", "about", "group", "state", "found", "means", "remedy"}
    assert all(set(finding) == keys for finding in told)
    assert {"bus.device", "gpio.kept_level", "disk.keeps"} <= {f["id"] for f in told}
    described = ask("--help").stdout
    assert all(re.search(rf"\b{key}\b", described) for key in keys)
    assert all(state in described for state in State)


@pytest.mark.usefixtures("pi")
def test_settings_at_fault_end_with_78_and_the_rest_is_told_all_the_same(
    tmp_path: Path, hut_path: Path
) -> None:
    path = config(tmp_path, hut_path, ("trip_volts: 3.60", "trip_volts: 3.66"))
    result = ask("--config", str(path))
    assert result.exit_code == 78
    assert "hut.yaml has faults" in result.stdout.replace("\n    ", " ")
    assert "/dev/i2c-1 is there" in result.stdout
    assert "overvoltage.trip_volts" in result.stderr
    assert "Traceback" not in result.output


@pytest.mark.usefixtures("pi")
def test_a_settings_file_that_is_not_there_ends_with_78(tmp_path: Path) -> None:
    result = ask("--config", str(tmp_path / "absent.yaml"))
    assert result.exit_code == 78
    assert "absent.yaml" in result.stderr


@pytest.mark.usefixtures("pi")
def test_settings_that_this_user_may_not_read_are_no_fault_of_theirs(
    tmp_path: Path, hut_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = config(tmp_path, hut_path)
    may = os.access
    monkeypatch.setattr(os, "access", lambda p, mode: p != path and may(p, mode))
    result = ask("--config", str(path))
    assert result.exit_code == 0
    assert "this user may not read it" in result.stdout.replace("\n    ", " ")
    assert "fit, but:" in result.stdout


@pytest.mark.usefixtures("pi")
def test_without_config_the_only_settings_are_taken(etc: Path, hut_path: Path) -> None:
    config(etc, hut_path)
    (etc / "hut.messages.yaml").write_text("")
    assert ", for hut\n" in ask().stdout
    (etc / "other.yaml").write_text("")
    result = ask()
    assert result.exit_code == 2
    assert "--config" in result.stderr


@pytest.mark.usefixtures("pi", "etc")
def test_without_any_settings_the_machine_is_looked_at_all_the_same() -> None:
    result = ask()
    assert result.exit_code == 0, result.stdout
    assert "without settings" in result.stdout
    assert "fit, but:" in result.stdout.splitlines()[-1]


@pytest.mark.parametrize(
    ("given", "looked_at"),
    [
        ((), ("/run/holdwatch/hut", "/var/lib/holdwatch/hut")),
        (("--run-dir", "/a", "--state-dir", "/b"), ("/a", "/b")),
    ],
)
def test_folders_are_those_of_the_service_unless_others_are_named(
    tmp_path: Path,
    hut_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    given: tuple[str, ...],
    looked_at: tuple[str, str],
) -> None:
    seen: list[Host] = []
    monkeypatch.setattr(host_check, "examine_host", lambda host: seen.append(host) or [])
    ask("--config", str(config(tmp_path, hut_path)), *given)
    assert (str(seen[0].run_dir), str(seen[0].state_dir)) == looked_at
    assert seen[0].circuit == "hut"


def test_without_proc_it_says_what_to_do(pi: PiTree, tmp_path: Path, hut_path: Path) -> None:
    pi.remove("/proc")
    result = ask("--config", str(config(tmp_path, hut_path)))
    assert "mount /proc" in result.stderr
    assert "without settings" not in result.stdout
    assert "fit, but:" in result.stdout or "NOT FIT" in result.stdout


def test_it_needs_no_driver_to_be_loaded() -> None:
    """Those look for the board in /proc, and fail where there is none."""
    code = "import sys, supervisor.cli.host_check; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split()
    assert not {"busio", "gpiozero", "lgpio"} & {*loaded}


def test_on_the_machine_that_it_runs_on(hut_path: Path) -> None:
    """Whatever that is: an answer, a verdict, no traceback, and no check that failed."""
    result = ask("--config", str(hut_path), "--json")
    told = json.loads(result.stdout)
    assert result.exit_code == (1 if any(f["state"] == "fault" for f in told) else 0)
    assert not [f for f in told if "the look at it failed" in f["found"]]


@pytest.mark.parametrize(
    ("states", "words"),
    [
        ((), "fit: the daemon may run unattended on this machine"),
        (("good", "note"), "fit: the daemon may run unattended on this machine"),
        (("warning",), "fit, but: 1 warning"),
        (("cannot tell",), "fit, but: 1 thing it cannot tell"),
        (("warning", "warning", "cannot tell"), "fit, but: 2 warnings and 1 thing it cannot tell"),
        (("fault", "good"), "NOT FIT: 1 fault"),
        (("fault", "fault", "cannot tell"), "NOT FIT: 2 faults, 1 thing it cannot tell"),
    ],
)
def test_the_last_line(states: tuple[str, ...], words: str) -> None:
    assert verdict([Finding("x", "", "X", State(s), "", "", "") for s in states]) == words


def test_the_example_settings_are_named_like_the_circuit() -> None:
    assert Host(Path("/r"), Path("/s"), Path(SETTINGS)).circuit == "hut"
