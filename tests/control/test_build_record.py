"""What was tried on a build counts for the settings it was tried with, and for no others."""

import json
import os
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.control.build_record import (
    BuildRecord,
    Finding,
    StepDone,
    changes,
    old_calibrations,
    shortened,
    why_not,
)
from supervisor.control.build_steps import BY_KEY, STEPS, needed
from supervisor.settings.model import SupervisorSettings

WALL = "2026-01-01T12:00:00+00:00"


def done(settings: SupervisorSettings, key: str, **other: Any) -> StepDone:
    one = StepDone(
        step=key,
        passed=True,
        wall=WALL,
        by="Ida",
        version="0",
        simulated=False,
        relied_on=BY_KEY[key].relied_on(settings),
        findings=(Finding("all is well", True),),
    )
    return replace(one, **other)


def whole(settings: SupervisorSettings) -> list[StepDone]:
    return [done(settings, step.key) for step in needed(settings)]


def told(settings: SupervisorSettings, lines: list[StepDone], *, simulated: bool = False) -> str:
    return "\n".join(why_not(settings, lines, simulated=simulated))


def test_a_build_on_which_every_step_passed_may_close(hut_settings: SupervisorSettings) -> None:
    assert told(hut_settings, whole(hut_settings)) == ""


def test_nothing_on_record(hut_settings: SupervisorSettings) -> None:
    assert "no commissioning record" in told(hut_settings, [])


@pytest.mark.parametrize("key", [step.key for step in STEPS])
def test_each_missing_or_failed_step_is_named(hut_settings: SupervisorSettings, key: str) -> None:
    if not BY_KEY[key].is_needed(hut_settings):
        assert key not in told(hut_settings, [done(hut_settings, "parts")])
        return
    others = [one for one in whole(hut_settings) if one.step != key]
    assert f"--step {key})" in told(hut_settings, others)
    failed = [*others, done(hut_settings, key, passed=False)]
    assert f"the step {key} failed" in told(hut_settings, failed)


def test_a_key_that_is_new_and_not_used_changes_nothing(hut_settings: SupervisorSettings) -> None:
    """A later version may know more settings than the one that the step was done with."""
    relied_on = json.loads(json.dumps(BY_KEY["drive"].relied_on(hut_settings)))
    assert relied_on["gpio"].pop("chip_label") is None
    lines = [*whole(hut_settings)[:1], done(hut_settings, "drive", relied_on=relied_on)]
    assert "--step drive" not in told(hut_settings, lines)


@pytest.mark.parametrize("odd", ["NaN", "1e999", "-Infinity"])
def test_a_line_with_a_number_that_is_none_is_a_step_not_done(
    hut_settings: SupervisorSettings, tmp_path: Path, odd: str
) -> None:
    record = BuildRecord(tmp_path)
    record.add(done(hut_settings, "parts"))
    text = record.path.read_text("utf-8")
    record.path.write_text(text.replace('"measured": null', f'"measured": {odd}'), "utf-8")
    assert record.read() == ()
    assert "1 lines" in record.doubts[0]


def test_the_newest_counts(hut_settings: SupervisorSettings) -> None:
    lines = [*whole(hut_settings), done(hut_settings, "release", passed=False)]
    assert "release failed" in told(hut_settings, lines)
    assert told(hut_settings, [*lines, done(hut_settings, "release")]) == ""


def test_what_was_simulated_counts_in_a_simulation_only(hut_settings: SupervisorSettings) -> None:
    lines = [replace(one, simulated=True) for one in whole(hut_settings)]
    assert "no commissioning record" in told(hut_settings, lines)
    assert told(hut_settings, lines, simulated=True) == ""
    assert "no commissioning record" in told(hut_settings, whole(hut_settings), simulated=True)


