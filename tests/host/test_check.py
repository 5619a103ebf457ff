"""Each check of the machine over a sound Raspberry Pi as a tree, spoilt one thing at a time."""

import json
import os
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

import pi_cases_parts
import pi_cases_system
import pytest
from message_bench import OPEN
from pi_spoils import FLAGS, HERTZ, Spoil, claimed, hidden, no_settings, process, remove
from pi_tree import RUN, STATE, PiTree

from supervisor.control.publisher import StatusFile
from supervisor.host import check as module
from supervisor.host.check import examine_host
from supervisor.host.check_answer import Finding, State, good
from supervisor.host.check_host import Host
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import ChannelView

FAULT, WARNING, CANNOT_TELL, NOTE, GOOD = State
CASES = [*pi_cases_parts.CASES, *pi_cases_system.CASES]


@pytest.fixture
def pi(tmp_path: Path, hut_settings: SupervisorSettings) -> Iterator[PiTree]:
    tree = PiTree(tmp_path / "machine", hut_settings)
    yield tree
    tree.let_go()


def findings(tree: PiTree, check: str) -> list[Finding]:
    key, _, name = check.partition(".")
    group, checks = module.GROUPS[key]
    return examine_host(tree.host(), groups={key: (group, {name: checks[name]})})


def worst(found: list[Finding]) -> Finding:
    return found[0]  # examine_host sorts


@pytest.mark.parametrize(("check", "state", "words", "spoil"), CASES)
def test_each_answer_of_each_check(
    pi: PiTree, check: str, state: State, words: str, spoil: tuple[Spoil, ...]
) -> None:
    for change in spoil:
        change(pi)
    found = findings(pi, check)
    assert any(f.state is state and words in f.found for f in found), found
    if state in (FAULT, WARNING):
        assert all(f.means and f.remedy for f in found if f.state is state)
    else:
        assert worst(found).state is state, found


def test_the_table_has_every_check() -> None:
    checks = {f"{key}.{name}" for key, (_, of) in module.GROUPS.items() for name in of}
    assert checks == {check for check, *_ in CASES}


def test_a_sound_machine_has_nothing_against_it(pi: PiTree) -> None:
    found = examine_host(pi.host())
    assert {f.state for f in found} == {GOOD, NOTE}
    assert not [f for f in found if f.state is NOTE and f.id not in (
        "settings.commissioned", "bus.speed")]  # fmt: skip


def test_the_worst_comes_first_and_each_finding_tells_itself_apart(pi: PiTree) -> None:
    pi.remove("/dev/watchdog")
    pi.write(FLAGS, "1\n")
    pi.remove("/proc/swaps")
    found = examine_host(pi.host())
    states = [f.state for f in found]
    assert states == sorted(states, key=list(State).index)
    assert set(states) == set(State)
    names = [(f.id, f.about) for f in found]
    assert len(names) == len(set(names))


def test_a_weakened_unit_is_told_with_its_file_and_a_way_back(pi: PiTree) -> None:
    """Several settings, and each is told; what is to be typed fits the place of the file."""
    for path in ("/etc/systemd/system/holdwatch@.service.d", "/usr/lib/systemd/system/service.d"):
        pi.write(f"{path}/mine.conf", "[Service]\nWatchdogSec=30\nExecStopPost=\nRestart=no\n")
        found = findings(pi, "protection.kept")
        assert [f.about for f in found] == ["ExecStopPost", "WatchdogSec", "Restart"]
        assert all(f.group == "Service" and f"{path}/mine.conf" in f.remedy for f in found)
        assert all(("systemctl revert" in f.remedy) == path.startswith("/etc") for f in found)
        assert all("daemon-reload" in f.remedy for f in found)
        pi.remove(f"{path}/mine.conf")


