"""Files that are no text of settings."""

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.settings.document import Document
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.load import load_settings, read_document
from supervisor.settings.source import MOST_BYTES, decoded
from supervisor.settings.text import parse


@pytest.mark.parametrize(
    ("content", "line", "problem", "remedy"),
    [
        (b"\xef\xbb\xbfa: 1\n", 1, "byte order mark", "UTF-8 without"),
        ("a: 1\n".encode("utf-16"), 1, "UTF-16", "UTF-8"),
        ("\ufeffa: 1\n".encode("utf-16-be"), 1, "UTF-16", "UTF-8"),
        ("a: 1\nb: \u00fc\n".encode("latin-1"), 2, "0xfc", "UTF-8"),
        (b"\x7fELF\x02\x01\x00\x00", 1, "zero bytes", "not a program"),
        (b"a: 1\nb: \x1b[31m\n", 2, "U+001B", "Take it out"),
        ("a: 1\n\nb: x\u2028y\n".encode(), 3, "U+2028", "Take it out"),
    ],
)
def test_not_our_text(tmp_path: Path, content: bytes, line: int, problem: str, remedy: str) -> None:
    path = tmp_path / "f.yaml"
    path.write_bytes(content)
    with pytest.raises(SettingsFaults) as refused:
        read_document(path)
    (fault,) = refused.value.faults
    assert (fault.file, fault.line) == (str(path), line)
    assert problem in fault.problem
    assert remedy in fault.remedy


def test_no_such_file(tmp_path: Path) -> None:
    assert "no such file" in only_problem(tmp_path / "none.yaml")


def test_part_of_path_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "f").write_text("x")
    assert "not a directory" in only_problem(tmp_path / "f" / "g.yaml")


def test_directory(tmp_path: Path) -> None:
    assert "directory" in only_problem(tmp_path)


def test_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "not an ordinary file" in only_problem(tmp_path / "pipe")


def test_endless_device() -> None:
    assert "not an ordinary file" in only_problem(Path("/dev/zero"))


def test_circle_of_links(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    assert "circle of links" in only_problem(tmp_path / "a")


def test_name_that_no_file_can_have(tmp_path: Path) -> None:
    assert "name" in only_problem(tmp_path / "a\0b")
    assert "too long" in only_problem(tmp_path / ("x" * 5000))


def test_not_allowed_to_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Root may read everything, so the refusal is the kernel's word, injected."""
    path = tmp_path / "f.yaml"
    path.write_text("a: 1\n")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "open", refuse)
    assert "may not be read" in only_problem(path)


def test_huge_file_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.yaml"
    with path.open("wb") as stream:
        stream.truncate(50 * 1024 * 1024)
    assert "larger than 256 KiB" in only_problem(path)


def test_largest_file_that_is_read(tmp_path: Path) -> None:
    path = tmp_path / "large.yaml"
    head = "a: 1\n#"
    path.write_text(head + "x" * (MOST_BYTES - len(head)))
    assert read_document(path).data == {"a": 1}


@given(st.binary(max_size=300))
def test_any_bytes_are_a_document_or_faults(content: bytes) -> None:
    outcome: Document | SettingsFaults
    try:
        outcome = parse(decoded(content, "f.yaml"), "f.yaml")
    except SettingsFaults as refused:
        outcome = refused
    assert isinstance(outcome, Document) or outcome.faults


def only_problem(path: Path) -> str:
    with pytest.raises(SettingsFaults) as refused:
        load_settings(path)
    (fault,) = refused.value.faults
    assert fault.file == str(path)
    assert fault.line is None
    assert fault.remedy
    return fault.problem
