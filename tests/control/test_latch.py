"""The lockout latch on disk: whatever happens to the file, it never unlocks by itself."""

import errno
import json
import os
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from supervisor.control.latch import Kept, Latch, Lockout
from supervisor.snapshot import Moment

WALL = "2026-02-01T03:04:05.000+00:00"
BEFORE = (Moment(0.1, 3.60, 3.52, 40.0), Moment(0.0, 3.61, None, 41.0))
TRIP = Lockout(
    "overvoltage", "front cell too high", "look", WALL, 3.61, 3.60, "V", 0.04, False, BEFORE
)
HEAT = Kept({"supply_thermal": {"rectifier": 0.75}}, "final_hold")


def test_a_first_start_is_clear(tmp_path: Path) -> None:
    assert Latch(tmp_path).read(WALL) is None


def test_a_trip_comes_back_as_it_was(tmp_path: Path) -> None:
    Latch(tmp_path).lock(TRIP, HEAT)
    assert Latch(tmp_path).read("later") == TRIP


def test_a_reset_clears(tmp_path: Path) -> None:
    latch = Latch(tmp_path)
    latch.lock(TRIP, HEAT)
    latch.clear(WALL, "found and mended", HEAT)
    assert latch.read(WALL) is None


def test_only_an_armed_latch_tells_of_an_end_without_a_word(tmp_path: Path) -> None:
    latch = Latch(tmp_path)
    for write, was_armed in (
        (lambda: latch.clear(WALL, "reset", HEAT), False),
        (lambda: latch.arm(WALL, HEAT), True),
        (lambda: latch.lock(TRIP, HEAT), False),
        (lambda: latch.path.write_text("{"), False),
        (latch.path.unlink, False),
    ):
        write()
        found = Latch(tmp_path)
        found.read(WALL)
        assert found.was_armed is was_armed


def test_an_end_without_a_word_while_closed_counts_as_locked_out(tmp_path: Path) -> None:
    Latch(tmp_path).arm(WALL, HEAT)
    found = Latch(tmp_path).read("now")
    assert found is not None
    assert found.tripped_by == "external"
    assert "2026-02-01 03:04:05 UTC" in found.reason


@pytest.mark.parametrize(
    "content",
    [
        b"", b"{", b"null", b"[]", b'"clear"', b"{}", b'{"state": "other"}', b"\xff\xfe",
        b'{"state": "locked"}', b'{"state": "locked", "lockout": 3}',
        b'{"state": "locked", "lockout": {}}', b"[" * 100_000,
    ],
)  # fmt: skip
def test_an_unreadable_file_counts_as_locked_out(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "lockout.json").write_bytes(content)
    found = Latch(tmp_path).read(WALL)
    assert found is not None
    assert found.tripped_by == "external"
    assert "cannot be read" in found.reason


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.binary(max_size=300))
def test_no_bytes_but_a_whole_clear_file_unlock(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "lockout.json").write_bytes(content)
    try:
        is_clear = json.loads(content)["state"] == "clear"
    except (ValueError, TypeError, KeyError):
        is_clear = False
    assert (Latch(tmp_path).read(WALL) is None) is is_clear


def test_a_folder_in_its_place_counts_as_locked_out(tmp_path: Path) -> None:
    (tmp_path / "lockout.json").mkdir()
    assert Latch(tmp_path).read(WALL) is not None


def test_a_later_version_with_more_fields_is_still_read(tmp_path: Path) -> None:
    Latch(tmp_path).lock(TRIP, HEAT)
    path = tmp_path / "lockout.json"
    content = json.loads(path.read_text())
    content["lockout"]["a_new_field"] = 1
    path.write_text(json.dumps(content))
    assert Latch(tmp_path).read(WALL) == TRIP