def test_what_is_to_be_typed_as_root_names_the_whole_program(
    pi: PiTree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before it is on the path of root, its name alone is not found."""
    program = pi.machine.at("/opt/holdwatch/bin/holdwatch")
    monkeypatch.setattr(sys, "argv", [str(program)])
    pi.write("/etc/passwd", "root:x:0:0:::\n")
    pi.write("/etc/group", "root:x:0:\n")
    pi.remove("/usr/local/lib")
    pi.hide_processes()
    pi.kernel.who = (1000, frozenset({1000}))
    remedies = [f.remedy for f in examine_host(pi.host())]
    assert not [r for r in remedies if "sudo holdwatch" in r]
    for command in ("install-units", "host-check"):
        assert any(f"sudo {program} {command}" in r for r in remedies)


def test_without_a_running_systemd_users_are_made_by_hand(pi: PiTree) -> None:
    pi.write("/etc/passwd", "root:x:0:0:::\n")
    assert "systemd-sysusers" not in worst(findings(pi, "users.service")).remedy
    pi.remove("/run/systemd/system")
    assert "sudo systemd-sysusers" in worst(findings(pi, "users.service")).remedy


# --- the bus is left alone


TOUCHED_NEVER = (
    claimed(RUN),
    claimed(STATE),
    claimed("/run/holdwatch"),
    claimed("/run/holdwatch/other"),
    process("python /opt/holdwatch/bin/holdwatch run x.yaml"),
    process("python3 -m supervisor run x.yaml"),
    process("/usr/bin/python3 mine.py", "/dev/i2c-1"),
    hidden,
    no_settings,
    remove("/dev/i2c-1"),
)


@pytest.mark.parametrize("busy", TOUCHED_NEVER)
def test_nobody_is_asked_while_somebody_may_be_at_work(pi: PiTree, busy: Spoil) -> None:
    busy(pi)
    examine_host(pi.host())
    assert pi.kernel.chips.asked == []


def test_a_lock_file_that_this_user_may_not_open_counts_as_a_daemon_at_work(
    pi: PiTree, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("supervisor.host.check_host.is_claimed", lambda _: True)
    assert worst(findings(pi, "chips.answering")).state is CANNOT_TELL
    assert pi.kernel.chips.asked == []


def test_each_chip_is_asked_once_for_its_configuration_and_nothing_is_written(pi: PiTree) -> None:
    examine_host(pi.host())
    assert pi.kernel.chips.asked == [(0x48, b"\x01"), (0x49, b"\x01")]
    assert pi.kernel.chips.is_closed


def test_the_bus_is_closed_also_when_the_look_fails(pi: PiTree) -> None:
    pi.kernel.chips.configurations[0x48] = 0x12345  # does not fit: an error nobody thought of
    assert any("failed" in f.found for f in findings(pi, "chips.answering"))
    assert pi.kernel.chips.is_closed


@pytest.mark.parametrize(
    ("far_cell_v", "simulated", "age_s", "state", "words"),
    [
        (3.4, False, 0.0, GOOD, "reads the far cell"),
        (None, False, 0.0, FAULT, "no reading of the far cell: open lead"),
        (3.4, True, 0.0, CANNOT_TELL, "a simulated run is at work"),
        (3.4, False, 60.0, CANNOT_TELL, "published nothing"),
    ],
)
def test_the_daemon_at_work_is_taken_at_its_word(
    pi: PiTree, far_cell_v: float | None, simulated: bool, age_s: float, state: State, words: str
) -> None:
    flaw = "good" if far_cell_v else "open lead"
    channel = ChannelView("far_cell", far_cell_v, "V", flaw, 0.01, 0.0, None, None)
    pi.claim(RUN)
    StatusFile(pi.machine.at(RUN)).publish(
        replace(
            OPEN,
            simulated=simulated,
            channels=(channel,),
            published_at_s=time.monotonic() - age_s,
        )
    )
    told = worst(findings(pi, "chips.answering"))
    assert told.state is state
    assert words in told.found
    assert pi.kernel.chips.asked == []


@pytest.mark.parametrize("where", ["/run/holdwatch/other", "/tmp/test-run"])
def test_another_daemon_is_not_taken_for_ours(pi: PiTree, where: str) -> None:
    """Whatever it says of itself; and its bus is left alone all the same."""
    pi.process(812, f"python /v/bin/holdwatch run --run-dir {where} x.yaml", "/dev/i2c-1")
    StatusFile(pi.machine.at(where)).publish(replace(OPEN, published_at_s=time.monotonic()))
    found = examine_host(pi.host())
    words = " ".join(f.found for f in found)
    assert f"another holdwatch is at work in {where}" in words
    assert "the daemon at work" not in words
    assert "its own" not in words
    assert pi.kernel.chips.asked == []


def test_without_proc_nobody_is_asked_and_nothing_fails(pi: PiTree) -> None:
    pi.remove("/proc")
    found = examine_host(pi.host())
    assert not [f for f in found if "the look at it failed" in f.found]
    assert worst(findings(pi, "chips.answering")).state is CANNOT_TELL
    assert pi.kernel.chips.asked == []


# --- it writes nothing, raises nothing, waits for nobody


def test_only_the_state_folder_is_written_in(pi: PiTree) -> None:
    before = {path: path.lstat() for path in pi.files()}
    examine_host(pi.host())
    after = {path: path.lstat() for path in pi.files()}
    assert {p: (s.st_mtime_ns, s.st_mode) for p, s in before.items()} == {
        p: (s.st_mtime_ns, s.st_mode) for p, s in after.items()
    }
    assert pi.kernel.tried == [pi.machine.at(STATE)]


def test_nothing_at_all_is_told_as_such(tmp_path: Path) -> None:
    tree = PiTree(tmp_path, None)
    for path in tree.files():
        path.unlink()
    found = examine_host(tree.host())
    assert not any("failed" in f.found for f in found), found
    assert any(f.state is FAULT for f in found)


@pytest.mark.parametrize("kind", ["raises", "hangs"])
def test_a_check_that_fails_or_hangs_is_one_that_cannot_tell(pi: PiTree, kind: str) -> None:
    release = threading.Event()

    def broken(_host: Host) -> list[object]:
        if kind == "raises":
            raise RuntimeError("odd")
        release.wait()
        return []

    checks = {"broken": broken, "sound": lambda _host: [good("sound")]}
    found = examine_host(pi.host(), patience_s=0.05, groups={"x": ("X", checks)})
    release.set()
    assert [(f.id, f.state) for f in found] == [("x.broken", CANNOT_TELL), ("x.sound", GOOD)]


def test_a_fifo_or_a_folder_in_place_of_a_file_is_no_text(pi: PiTree) -> None:
    pi.remove(FLAGS)
    os.mkfifo(pi.machine.at(FLAGS))
    pi.remove(HERTZ)
    os.mkfifo(pi.machine.at(HERTZ))
    pi.remove("/proc/swaps")
    pi.machine.at("/proc/swaps").mkdir()
    for check in ("power.voltage", "bus.speed", "kernel.swap"):
        told = worst(findings(pi, check))
        assert told.state is CANNOT_TELL
        assert "does not say" in told.found


def test_findings_are_plain_json(pi: PiTree) -> None:
    for told in json.loads(json.dumps([asdict(f) for f in examine_host(pi.host())])):
        assert set(told) == {"id", "about", "group", "state", "found", "means", "remedy"}
        assert told["state"] in set(State)
