"""The token's file, and the key's: what is refused is refused in words."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from asking import TOKEN

from supervisor.settings.model import Web
from supervisor.status.token import Unfit, read_private, read_token, write_new_token

WEB = [sys.executable, "-m", "supervisor", "web"]


def file(folder: Path, content: bytes, mode: int = 0o600) -> Path:
    path = folder / "token"
    path.write_bytes(content)
    path.chmod(mode)
    return path


@pytest.mark.parametrize("ending", [b"", b"\n", b"\r\n", b"  \n"])
def test_one_line_is_the_token(tmp_path: Path, ending: bytes) -> None:
    assert read_token(file(tmp_path, TOKEN.encode() + ending)) == TOKEN


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "0 lines"),
        (b"\n", "shorter than 24"),
        (b"x" * 23 + b"\n", "shorter than 24 .*--new-token"),
        (b"one-of-two-lines-that-are-here\nanother-line-here\n", "2 lines"),
        (b"a word with spaces in it", "letters, digits"),
        (b"\xff" * 30, "letters, digits"),
        (b"x" * 2000, "larger than"),
    ],
)
def test_what_is_no_token_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    with pytest.raises(Unfit, match=words) as refused:
        read_token(file(tmp_path, content))
    assert str(tmp_path / "token") in str(refused.value)


@pytest.mark.parametrize(
    ("mode", "is_fit"),
    [(0o600, True), (0o400, True), (0o640, True), (0o644, False), (0o620, False), (0o602, False),
     (0o601, False), (0o777, False)],
)  # fmt: skip
def test_others_may_not_read_or_write_it(tmp_path: Path, mode: int, is_fit: bool) -> None:
    path = file(tmp_path, TOKEN.encode(), mode)
    if is_fit:
        assert read_token(path)
    else:
        with pytest.raises(Unfit, match=r"by others .*chmod 600"):
            read_token(path)


def test_what_is_no_file_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe", 0o600)
    for name in ("pipe", ".", "absent", "absent/more"):
        with pytest.raises(Unfit, match=r"cannot be read|not a regular file"):
            read_private(tmp_path / name, "token")


def test_a_new_one_is_fit_and_no_two_are_alike(tmp_path: Path) -> None:
    tokens = set()
    for number in range(20):
        path = tmp_path / str(number)
        before = os.umask(0)
        try:
            write_new_token(path)
        finally:
            os.umask(before)
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        tokens.add(read_token(path))
    assert len(tokens) == 20
    assert min(map(len, tokens)) >= 32


def test_the_command_writes_one_and_overwrites_nothing(tmp_path: Path) -> None:
    path = tmp_path / "token"
    for code in (0, 1):
        before = path.read_bytes() if path.exists() else None
        done = subprocess.run(
            [*WEB, "--new-token", str(path)], capture_output=True, text=True, check=False
        )
        assert done.returncode == code
        assert before in (None, path.read_bytes())
        assert "what to do" in done.stderr
        assert path.read_text().strip() not in done.stdout + done.stderr
    assert "nothing is overwritten" in done.stderr


def test_nowhere_to_write_one(tmp_path: Path) -> None:
    done = subprocess.run(
        [*WEB, "--new-token", str(tmp_path / "absent" / "token")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert "what to do" in done.stderr
    assert "Traceback" not in done.stderr


def test_nobody_opens_from_the_page_unless_told_so() -> None:
    assert Web().token_file is None
    assert Web().listen == "127.0.0.1"