@pytest.mark.parametrize("step", ["open", "fsync", "replace"])
def test_a_write_that_fails_leaves_the_old_latch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    latch = Latch(tmp_path)
    latch.lock(TRIP, HEAT)

    def fails(*_args: object, **_kwargs: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    target: object = os if step == "fsync" else Path
    monkeypatch.setattr(target, step, fails)
    with pytest.raises(OSError, match="No space"):
        latch.clear(WALL, "reset", HEAT)
    monkeypatch.undo()
    assert latch.read(WALL) == TRIP


def test_file_and_folder_reach_the_medium_before_a_write_returns(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[str] = []
    real = os.fsync

    def noted(file: int) -> None:
        synced.append(os.readlink(f"/proc/self/fd/{file}"))
        real(file)

    monkeypatch.setattr(os, "fsync", noted)
    Latch(tmp_path).lock(TRIP, HEAT)
    assert synced == [str(tmp_path / "lockout.new"), str(tmp_path)]


def kept_in(folder: Path) -> Kept | None:
    latch = Latch(folder)
    latch.read(WALL)
    return latch.kept


def test_at_a_first_start_there_is_nothing_to_remember(tmp_path: Path) -> None:
    assert kept_in(tmp_path) is None


def test_what_the_rules_must_not_forget_comes_back(tmp_path: Path) -> None:
    Latch(tmp_path).clear(WALL, "opened", HEAT)
    assert kept_in(tmp_path) == replace(HEAT, is_whole=True)
    Latch(tmp_path).lock(TRIP, HEAT)
    assert kept_in(tmp_path) == replace(HEAT, is_whole=True)


def test_after_an_end_without_a_word_the_memory_is_not_whole(tmp_path: Path) -> None:
    Latch(tmp_path).arm(WALL, HEAT)
    assert kept_in(tmp_path) == HEAT


def arming_in(folder: Path) -> str:
    latch = Latch(folder)
    latch.read(WALL)
    return latch.arming


def test_each_arming_has_an_id_of_its_own_at_the_same_time_too(tmp_path: Path) -> None:
    latch, ids = Latch(tmp_path), set()
    assert latch.arming == ""
    for _ in range(3):
        latch.arm(WALL, HEAT)
        assert arming_in(tmp_path) == latch.arming != ""
        ids.add(latch.arming)
    assert len(ids) == 3


def test_an_arming_that_is_over_has_none(tmp_path: Path) -> None:
    latch = Latch(tmp_path)
    for over in (lambda: latch.clear(WALL, "opened", HEAT), lambda: latch.lock(TRIP, HEAT)):
        latch.arm(WALL, HEAT)
        over()
        assert arming_in(tmp_path) == ""


@pytest.mark.parametrize("odd", [{}, *({"arming": odd} for odd in (None, 3, True, [], {}, ""))])
def test_an_id_that_is_none_is_not_known_and_all_else_is(
    tmp_path: Path, odd: dict[str, object]
) -> None:
    """As written by an older program, which gave none."""
    Latch(tmp_path).arm(WALL, HEAT)
    path = tmp_path / "lockout.json"
    content = json.loads(path.read_text())
    del content["arming"]
    path.write_text(json.dumps(content | odd))
    assert arming_in(tmp_path) == ""
    assert kept_in(tmp_path) == HEAT
    found = Latch(tmp_path).read(WALL)
    assert found is not None
    assert "ended without a word" in found.reason


@pytest.mark.parametrize(
    "memory", [None, 3, [], {"supply_thermal": 1}, {"supply_thermal": {"rectifier": "hot"}}]
)
def test_a_memory_that_cannot_be_read_is_lost_and_the_lockout_is_not(
    tmp_path: Path, memory: object
) -> None:
    Latch(tmp_path).lock(TRIP, HEAT)
    path = tmp_path / "lockout.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"memory": memory}))
    assert Latch(tmp_path).read(WALL) == TRIP
    assert kept_in(tmp_path) == Kept({}, "final_hold")


def test_an_older_file_without_a_memory_has_lost_it(tmp_path: Path) -> None:
    (tmp_path / "lockout.json").write_text('{"state": "clear"}')
    assert Latch(tmp_path).read(WALL) is None
    assert kept_in(tmp_path) == Kept({})


@pytest.mark.parametrize(
    ("opened_in_s", "failed", "is_whole"),
    [(0.2, False, True), (None, False, False), (0.2, True, False)],
)
def test_where_it_was_not_seen_to_open_more_may_have_happened(
    tmp_path: Path, opened_in_s: float | None, failed: bool, is_whole: bool
) -> None:
    """A welded contactor heats the supply on after the trip was written."""
    trip = replace(TRIP, opened_in_s=opened_in_s, failed_to_open=failed)
    Latch(tmp_path).lock(trip, HEAT)
    assert kept_in(tmp_path) == replace(HEAT, is_whole=is_whole)


@pytest.mark.parametrize("profile", [None, 3, ["bank"], {}])
def test_a_profile_that_is_no_name_is_not_known(tmp_path: Path, profile: object) -> None:
    Latch(tmp_path).clear(WALL, "opened", HEAT)
    path = tmp_path / "lockout.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"profile": profile}))
    assert kept_in(tmp_path) == Kept(HEAT.memories, "", is_whole=True)


@pytest.mark.parametrize("wall", [[1, 2], {}, 5])
def test_a_date_that_is_none_does_not_unlock(tmp_path: Path, wall: object) -> None:
    (tmp_path / "lockout.json").write_text(json.dumps({"state": "armed", "wall": wall}))
    assert Latch(tmp_path).read(WALL) is not None


@pytest.mark.parametrize("odd", ["NaN", "Infinity", "1e308"])
def test_numbers_that_are_none_are_no_memory(tmp_path: Path, odd: str) -> None:
    Latch(tmp_path).clear(WALL, "opened", HEAT)
    path = tmp_path / "lockout.json"
    path.write_text(path.read_text().replace("0.75", odd))
    assert kept_in(tmp_path) == Kept({}, "final_hold")


def test_a_lockout_whose_figures_are_none_is_still_one(tmp_path: Path) -> None:
    Latch(tmp_path).lock(TRIP, HEAT)
    path = tmp_path / "lockout.json"
    path.write_text(path.read_text().replace('"measured": 3.61', '"measured": NaN'))
    found = Latch(tmp_path).read(WALL)
    assert found is not None
    assert found.tripped_by == "external"
