"""Edits of the example file, and the faults that come of them."""

from collections.abc import Callable
from pathlib import Path

import pytest

from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.load import settings_from
from supervisor.settings.text import parse

Edit = tuple[str, str]


@pytest.fixture(scope="session")
def hut_text(hut_path: Path) -> str:
    return hut_path.read_text(encoding="utf-8")


def line_of(text: str, words: str) -> int:
    """The one line (from 1) that contains these words."""
    lines = [n for n, line in enumerate(text.splitlines(), start=1) if words in line]
    assert len(lines) == 1, f"{words!r} stands in lines {lines}"
    return lines[0]


def edited(text: str, edits: list[Edit]) -> str:
    for old, new in edits:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        text = text.replace(old, new)
    return text


def faults_in(text: str) -> tuple[Fault, ...]:
    """All faults of a settings text; none when it may be used."""
    try:
        settings_from(parse(text, "hut.yaml"))
    except SettingsFaults as refused:
        return refused.faults
    return ()


@pytest.fixture(name="line_of", scope="session")
def line_of_fixture() -> Callable[[str, str], int]:
    return line_of


@pytest.fixture(name="edited", scope="session")
def edited_fixture() -> Callable[[str, list[Edit]], str]:
    return edited


@pytest.fixture(name="faults_in", scope="session")
def faults_in_fixture() -> Callable[[str], tuple[Fault, ...]]:
    return faults_in
