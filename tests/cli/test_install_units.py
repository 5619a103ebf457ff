"""``holdwatch install-units``: what it says, what it runs, when it refuses."""

import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from install_trees import edited, machine, masked_above, other_version, snapshot

from supervisor.cli import install_units
from supervisor.cli.main import main
from supervisor.host import install_executable, install_system
from supervisor.host.shell_files import shell_files
from supervisor.host.unit_files import unit_files

PROGRAM = "/opt/night-shift/bin/holdwatch"
UNIT = unit_files()[-1]
DAEMON = "usr/local/lib/systemd/system/holdwatch@.service"
ALL = len(unit_files()) + len(shell_files(main))


def invoked(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["install-units", *map(str, arguments)])


@pytest.fixture
def root(tmp_path: Path) -> Path:
    root = machine(tmp_path / "image")
    program(root, PROGRAM)
    return root


def program(root: Path, path: str, mode: int = 0o755) -> Path:
    lies = root / path.lstrip("/")
    lies.parent.mkdir(parents=True, exist_ok=True)
    lies.write_text("#!/bin/sh\n")
    lies.chmod(mode)
    return lies


@pytest.fixture
def into(root: Path) -> list[str]:
    """Below that root, for a program of another place."""
    return ["--root", str(root), "--executable", PROGRAM]


def test_it_puts_all_in_place_and_runs_nothing(root: Path, into: list[str]) -> None:
    result = invoked(*into)
    assert result.exit_code == 0, result.output
    assert result.stdout.count("written  ") == ALL
    assert f"ExecStart={PROGRAM} run" in (root / DAEMON).read_text()
    assert (root / "etc/holdwatch").is_dir()
    assert "nothing was run" in result.stderr
    again = invoked(*into)
    assert again.exit_code == 0
    assert again.stdout.count("unchanged  ") == ALL


def test_a_dry_run_says_so_and_does_nothing(root: Path, into: list[str]) -> None:
    before = snapshot(root)
    result = invoked(*into, "--dry-run")
    assert result.exit_code == 0
    assert result.stdout.count("would write  ") == ALL
    assert f"would make    {root}/etc/holdwatch" in result.stdout
    assert snapshot(root) == before


def test_a_dry_run_shows_what_would_change(root: Path, into: list[str]) -> None:
    other_version(root, UNIT)
    before = snapshot(root)
    result = invoked(*into, "--dry-run")
    assert f"would replace {root / UNIT.path}: holdwatch 9.1.0 wrote it" in result.stdout
    assert "    -an older text" in result.stdout
    assert "more lines" in result.stdout
    assert snapshot(root) == before
    assert "replaced  " in invoked(*into).stdout


def test_another_program_is_a_small_change(root: Path, into: list[str]) -> None:
    invoked(*into)
    program(root, "/usr/bin/holdwatch")
    result = invoked("--root", root, "--executable", "/usr/bin/holdwatch", "--dry-run")
    assert f"    -ExecStart={PROGRAM} run" in result.stdout
    assert "    +ExecStart=/usr/bin/holdwatch run" in result.stdout


@pytest.mark.parametrize("dry_run", [[], ["--dry-run"]])
def test_an_edited_file_stops_everything(root: Path, into: list[str], dry_run: list[str]) -> None:
    edited(root, UNIT)
    before = snapshot(root)
    result = invoked(*into, *dry_run)
    assert result.exit_code == 1
    assert f"{root / UNIT.path}: edited" in result.stderr
    assert "systemctl edit" in result.stderr
    assert snapshot(root) == before


def test_a_mask_stays_and_is_told(root: Path, into: list[str]) -> None:
    masked_above(root, UNIT)
    result = invoked(*into)
    assert result.exit_code == 0
    assert (root / UNIT.elsewhere[0]).is_symlink()
    assert f"systemctl unmask {UNIT.path.name}" in result.stderr


def test_a_packages_files_go_where_packages_go(root: Path, into: list[str]) -> None:
    before = snapshot(root)
    result = invoked(*into, "--vendor")
    assert result.exit_code == 0
    assert (root / "usr/lib/systemd/system/holdwatch@.service").is_file()
    assert not list((root / "usr/local").rglob("*holdwatch*"))
    assert invoked("--root", root, "--vendor", "--undo").exit_code == 0
    assert snapshot(root) == before