def test_another_setting_voids_the_steps_that_relied_on_it_and_says_so(
    hut_settings: SupervisorSettings,
) -> None:
    contactor = hut_settings.contactor.model_copy(update={"release_milliseconds": 31.0})
    other = hut_settings.model_copy(update={"contactor": contactor})
    said = told(other, whole(hut_settings))
    assert "contactor.release_milliseconds 30" in said
    assert "it is 31.0 now" in said
    assert "--step release)" in said
    assert "--step zero" not in said
    back = [*whole(hut_settings), done(other, "release", passed=False)]
    assert "release failed since, with other settings" in told(hut_settings, back)
    assert told(hut_settings, [*back, done(hut_settings, "release")]) == ""
    fine = [*whole(hut_settings), done(other, "release")]
    assert told(hut_settings, fine) == ""


def leaves(value: Any, path: str = "") -> list[str]:
    if isinstance(value, dict):
        return [
            leaf
            for key, one in value.items()
            for leaf in leaves(one, f"{path}.{key}" if path else key)
        ]
    return [path]


# Of these no part of a build depends, or the step that does has them by another name.
NOT_OF_THE_BUILD = (
    "bank.name", "bank.cells_in_parallel", "bank.cell_ampere_hours", "uncommissioned",
    "uncommissioned_reason", "session", "profile", "profiles", "charge",
    "journal", "web", "panel.reset_button", "panel.silence_minutes", "contactor.rated_operations",
)  # fmt: skip


def test_every_setting_that_a_build_depends_on_is_relied_on(
    hut_settings: SupervisorSettings,
) -> None:
    """A new setting has to be given to a step, or be named here."""
    known = (*NOT_OF_THE_BUILD, *(path for step in STEPS for path in step.relies_on))
    missing = [
        leaf
        for leaf in leaves(hut_settings.model_dump(mode="json"))
        if not any(leaf == path or leaf.startswith(f"{path}.") for path in known)
    ]
    assert missing == []


def test_on_disk_and_back(hut_settings: SupervisorSettings, tmp_path: Path) -> None:
    record = BuildRecord(tmp_path)
    assert record.read() == ()
    for one in whole(hut_settings):
        record.add(one)
    assert list(record.read()) == whole(hut_settings)
    assert record.why_not(hut_settings, simulated=False) == ()


