"""Memory that is locked, and what happens where that is not permitted."""

import logging
import subprocess
import sys
from typing import Any

import pytest

from supervisor.control import in_memory

PATIENCE_S = 30
# In a process of its own: the lock holds until its end.
PROBE = """
import resource, sys
from supervisor.control import in_memory
{}
in_memory.lock_in_memory()
status = open('/proc/self/status').read()
print(status.split('VmLck:')[1].split()[0], status.split('VmSize:')[1].split()[0])
"""


def said_by(before: str) -> tuple[int, int, str]:
    """VmLck and VmSize in kB, and what was logged."""
    result = subprocess.run(
        [sys.executable, "-c", PROBE.format(before)],
        capture_output=True, text=True, timeout=PATIENCE_S, check=True,
    )  # fmt: skip
    locked, size = map(int, result.stdout.split())
    return locked, size, result.stderr


def test_where_a_limit_stands_nothing_is_locked_and_it_is_told_in_a_line() -> None:
    """A lock within a limit would make a later allocation fail."""
    locked, _, said = said_by(
        "def stands(*_): raise ValueError('not allowed to raise maximum limit')\n"
        "resource.setrlimit = stands"
    )
    assert locked == 0
    assert len(said.splitlines()) == 1
    assert "memory is not locked (not allowed to raise maximum limit)" in said
    assert "LimitMEMLOCK" in said


def test_where_it_is_permitted_all_of_it_is_locked() -> None:
    """As in the unit, whose LimitMEMLOCK is infinity; elsewhere, nothing of it is."""
    locked, size, said = said_by("")
    if said:
        assert "not locked" in said
        assert locked == 0
    else:
        assert locked > size / 2


@pytest.mark.parametrize("error", [1, 12])
def test_a_kernel_that_refuses_is_told(
    error: int, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    class Refuses:
        def mlockall(self, flags: int) -> int:
            assert flags == 7
            in_memory.ctypes.set_errno(error)
            return -1

    def library(*_: Any, **__: Any) -> Refuses:
        return Refuses()

    monkeypatch.setattr(in_memory, "_lift_limit", lambda: None)
    monkeypatch.setattr(in_memory.ctypes, "CDLL", library)
    with caplog.at_level(logging.WARNING):
        in_memory.lock_in_memory()
    assert len(caplog.records) == 1
    assert "memory is not locked" in caplog.text
    assert f"[Errno {error}]" in caplog.text


def test_what_is_frozen_is_not_searched_again() -> None:
    probe = (
        "import gc\n"
        "from supervisor.control.in_memory import freeze\n"
        "import supervisor.cli.run\n"
        "freeze(); print(gc.get_freeze_count(), len(gc.get_objects()))"
    )
    result = subprocess.run(
        [sys.executable, "-c", probe],
        capture_output=True, text=True, timeout=PATIENCE_S, check=True,
    )  # fmt: skip
    frozen, searched = map(int, result.stdout.split())
    assert frozen > 10_000
    assert searched < 100
