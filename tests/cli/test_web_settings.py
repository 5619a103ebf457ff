"""The process that reads the page's settings: however it ends, it is told in one line of words."""

import os
import signal
from pathlib import Path

import click
import pytest

from supervisor.cli import web_settings
from supervisor.cli.web_settings import WebSettings


def test_without_a_file_it_is_what_a_file_without_that_block_says() -> None:
    assert web_settings.web_settings(None) == WebSettings("127.0.0.1", 8462, None, None, None)


def killed(_: Path | None) -> str:
    os.kill(os.getpid(), signal.SIGKILL)
    return ""


def out_of_memory(_: Path | None) -> str:
    raise MemoryError


@pytest.mark.parametrize(
    ("end", "words"), [(killed, "was ended by signal 9"), (out_of_memory, "memory ran out")]
)
def test_an_end_for_want_of_memory_is_told_in_words(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], end: object, words: str
) -> None:
    monkeypatch.setattr(web_settings, "_read", end)
    with pytest.raises(click.exceptions.Exit) as left:
        web_settings.web_settings(Path("/etc/holdwatch/hut-bank.yaml"))
    assert left.value.exit_code == 1
    said = capfd.readouterr().err
    assert words in said
    assert "/etc/holdwatch/hut-bank.yaml" in said
    assert "what to do" in said
    assert "Traceback" not in said
