"""The Debian package's scripts: nothing is taken from under a daemon that works.

The daemon's part is its own status file, kept fresh as a daemon does. A small ``systemctl`` tells
which units run and writes down what it was asked; ``holdwatch`` is the real one.
"""

import os
import subprocess
import sysconfig
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from message_bench import OPEN

from supervisor.control.publisher import StatusFile
from supervisor.snapshot import Circuit, LockoutView

SCRIPTS = Path(__file__).parents[2] / "systemd/debian"
UNIT = "holdwatch@hut.service"
PAGE = "holdwatch-web@hut.service"
SYSTEMCTL = """#!/bin/sh
echo "$@" >>{log}
for pattern; do :; done
[ "$1" != list-units ] || while read -r unit rest; do
    case $unit in $pattern) echo "$unit $rest" ;; esac
done <{running}
[ "$1 $2" != "start {broken}" ]
"""
REFUSING = {Circuit.CLOSED, Circuit.PAUSED}
LOCKOUT = LockoutView(
    tripped_by="overvoltage", reason="front cell too high", remedy="turn the knob down",
    measured=3.61, limit=3.6, unit="V", wall="2026-01-01T00:00:00+00:00", opened_in_s=None,
    failed_to_open=True, stored=True, before=(),
)  # fmt: skip


@dataclass(frozen=True)
class Machine:
    """A ``/run`` and a ``/usr/lib`` of its own, in which the scripts are run."""

    root: Path

    def __post_init__(self) -> None:
        for folder in ("run/systemd/system", "run/holdwatch/hut", "bin"):
            (self.root / folder).mkdir(parents=True)
        (self.root / "asked").touch()
        systemctl = self.root / "bin/systemctl"
        systemctl.write_text(
            SYSTEMCTL.format(
                log=self.root / "asked",
                running=self.root / "running",
                broken="holdwatch@no.service",
            )
        )
        systemctl.chmod(0o755)
        (self.root / "bin/udevadm").symlink_to("/bin/true")

    def runs(self, *units: str) -> None:
        (self.root / "running").write_text("".join(f"{u} loaded active\n" for u in units))

    def script(self, name: str, *arguments: str) -> "subprocess.CompletedProcess[str]":
        text = (SCRIPTS / name).read_text()
        for folder in ("/run/holdwatch", "/run/systemd", "/etc/systemd", "/usr/local/lib/systemd"):
            text = text.replace(folder, f"{self.root}{folder}")
        path = f"{self.root}/bin:{sysconfig.get_path('scripts')}:{os.environ['PATH']}"
        return subprocess.run(
            ["sh", "-c", text, name, *arguments], env=os.environ | {"PATH": path},
            capture_output=True, text=True, check=False,
        )  # fmt: skip

    def asked(self, verb: str) -> list[str]:
        lines = (self.root / "asked").read_text().splitlines()
        return [line for line in lines if line.startswith(verb + " ")]

    @property
    def restart(self) -> Path:
        return self.root / "run/holdwatch.restart"

    @contextmanager
    def daemon(self, **state: object) -> Iterator[None]:
        """Publishes until the end of the block."""
        file, ended = StatusFile(self.root / "run/holdwatch/hut"), threading.Event()

        def publish() -> None:
            file.publish(replace(OPEN, published_at_s=time.monotonic(), **state))

        def go_on() -> None:
            while not ended.wait(0.1):
                publish()

        publish()
        thread = threading.Thread(target=go_on)
        thread.start()
        try:
            yield
        finally:
            ended.set()
            thread.join()


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


@pytest.mark.parametrize("circuit", list(Circuit))
def test_no_upgrade_while_a_circuit_is_or_may_close_by_itself(
    machine: Machine, circuit: Circuit
) -> None:
    machine.runs(UNIT, PAGE)
    with machine.daemon(circuit=circuit.value):
        done = machine.script("prerm", "upgrade", "0.2.0")
    if circuit in REFUSING:
        assert done.returncode == 1
        assert f"is {circuit.value}\n" in done.stderr
        assert "holdwatch open" in done.stderr
        assert machine.asked("stop") == []
        assert not machine.restart.exists()
    else:
        assert (done.returncode, done.stderr) == (0, "")
        assert machine.asked("stop") == [f"stop {UNIT} {PAGE}"]
        assert machine.restart.read_text().split() == [UNIT, PAGE]


