"""Fixtures every room's tests share: the example settings."""

import os
from pathlib import Path

import hypothesis
import pytest

from supervisor.settings.load import load_settings
from supervisor.settings.model import SupervisorSettings

# No test asserts how fast this machine is; CI repeats the same examples every time.
hypothesis.settings.register_profile("local", deadline=None, print_blob=True)
hypothesis.settings.register_profile(
    "ci", parent=hypothesis.settings.get_profile("local"), derandomize=True
)
# For mutation testing, where a thousand runs count more than a hundred examples in each.
hypothesis.settings.register_profile(
    "few", parent=hypothesis.settings.get_profile("ci"), max_examples=20
)
hypothesis.settings.load_profile(
    os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "local")
)


@pytest.fixture(scope="session")
def hut_path() -> Path:
    """The annotated example file."""
    return Path(__file__).parents[1] / "config" / "hut-bank.yaml"


@pytest.fixture(scope="session")
def hut_settings(hut_path: Path) -> SupervisorSettings:
    """The settings of the example; frozen, so one instance serves all tests."""
    return load_settings(hut_path)[0]
