"""The units: what they start exists, what they need is there, and they are shut in."""

import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from supervisor.cli.common import EXIT_SETTINGS
from supervisor.cli.main import main
from supervisor.settings.model import SupervisorSettings

SYSTEMD = Path(__file__).parents[2] / "systemd"
UNITS = sorted(SYSTEMD.glob("*.service"))
CONTROL, WEB, MESSAGES = (
    SYSTEMD / f"{name}@.service" for name in ("holdwatch", "holdwatch-web", "holdwatch-messages")
)
WRITTEN_FOR = "/opt/holdwatch/bin/holdwatch"
INSTANCE = "hut-bank"
PATIENCE_S = 60
# As ``systemd-analyze security`` counts: 10 is everything permitted.
MOST_EXPOSED = {CONTROL: 1.5, WEB: 1.5, MESSAGES: 1.5}

each_unit = pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.stem)
needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None,
    reason="no systemd-analyze here: the units are not judged by it",
)


def values(unit: Path, key: str) -> list[str]:
    """All of a key, in order, for the instance."""
    lines = unit.read_text("utf-8").splitlines()
    found = [line.partition("=")[2] for line in lines if line.startswith(f"{key}=")]
    return [value.replace("%i", INSTANCE) for value in found]


def value(unit: Path, key: str) -> str:
    (only,) = values(unit, key)
    return only


def commands(unit: Path) -> list[list[str]]:
    """Those of ours that it starts, without the program's own name."""
    lines = [*values(unit, "ExecStart"), *values(unit, "ExecStopPost")]
    words = [shlex.split(line) for line in lines]
    assert all(program == WRITTEN_FOR for program, *_ in words)
    return [rest for _, *rest in words]


def option(words: list[str], name: str) -> str:
    return words[words.index(name) + 1]


def instance_of(unit: Path, folder: Path) -> Path:
    """As it is when started: with an executable that is there."""
    executable = folder / "holdwatch"
    executable.write_text("#!/bin/sh\n")
    executable.chmod(0o755)
    text = unit.read_text("utf-8").replace(WRITTEN_FOR, str(executable))
    place = folder / unit.name.replace("@", f"@{INSTANCE}")
    place.write_text(text, "utf-8")
    return place