@pytest.mark.parametrize("action", ["remove", "upgrade", "failed-upgrade", "deconfigure"])
def test_whatever_it_is_asked_a_closed_circuit_goes_on(machine: Machine, action: str) -> None:
    """dpkg asks the new version by failed-upgrade when the old one refuses (policy 6.6)."""
    machine.runs(UNIT)
    with machine.daemon(circuit=Circuit.CLOSED.value):
        assert machine.script("prerm", action, "0.2.0").returncode == 1
    assert machine.asked("stop") == []


def test_a_circuit_that_was_not_seen_to_open_keeps_its_daemon(machine: Machine) -> None:
    machine.runs(UNIT)
    with machine.daemon(circuit=Circuit.LOCKED_OUT.value, lockout=LOCKOUT):
        done = machine.script("prerm", "upgrade", "0.2.0")
    assert done.returncode == 1
    assert "not seen to open" in done.stderr


def test_a_unit_that_runs_and_says_nothing_fresh_may_be_closed(machine: Machine) -> None:
    """Cannot tell never counts as clear."""
    machine.runs(UNIT)
    stale = replace(OPEN, circuit=Circuit.OPEN.value, published_at_s=time.monotonic() - 60.0)
    StatusFile(machine.root / "run/holdwatch/hut").publish(stale)
    done = machine.script("prerm", "remove")
    assert done.returncode == 1
    assert f"{UNIT} runs, and does not tell" in done.stderr


def test_a_daemon_that_no_unit_started_is_not_left_on_files_that_go(machine: Machine) -> None:
    machine.runs(PAGE, "holdwatch@other.service")
    with machine.daemon(circuit=Circuit.OPEN.value):
        done = machine.script("prerm", "remove")
    assert done.returncode == 1
    assert "no unit started" in done.stderr


def test_what_a_dead_daemon_left_stands_in_nobodys_way(machine: Machine) -> None:
    machine.runs(PAGE)
    stale = replace(OPEN, circuit=Circuit.CLOSED.value, published_at_s=time.monotonic() - 60.0)
    StatusFile(machine.root / "run/holdwatch/hut").publish(stale)
    assert machine.script("prerm", "remove").returncode == 0
    assert machine.asked("stop") == [f"stop {PAGE}"]
    assert not machine.restart.exists()  # a removal starts nothing again


def test_an_upgrade_starts_again_what_ran_and_nothing_else(machine: Machine) -> None:
    machine.runs()
    machine.restart.write_text(f"{UNIT}\nholdwatch@no.service\n{PAGE}\n")
    done = machine.script("postinst", "abort-upgrade", "0.2.0")
    assert done.returncode == 0
    assert machine.asked("start") == [f"start {u}" for u in (UNIT, "holdwatch@no.service", PAGE)]
    assert "holdwatch@no.service does not start" in done.stderr
    assert not machine.restart.exists()


def test_a_first_installation_starts_nothing(machine: Machine) -> None:
    machine.runs()
    assert machine.script("postinst", "abort-remove").returncode == 0
    assert machine.asked("start") == []


@pytest.mark.parametrize("folder", ["etc/systemd/system", "usr/local/lib/systemd/system"])
def test_units_put_there_by_hand_stand_above_the_package_and_are_told(
    machine: Machine, folder: str
) -> None:
    unit = machine.root / folder / "holdwatch@.service"
    unit.parent.mkdir(parents=True)
    unit.write_text("[Service]\n")
    done = machine.script("preinst", "install")
    assert done.returncode == 1
    assert "install-units --undo" in done.stderr
    unit.unlink()
    assert machine.script("preinst", "install").returncode == 0


def test_a_purge_takes_no_lockout_no_record_and_no_settings(machine: Machine) -> None:
    """Only links to units that have gone; those of other units stay."""
    wants = machine.root / "etc/systemd/system/multi-user.target.wants"
    wants.mkdir(parents=True)
    kept = wants / "holdwatch@other.service"
    (wants / UNIT).symlink_to("/usr/lib/systemd/system/holdwatch@.service")
    kept.symlink_to("/usr/local/lib/systemd/system/holdwatch@.service")
    lockout = machine.root / "var/lib/holdwatch/hut/lockout.json"
    lockout.parent.mkdir(parents=True)
    lockout.write_text("{}")
    done = machine.script("postrm", "purge")
    assert done.returncode == 0
    assert [path.name for path in wants.iterdir()] == [kept.name]
    assert lockout.read_text() == "{}"
    assert "/var/lib/holdwatch" in done.stdout
