"""One daemon a folder; who only looks whether there is one is in nobody's way."""

import fcntl
import os
from pathlib import Path

import pytest

from supervisor.control import instance
from supervisor.control.instance import FILE_NAME, TRIES, claim, is_claimed, kept_free
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


def test_kept_free_it_is_no_daemons_until_it_is_let_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(instance.time, "sleep", lambda _: None)
    os.close(claim(tmp_path))
    with kept_free(tmp_path) as is_free:
        assert is_free
        assert not is_claimed(tmp_path), "it is no daemon"
        with pytest.raises(HardwareMissing):
            claim(tmp_path)
    os.close(claim(tmp_path))


def test_a_daemons_folder_is_not_free(tmp_path: Path) -> None:
    file = claim(tmp_path)
    with kept_free(tmp_path) as is_free:
        assert not is_free
    os.close(file)


def test_a_reader_that_stops_in_the_middle_keeps_nothing_from_being_switched_off(
    tmp_path: Path,
) -> None:
    look = looked_at(tmp_path)
    with kept_free(tmp_path) as is_free:
        assert is_free
    os.close(look)


def test_what_cannot_be_looked_at_is_not_free(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).symlink_to(FILE_NAME)
    with kept_free(tmp_path) as is_free:
        assert not is_free


@pytest.mark.parametrize("claimed", [True, False])
def test_looking_keeps_no_file_open(tmp_path: Path, *, claimed: bool) -> None:
    file = claim(tmp_path)
    if not claimed:
        os.close(file)
    before = len(os.listdir("/proc/self/fd"))
    with kept_free(tmp_path), kept_free(tmp_path / "nowhere"):
        is_claimed(tmp_path)
    assert len(os.listdir("/proc/self/fd")) == before
    if claimed:
        os.close(file)