def analyze(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["systemd-analyze", *words],
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip


def test_there_are_three() -> None:
    assert set(UNITS) == {CONTROL, WEB, MESSAGES}


# --- judged by systemd itself


@needs_systemd
@each_unit
def test_systemd_understands_every_line(unit: Path, tmp_path: Path) -> None:
    verdict = analyze("verify", "--man=no", str(instance_of(unit, tmp_path)))
    said = [line for line in verdict.stderr.splitlines() if "holdwatch" in line]
    assert said == []
    assert verdict.returncode == 0, verdict.stderr


@needs_systemd
@each_unit
def test_it_is_shut_in(unit: Path, tmp_path: Path) -> None:
    place = instance_of(unit, tmp_path)
    verdict = analyze("security", "--offline=true", "--no-pager", str(place))
    found = re.search(r"Overall exposure level for \S+: ([\d.]+)", verdict.stdout)
    assert found, verdict.stdout + verdict.stderr
    assert float(found[1]) <= MOST_EXPOSED[unit], verdict.stdout


def syscalls(*wanted: str) -> set[str]:
    """Of groups such as @system-service, those in them included."""
    every: dict[str, set[str]] = {}
    for line in analyze("syscall-filter", "--no-pager").stdout.splitlines():
        word = line.strip()
        if line.startswith("@"):
            members = every.setdefault(word, set())
        elif word and not word.startswith("#"):
            members.add(word)
    found, waiting = set(), set(wanted)
    while waiting:
        name = waiting.pop()
        if name.startswith("@"):
            waiting |= every[name]
        else:
            found.add(name)
    return found


def permitted(unit: Path) -> set[str]:
    allowed, denied = values(unit, "SystemCallFilter")
    assert denied.startswith("~")
    return syscalls(*allowed.split()) - syscalls(*denied[1:].split())


@needs_systemd
def test_the_daemon_may_make_the_calls_it_lives_by() -> None:
    """Bus and pins, the latch on disk, its own scheduling and memory."""
    lives_by = {
        "ioctl", "fsync", "rename", "flock", "mlockall", "prlimit64", "sched_setscheduler",
        "setpriority", "clock_nanosleep", "futex", "sendto", "accept4", "mknod", "chdir",
    }  # fmt: skip
    assert lives_by <= permitted(CONTROL)


@needs_systemd
@each_unit
def test_no_unit_may_change_the_machine(unit: Path) -> None:
    never = {"mount", "reboot", "init_module", "settimeofday", "ptrace", "bpf", "setuid", "chroot"}
    assert not never & permitted(unit)


# --- what they start


@each_unit
def test_it_starts_commands_and_options_that_exist(unit: Path) -> None:
    for name, *words in commands(unit):
        context = main.make_context("holdwatch", [name, *words])
        command = main.get_command(context, name)
        assert command
        assert command.make_context(name, words, parent=context)


def test_the_three_agree_on_the_folders_of_a_circuit() -> None:
    run_dir, state_dir = f"/run/holdwatch/{INSTANCE}", f"/var/lib/holdwatch/{INSTANCE}"
    assert f"/run/{value(CONTROL, 'RuntimeDirectory')}" == run_dir
    assert f"/var/lib/{value(CONTROL, 'StateDirectory')}" == state_dir
    every = [words for unit in UNITS for words in commands(unit)]
    assert {option(words, "--run-dir") for words in every} == {run_dir}
    assert {option(words, "--state-dir") for words in every if words[0] != "drop"} == {state_dir}
    (messages,) = commands(MESSAGES)
    assert option(messages, "--sent-dir") == f"/var/lib/{value(MESSAGES, 'StateDirectory')}"


def test_others_may_read_what_the_daemon_shows_and_not_what_was_sent() -> None:
    assert value(CONTROL, "RuntimeDirectoryMode") == value(CONTROL, "StateDirectoryMode") == "0755"
    assert int(value(CONTROL, "UMask"), 8) & 0o044 == 0
    assert value(MESSAGES, "StateDirectoryMode") == "0700"


# --- how they end and come back


@each_unit
def test_settings_at_fault_are_not_tried_again_and_all_else_is(unit: Path) -> None:
    """A bus late at boot, a busy line, a folder in use: it passes, and nobody may be there."""
    assert value(unit, "Restart") == "on-failure"
    assert value(unit, "RestartPreventExitStatus") == str(EXIT_SETTINGS)


@each_unit
def test_all_else_is_tried_for_ever(unit: Path) -> None:
    """systemd.unit(5): five starts within ten seconds are the usual limit."""
    limited = values(unit, "StartLimitIntervalSec") != ["0"]
    assert not limited or float(value(unit, "RestartSec")) * 5 > 10


def test_a_daemon_that_hangs_is_ended_without_its_help_and_its_outputs_dropped() -> None:
    """In a call of the library no handler of ours runs: SIGABRT would wait for TimeoutStopSec."""
    assert value(CONTROL, "WatchdogSignal") == "SIGKILL"
    assert [words[0] for words in commands(CONTROL)] == ["run", "drop"]
    assert not value(CONTROL, "ExecStopPost").startswith("-"), "a failure is to be seen"
    assert value(CONTROL, "RuntimeDirectoryPreserve") == "yes", "drop needs the file"


def test_the_watchdog_is_fed_many_times_before_it_bites(hut_settings: SupervisorSettings) -> None:
    watchdog_s = float(value(CONTROL, "WatchdogSec"))
    assert 10 * hut_settings.loop.window_s < watchdog_s
    assert 2 * hut_settings.lease_s < watchdog_s, "the lease comes first"


# --- who they are


def sysusers() -> tuple[set[str], set[str]]:
    """Users, and groups: each user has one of its name."""
    lines = [line.split() for line in (SYSTEMD / "holdwatch.sysusers").read_text().splitlines()]
    users = {words[1] for words in lines if words and words[0] == "u"}
    return users, users | {words[1] for words in lines if words and words[0] == "g"}


@each_unit
def test_its_user_and_groups_are_made(unit: Path) -> None:
    users, groups = sysusers()
    assert value(unit, "User") in users
    named = {value(unit, "Group")} | set(" ".join(values(unit, "SupplementaryGroups")).split())
    assert named <= groups


def test_each_is_a_user_of_its_own_and_only_the_daemon_has_devices() -> None:
    assert len({value(unit, "User") for unit in UNITS}) == len(UNITS)
    assert len({value(unit, "Group") for unit in UNITS}) == len(UNITS)
    assert values(CONTROL, "DeviceAllow") == ["char-i2c rw", "char-gpiochip rw"]
    for unit in (WEB, MESSAGES):
        assert value(unit, "PrivateDevices") == "yes"
        assert not values(unit, "SupplementaryGroups")


def test_the_devices_belong_to_the_daemons_groups() -> None:
    rules = (SYSTEMD / "60-holdwatch.rules").read_text("utf-8")
    groups = set(re.findall(r'GROUP="(\w+)"', rules))
    assert groups == set(value(CONTROL, "SupplementaryGroups").split())


@pytest.mark.skipif(
    shutil.which("systemd-sysusers") is None,
    reason="no systemd-sysusers here: the users are not made in a scratch folder",
)
def test_systemd_makes_them(tmp_path: Path) -> None:
    (tmp_path / "etc").mkdir()
    made = subprocess.run(
        ["systemd-sysusers", f"--root={tmp_path}", str(SYSTEMD / "holdwatch.sysusers")],
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    users, groups = sysusers()
    for file, names in (("passwd", users), ("group", groups)):
        lines = (tmp_path / "etc" / file).read_text("utf-8").splitlines()
        assert {line.partition(":")[0] for line in lines} >= names
