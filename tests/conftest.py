"""Fixtures every room's tests share: the example settings."""

from pathlib import Path

import pytest

from supervisor.settings.load import load_settings
from supervisor.settings.model import SupervisorSettings


@pytest.fixture(scope="session")
def hut_path() -> Path:
    """The annotated example file."""
    return Path(__file__).parents[1] / "config" / "hut-bank.yaml"


@pytest.fixture(scope="session")
def hut_settings(hut_path: Path) -> SupervisorSettings:
    """The settings of the example; frozen, so one instance serves all tests."""
    return load_settings(hut_path)[0]
