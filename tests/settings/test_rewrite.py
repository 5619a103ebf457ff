"""A settings file replaced as a whole or not at all, and the old one kept beside it."""

import os
import stat
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from supervisor.settings import rewrite
from supervisor.settings.edit import edited
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.load import load_settings
from supervisor.settings.rewrite import write_edited

AT = datetime(2031, 4, 5, 6, 7, 8, 999, tzinfo=UTC)
CHANGES = {"channels.front_cell.gain": 1.0021, "channels.front_cell.offset_volts": -0.0012}
Change = Callable[[], object]


@pytest.fixture
def path(tmp_path: Path, hut_text: str) -> Path:
    path = tmp_path / "hut.yaml"
    path.write_text(hut_text, encoding="utf-8")
    return path


def fault_of(path: Path, changes: dict[str, float | int | str], at: datetime = AT) -> Fault:
    """The refusal; the folder is then as it was."""
    before = folder(path)
    with pytest.raises(SettingsFaults) as refused:
        write_edited(path, changes, at)
    assert folder(path) == before
    return refused.value.faults[0]


def folder(path: Path) -> dict[str, bytes]:
    return {one.name: one.read_bytes() for one in path.parent.iterdir() if one.is_file()}


def test_the_new_settings_and_the_old_file(path: Path, hut_text: str) -> None:
    old_settings, _ = load_settings(path)
    kept = write_edited(path, CHANGES, AT)
    assert kept == path.with_name("hut.yaml.before-20310405T060708Z")
    assert folder(path) == {
        kept.name: hut_text.encode(),
        path.name: edited(hut_text, CHANGES).encode(),
    }
    cell = load_settings(path)[0].channels.front_cell
    assert cell == old_settings.channels.front_cell.model_copy(
        update={"gain": 1.0021, "offset_volts": -0.0012}
    )


def test_the_time_is_told_in_utc(path: Path) -> None:
    at = AT.astimezone(timezone(timedelta(hours=-9, minutes=-30)))
    kept = write_edited(path, CHANGES, at)
    assert kept is not None
    assert kept.name.endswith(".before-20310405T060708Z")
    with pytest.raises(ValueError, match="time zone"):
        write_edited(path, CHANGES, AT.replace(tzinfo=None))


def test_what_is_there_already_is_not_written(path: Path) -> None:
    before = path.stat()
    assert write_edited(path, {"bank.cell_ampere_hours": 280}, AT) is None
    assert path.stat() == before
    assert list(path.parent.iterdir()) == [path]


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664])
def test_mode_stays(path: Path, mode: int) -> None:
    path.chmod(mode)
    kept = write_edited(path, CHANGES, AT)
    assert kept is not None
    assert [stat.S_IMODE(one.stat().st_mode) for one in (path, kept)] == [mode, mode]


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may give files away")
def test_owner_stays(path: Path) -> None:
    os.chown(path, 4321, 1234)
    kept = write_edited(path, CHANGES, AT)
    assert kept is not None
    assert [(one.stat().st_uid, one.stat().st_gid) for one in (path, kept)] == [(4321, 1234)] * 2


def test_of_a_link_the_file_behind_it(path: Path, tmp_path: Path, hut_text: str) -> None:
    home = tmp_path / "home"
    home.mkdir()
    (home / "second").symlink_to(path)
    link = home / "bank.yaml"
    link.symlink_to("second")
    kept = write_edited(link, CHANGES, AT)
    assert kept == path.with_name("hut.yaml.before-20310405T060708Z")
    assert link.is_symlink()
    assert link.read_text(encoding="utf-8") == edited(hut_text, CHANGES)
    assert sorted(one.name for one in home.iterdir()) == ["bank.yaml", "second"]


def test_an_old_one_is_never_overwritten(path: Path) -> None:
    write_edited(path, CHANGES, AT)
    fault = fault_of(path, {"channels.front_cell.gain": 1.5})
    assert "hut.yaml.before-20310405T060708Z already" in fault.problem
    assert write_edited(path, {"channels.front_cell.gain": 1.5}, AT + timedelta(seconds=1))
    assert len(folder(path)) == 3