def test_a_packages_files_are_not_written_a_second_time(root: Path, into: list[str]) -> None:
    invoked(*into, "--vendor")
    result = invoked(*into)
    assert result.exit_code == 1
    assert "usr/lib/systemd/system/holdwatch@.service too" in result.stderr
    assert not (root / DAEMON).exists()


def test_it_stops_in_words_when_the_disk_is_full(
    into: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_paths: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    result = invoked(*into)
    assert result.exit_code == 1
    assert f"0 of {ALL} files" in result.stderr
    assert "No space left" in result.stderr
    assert "what to do" in result.stderr


# --- undo


def test_undo_leaves_the_machine_as_it_was(root: Path, into: list[str]) -> None:
    before = snapshot(root)
    invoked(*into)
    preview = invoked("--root", root, "--undo", "--dry-run")
    assert preview.stdout.count("would remove  ") == ALL
    assert (root / DAEMON).is_file()
    result = invoked("--root", root, "--undo")
    assert result.exit_code == 0
    assert result.stdout.count("removed  ") == ALL
    assert snapshot(root) == before


def test_undo_leaves_what_is_not_ours_and_says_so(root: Path, into: list[str]) -> None:
    invoked(*into)
    edited(root, UNIT)
    (root / "etc/holdwatch/hut.yaml").write_text("mine")
    drop_in = root / "etc/systemd/system/holdwatch@.service.d"
    drop_in.mkdir()
    result = invoked("--root", root, "--undo")
    assert result.exit_code == 1
    assert f"left alone: {root / UNIT.path}: edited" in result.stderr
    assert f"left alone: {drop_in}" in result.stderr
    assert f"what to do: sudo rm {root / UNIT.path}" in result.stderr
    assert f"settings ({root}/etc/holdwatch)" in result.stderr
    assert (root / UNIT.path).is_file()
    assert (root / "etc/holdwatch/hut.yaml").read_text() == "mine"


@pytest.mark.parametrize("dry_run", [[], ["--dry-run"]])
def test_undo_names_only_what_it_leaves(root: Path, into: list[str], dry_run: list[str]) -> None:
    invoked(*into)
    said = invoked("--root", root, "--undo", *dry_run).stderr
    assert "etc/holdwatch" not in said
    assert "var/lib/holdwatch" not in said
    invoked(*into)
    (root / "var/lib/holdwatch/hut").mkdir(parents=True)
    (root / "etc/holdwatch/hut.yaml").write_text("mine")
    said = invoked("--root", root, "--undo", *dry_run).stderr
    assert f"settings ({root}/etc/holdwatch)" in said
    assert f"journals ({root}/var/lib/holdwatch)" in said


def test_undo_waits_until_nothing_starts_it(root: Path, into: list[str]) -> None:
    invoked(*into)
    wants = root / "etc/systemd/system/multi-user.target.wants"
    wants.mkdir()
    (wants / "holdwatch@hut.service").symlink_to(root / DAEMON)
    result = invoked("--root", root, "--undo")
    assert result.exit_code == 1
    assert "systemctl disable holdwatch@hut.service" in result.stderr
    assert (root / DAEMON).is_file()


def test_undo_of_nothing(root: Path) -> None:
    result = invoked("--root", root, "--undo")
    assert result.exit_code == 0
    assert "nothing to remove" in result.stderr


# --- how it is called


@pytest.mark.parametrize(
    "arguments",
    [
        ["--vendor"],
        ["--vendor", "--root", "/"],
        ["--root", "/nothing/there"],
        ["--undo", "--executable", PROGRAM],
        ["surplus"],
    ],
)
def test_odd_calls(arguments: list[str]) -> None:
    assert invoked(*arguments).exit_code == 2


@pytest.mark.parametrize("program", ["/opt/my tools/holdwatch", "/opt/100%/holdwatch", "holdwatch"])
def test_a_path_that_means_something_else_to_systemd(root: Path, program: str) -> None:
    before = snapshot(root)
    result = invoked("--root", root, "--executable", program)
    assert result.exit_code == 1
    assert "what to do" in result.stderr
    assert snapshot(root) == before


@pytest.mark.parametrize("undo", [[], ["--undo"]])
def test_a_root_that_is_not_there_is_not_made(tmp_path: Path, undo: list[str]) -> None:
    (tmp_path / "file").touch()
    for mistyped in (tmp_path / "imgae", tmp_path / "file", tmp_path / "file" / "below"):
        result = invoked("--root", mistyped, *undo)
        assert result.exit_code == 2
        assert f"there is no folder {mistyped}" in result.stderr
        assert "why it matters" in result.stderr
        assert f"mkdir -p {mistyped}" in result.stderr
    assert [one.name for one in tmp_path.iterdir()] == ["file"]


@pytest.mark.parametrize("dry_run", [[], ["--dry-run"]])
@pytest.mark.parametrize("spoil", ["gone", "folder", "not executable", "link to nothing", "loop"])
def test_a_program_that_would_not_start_is_refused(
    root: Path, into: list[str], spoil: str, dry_run: list[str]
) -> None:
    lies = root / PROGRAM.lstrip("/")
    lies.unlink()
    match spoil:
        case "folder":
            lies.mkdir()
        case "not executable":
            program(root, PROGRAM, mode=0o644)
        case "link to nothing":
            lies.symlink_to("/opt/elsewhere/bin/holdwatch")
        case "loop":
            lies.symlink_to(lies.name)
    before = snapshot(root)
    result = invoked(*into, *dry_run)
    assert result.exit_code == 2
    assert "--executable" in result.stderr
    assert str(lies) in result.stderr
    assert "may be run by nobody" in result.stderr or spoil != "not executable"
    assert "why it matters: the service would not start" in result.stderr
    assert "what to do" in result.stderr
    assert snapshot(root) == before


@pytest.mark.parametrize("target", ["../lib/bin/holdwatch", "/opt/night-shift/lib/bin/holdwatch"])
def test_a_link_leads_to_where_that_system_will_find_it(
    root: Path, into: list[str], target: str
) -> None:
    """Also from the root on, of which this machine has another one."""
    lies = root / PROGRAM.lstrip("/")
    lies.unlink()
    lies.symlink_to(target)
    program(root, "/srv/bin/holdwatch")
    (root / "opt/night-shift/lib").symlink_to("/srv")
    assert invoked(*into).exit_code == 0


def test_the_machines_own_program_is_none_of_the_images(root: Path) -> None:
    """The same path, and nothing there below the root."""
    here = root.parent / "holdwatch"
    program(root.parent, "holdwatch")
    result = invoked("--root", root, "--executable", here)
    assert result.exit_code == 2
    assert f"there is no program {root}{here}" in result.stderr


def test_left_out_it_is_this_one_and_its_lack_is_told(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "argv", [str(program(root.parent, "holdwatch"))])
    result = invoked("--root", root)
    assert result.exit_code == 0
    assert f"there is no program {root}{root.parent}/holdwatch" in result.stderr
    assert "before that system starts" in result.stderr


# --- on a machine that runs: a root of its own is taken for the whole of it

COMMANDS = ("systemctl", "systemd-sysusers", "systemd-tmpfiles", "udevadm")


@pytest.fixture
def live(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """systemd's commands are scripts that write down how they were called."""
    with tempfile.TemporaryDirectory() as name:
        base = Path(name)
        base.chmod(0o755)
        root = machine(base / "root")
        monkeypatch.setattr(install_units, "MACHINE", root)
        monkeypatch.setattr(install_system, "BOOTED", root / "run")
        monkeypatch.setattr(install_executable, "HIDDEN", ("/home", "/root"))
        monkeypatch.setattr(os, "geteuid", lambda: 0)
        tools = base / "bin"
        tools.mkdir()
        for command in COMMANDS:
            say(tools / command, f'echo "{command} $*" >> {base}/called')
        own = tools / "holdwatch"
        say(own, "true")
        monkeypatch.setattr(sys, "argv", [str(own)])
        monkeypatch.setattr(sys, "executable", str(own))
        monkeypatch.setattr(os, "__file__", str(own))
        monkeypatch.setattr(install_executable.supervisor, "__file__", str(own))
        monkeypatch.setenv("PATH", f"{tools}:/usr/bin:/bin")
        yield base


def say(script: Path, line: str) -> None:
    script.write_text(f"#!/bin/sh\n{line}\n")
    script.chmod(0o755)


def called(base: Path) -> list[str]:
    log = base / "called"
    return log.read_text().splitlines() if log.exists() else []


def at_work(base: Path, *units: str) -> None:
    lines = "\n".join(f"{unit} loaded active running of ours" for unit in units)
    say(base / "bin/systemctl", f'echo "systemctl $*" >> {base}/called\nprintf "{lines}\\n"')


def test_users_are_made_and_units_read(live: Path) -> None:
    result = invoked()
    assert result.exit_code == 0, result.output
    local = live / "root/usr/local/lib"
    lines = called(live)
    assert lines[0] == f"systemd-sysusers {local}/sysusers.d/holdwatch.conf"
    assert lines.index("systemctl daemon-reload") > 0
    assert all(
        f"run           {line}" in result.stdout for line in lines if "list-units" not in line
    )
    for step in (
        "systemctl enable --now holdwatch@NAME",
        "host-check",
        "holdwatch check",
        "adduser",
    ):
        assert step in result.stderr
    assert "starts open and closes on request only" in result.stderr
    assert (
        f"ExecStart={live}/bin/holdwatch run"
        in (local / "systemd/system/holdwatch@.service").read_text()
    )


def test_nothing_new_runs_nothing(live: Path) -> None:
    invoked()
    (live / "called").unlink()
    assert invoked().exit_code == 0
    assert [line for line in called(live) if "list-units" not in line] == []


def test_a_dry_run_runs_nothing(live: Path) -> None:
    result = invoked("--dry-run")
    assert "would run     systemctl daemon-reload" in result.stdout
    assert called(live) == []


def test_nothing_is_restarted_started_or_stopped(live: Path) -> None:
    at_work(live, "holdwatch@hut.service", "holdwatch-web@hut.service")
    result = invoked()
    assert "holdwatch@hut.service holdwatch-web@hut.service" in result.stderr
    assert "opens the circuit" in result.stderr
    verbs = {line.split()[1] for line in called(live) if line.startswith("systemctl")}
    assert verbs == {"daemon-reload", "list-units"}


def test_undo_waits_until_nothing_runs(live: Path) -> None:
    invoked()
    before = snapshot(live / "root")
    at_work(live, "holdwatch@hut.service")
    result = invoked("--undo")
    assert result.exit_code == 1
    assert "systemctl stop holdwatch@hut.service" in result.stderr
    assert snapshot(live / "root") == before


def test_undo_has_the_units_read_again(live: Path) -> None:
    before = snapshot(live / "root")
    invoked()
    (live / "called").unlink()
    assert invoked("--undo").exit_code == 0
    assert called(live)[-1] == "systemctl daemon-reload"
    assert snapshot(live / "root") == before


@pytest.mark.parametrize("command", ["systemd-sysusers", "systemctl"])
def test_a_command_that_fails_is_told_in_its_words(live: Path, command: str) -> None:
    say(live / "bin" / command, "echo 'no such thing' >&2; exit 3")
    result = invoked()
    assert result.exit_code == 1
    assert f"{command}" in result.stderr
    assert "no such thing" in result.stderr
    assert "what to do" in result.stderr


def test_undo_does_not_guess_what_runs(live: Path) -> None:
    invoked()
    say(live / "bin/systemctl", "exit 1")
    result = invoked("--undo")
    assert result.exit_code == 1
    assert (live / "root" / DAEMON).is_file()


def test_without_systemd_it_says_so(live: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(install_system, "BOOTED", live / "nowhere")
    result = invoked()
    assert result.exit_code == 0
    assert "systemd does not run here" in result.stderr
    assert "sudo systemd-sysusers" in result.stderr
    assert called(live) == []


def test_not_root(live: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    before = snapshot(live / "root")
    for arguments in ([], ["--undo"]):
        result = invoked(*arguments)
        assert result.exit_code == 1
        typed = " ".join(["install-units", *arguments])
        assert f"sudo {live}/bin/holdwatch {typed};" in result.stderr
    assert invoked("--dry-run").exit_code == 0
    assert snapshot(live / "root") == before


@pytest.mark.parametrize("arguments", [[], ["--undo"], ["--dry-run"]])
def test_without_proc_it_says_so(
    live: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str]
) -> None:
    monkeypatch.setattr(install_units, "PROC", live / "nowhere")
    before = snapshot(live / "root")
    result = invoked(*arguments)
    assert result.exit_code == 1
    assert "mount /proc" in result.stderr
    assert snapshot(live / "root") == before


def test_out_of_reach(live: Path) -> None:
    (live / "bin").chmod(0o750)
    before = snapshot(live / "root")
    result = invoked()
    assert result.exit_code == 1
    assert "nothing would watch" in result.stderr
    assert snapshot(live / "root") == before