def test_a_torn_line_is_a_step_not_done_and_the_next_is_whole(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    record = BuildRecord(tmp_path)
    record.add(done(hut_settings, "parts"))
    record.add(done(hut_settings, "drive"))
    text = record.path.read_bytes()
    record.path.write_bytes(text[:-20])
    record.add(done(hut_settings, "kill"))
    assert [one.step for one in record.read()] == ["parts", "kill"]
    assert "1 lines" in record.doubts[0]


@given(st.lists(st.binary(max_size=60)), st.sampled_from([b"\n", b"\r\n", b""]))
def test_no_file_makes_it_raise_or_close(lines: list[bytes], end: bytes) -> None:
    """Nor does what looks like JSON and is none of ours."""
    with tempfile.TemporaryDirectory() as folder:
        record = BuildRecord(Path(folder))
        odd = [b"{}", b"[]", b"null", b'{"step": "parts", "passed": true}', b"[" * 5000]
        record.path.write_bytes(end.join([*lines, *odd]))
        assert record.read() == ()


def test_a_folder_or_a_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    record = BuildRecord(tmp_path)
    record.path.mkdir()
    assert record.read() == ()
    assert "cannot be read" in record.doubts[0]


@pytest.mark.parametrize("key", ["passed", "relied_on", "step"])
def test_a_line_without_what_matters_is_none(
    hut_settings: SupervisorSettings, tmp_path: Path, key: str
) -> None:
    record = BuildRecord(tmp_path)
    record.add(done(hut_settings, "parts"))
    line = json.loads(record.path.read_text("utf-8"))
    del line[key]
    record.path.write_text(json.dumps(line) + "\n", "utf-8")
    assert record.read() == ()


def test_a_few_reasons_where_there_is_room_for_a_few() -> None:
    assert shortened(("a", "b")) == ("a", "b")
    assert shortened(("a", "b", "c", "d", "e"))[-1].startswith("and 2 more steps")


def test_a_failure_that_cannot_be_read_does_not_let_an_older_pass_count(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    record = BuildRecord(tmp_path)
    for one in whole(hut_settings):
        record.add(one)
    sound = record.path.read_bytes()
    record.add(done(hut_settings, "kill", passed=False))
    line = record.path.read_bytes()[len(sound) :]
    for harmed in (line[:-40], line.replace(b"Ida", b"\xff\xfe"), b"\0" * 80):
        record.path.write_bytes(sound + harmed)
        reasons = record.why_not(hut_settings, simulated=False)
        assert any("--step kill)" in reason for reason in reasons), harmed
    record.path.write_bytes(sound + line[:-40])
    record.add(done(hut_settings, "kill"))
    assert record.why_not(hut_settings, simulated=False) == ()


def test_a_pass_over_what_did_not_is_no_pass(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    record = BuildRecord(tmp_path)
    for one in whole(hut_settings):
        record.add(one)
    record.add(done(hut_settings, "drive", findings=(Finding("stays closed", False),)))
    assert any("--step drive)" in one for one in record.why_not(hut_settings, simulated=False))


def test_a_pipe_and_a_heap_of_lines_are_no_record(tmp_path: Path) -> None:
    record = BuildRecord(tmp_path)
    os.mkfifo(record.path)
    assert record.read() == ()
    record.path.unlink()
    record.path.write_bytes(b"x\n" * 2_100_000)
    assert record.read() == ()
    assert "larger than" in record.doubts[0]


@pytest.mark.parametrize(
    ("wall", "told_days"),
    [
        ("2024-12-01T12:00:00+00:00", 730),
        ("2026-11-30T12:00:00+00:00", None),
        ("2030-01-01T00:00:00+00:00", None),
        ("2024-12-01T12:00:00", None),
        ("yesterday", None),
    ],
)
def test_an_old_calibration_is_told(
    hut_settings: SupervisorSettings, wall: str, told_days: int | None
) -> None:
    now = datetime(2026, 12, 1, 12, tzinfo=UTC)
    lines = [done(hut_settings, "far_cell", wall=wall), done(hut_settings, "drive", wall=WALL)]
    said = list(old_calibrations(hut_settings, lines, now, simulated=False))
    expected = [] if told_days is None else [f"calibrated {told_days} days ago"]
    assert len(said) == len(expected)
    assert all(words in one for words, one in zip(expected, said, strict=True))


def test_changes_are_told_by_their_path() -> None:
    assert list(changes({"a": {"b": 1, "c": 2}}, {"a": {"b": 1, "c": 3}})) == [("a.c", 2, 3)]
    assert list(changes({"a": {"b": 1}}, {"a": None})) == [("a", {"b": 1}, None)]


# --- the file itself


def test_a_link_is_no_record_and_is_not_written_through(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    """Who may put a link into the folder would have root write wherever it leads."""
    aim = tmp_path / "elsewhere"
    aim.write_text("as it was\n", "utf-8")
    for target in (aim, tmp_path / "not there"):
        record = BuildRecord(tmp_path)
        record.path.unlink(missing_ok=True)
        record.path.symlink_to(target)
        assert record.read() == ()
        assert "is a link" in record.doubts[0]
        with pytest.raises(OSError, match="is a link"):
            record.add(done(hut_settings, "parts"))
    assert aim.read_text("utf-8") == "as it was\n"
    assert not (tmp_path / "not there").exists()


def test_what_is_no_file_is_not_written_to(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    record = BuildRecord(tmp_path)
    os.mkfifo(record.path)
    with pytest.raises(OSError, match="no file"):
        record.add(done(hut_settings, "parts"))