def test_a_link_in_the_place_of_the_old_one_is_not_followed(path: Path, tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    path.with_name("hut.yaml.before-20310405T060708Z").symlink_to(victim)
    assert "already" in fault_of(path, dict(CHANGES)).problem
    assert not victim.exists()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"channels.front_cell.gain": 0.2}, "0.5"),
        ({"channels.front_cell.gain": "much"}, "number"),
        ({"channels.front_cell.gian": 1.0}, "gian"),
        ({"protection.overvoltage.trip_volts": 3.7}, "never_above_volts"),
        ({"channels.middle_cell.gain": 1.0}, "no block channels.middle_cell"),
    ],
)
def test_settings_that_would_be_refused_are_not_written(
    path: Path, changes: dict[str, float | int | str], words: str
) -> None:
    fault = fault_of(path, changes)
    assert words in f"{fault.path} {fault.problem} {fault.why} {fault.remedy}"
    assert fault.file.startswith(str(path))


def meanwhile(monkeypatch: pytest.MonkeyPatch, change: Change) -> None:
    """Somebody else is at work between reading and replacing."""

    def slowly(*given: object) -> str:
        new = edited(*given)  # type: ignore[arg-type]
        change()
        return new

    monkeypatch.setattr(rewrite, "edited", slowly)


def test_a_change_meanwhile_is_not_lost(
    path: Path, hut_text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = hut_text.replace("cells_in_parallel: 32", "cells_in_parallel: 31")
    aside = path.with_name("aside.yaml")

    def in_another_file() -> None:
        aside.write_text(hut_text, encoding="utf-8")
        aside.replace(path)

    changes: list[Change] = [
        lambda: path.write_text(other, encoding="utf-8"),
        in_another_file,
        lambda: path.chmod(0o604),
        lambda: os.utime(path, ns=(1, 1)),
    ]
    for change in changes:
        meanwhile(monkeypatch, change)
        with pytest.raises(SettingsFaults, match="Somebody else changed this file"):
            write_edited(path, CHANGES, AT)
        assert list(path.parent.iterdir()) == [path]
        assert "gain: 1.0021" not in path.read_text(encoding="utf-8")
        path.write_text(hut_text, encoding="utf-8")


def test_a_file_that_is_gone_meanwhile(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    meanwhile(monkeypatch, path.unlink)
    with pytest.raises(SettingsFaults, match="no such file"):
        write_edited(path, CHANGES, AT)
    assert not list(path.parent.iterdir())


@pytest.mark.parametrize("call", ["fsync", "replace", "fchmod"])
@pytest.mark.parametrize(
    ("error", "words"),
    [(OSError(28, "No space left on device"), "No space left"),
     (PermissionError(1, "Operation not permitted"), "may not be replaced")],
)  # fmt: skip
def test_a_medium_that_fails_leaves_all_as_it_was(
    path: Path, call: str, error: OSError, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise error

    monkeypatch.setattr(rewrite.os, call, fail)
    assert words in fault_of(path, dict(CHANGES)).problem


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may give files away")
def test_the_file_of_another_user(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    os.chown(path, 4321, 4321)

    def fail(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(rewrite.os, "fchown", fail)
    assert "Do it as the owner" in fault_of(path, dict(CHANGES)).remedy


def test_on_the_medium_before_the_name_changes_its_meaning(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both files are synced, then renamed, then the folder is synced."""
    said: list[str] = []
    fsync, replace = os.fsync, os.replace

    def sync(descriptor: int) -> None:
        said.append("folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file")
        fsync(descriptor)

    def rename(source: Path, target: Path) -> None:
        assert source.parent == target.parent
        said.append("rename")
        replace(source, target)

    monkeypatch.setattr(rewrite.os, "fsync", sync)
    monkeypatch.setattr(rewrite.os, "replace", rename)
    write_edited(path, CHANGES, AT)
    assert said == ["file", "file", "rename", "folder"]


def test_a_folder_that_cannot_be_synced_is_told(
    path: Path, hut_text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    fsync = os.fsync

    def sync(descriptor: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(5, "Input/output error")
        fsync(descriptor)

    monkeypatch.setattr(rewrite.os, "fsync", sync)
    with pytest.raises(SettingsFaults, match="It is replaced, but may not outlive"):
        write_edited(path, CHANGES, AT)
    assert path.read_text(encoding="utf-8") == edited(hut_text, CHANGES)


@pytest.mark.parametrize("name", ["none.yaml", ".", "a/b.yaml", "n" * 300, "nul\0.yaml"])
def test_no_file_to_change(tmp_path: Path, name: str) -> None:
    with pytest.raises(SettingsFaults):
        write_edited(tmp_path / name, CHANGES, AT)
    assert not list(tmp_path.iterdir())


def test_a_name_without_room_for_the_kept_one(path: Path) -> None:
    long = path.rename(path.with_name("n" * 245 + ".yaml"))
    assert "too long" in fault_of(long, dict(CHANGES)).problem
