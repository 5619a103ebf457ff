"""One daemon a folder; who only looks whether there is one is in nobody's way."""

import fcntl
import os
from pathlib import Path

import pytest

from supervisor.control import instance
from supervisor.control.instance import FILE_NAME, TRIES, claim, is_claimed
from supervisor.devices.errors import HardwareMissing


def looked_at(folder: Path) -> int:
    """As ``is_claimed`` holds it, for an instant."""
    file = os.open(folder / FILE_NAME, os.O_RDONLY | os.O_CREAT)
    fcntl.flock(file, fcntl.LOCK_SH)
    return file


def test_a_folder_is_for_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    waits: list[float] = []
    monkeypatch.setattr(instance.time, "sleep", waits.append)
    assert not is_claimed(tmp_path)
    file = claim(tmp_path)
    assert is_claimed(tmp_path)
    with pytest.raises(HardwareMissing) as refused:
        claim(tmp_path)
    assert str(tmp_path) in refused.value.problem
    assert len(waits) == TRIES - 1
    os.close(file)
    assert not is_claimed(tmp_path)


def test_who_looks_at_the_wrong_moment_keeps_no_daemon_from_starting(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    looks = [looked_at(tmp_path), looked_at(tmp_path)]
    monkeypatch.setattr(instance.time, "sleep", lambda _: os.close(looks.pop()))
    file = claim(tmp_path)
    assert looks == []
    os.close(file)


def test_refused_it_keeps_no_file_open(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(instance.time, "sleep", lambda _: None)
    file = claim(tmp_path)
    before = len(os.listdir("/proc/self/fd"))
    with pytest.raises(HardwareMissing):
        claim(tmp_path)
    assert len(os.listdir("/proc/self/fd")) == before
    os.close(file)
