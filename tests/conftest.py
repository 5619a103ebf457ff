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


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="run those marked long as well")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The long ones left out but when asked for: they are listed. Those in a guest come first: it
    takes minutes to boot, and would keep one core waiting at the end."""
    items.sort(key=lambda item: "kernel" not in item.path.parts)
    if config.getoption("--long"):
        return
    for item in items:
        if item.get_closest_marker("long"):
            item.add_marker(pytest.mark.skip(reason="takes minutes: pytest --long"))


@pytest.fixture(scope="session")
def hut_path() -> Path:
    """The annotated example file."""
    return Path(__file__).parents[1] / "config" / "hut-bank.yaml"


@pytest.fixture(scope="session")
def hut_settings(hut_path: Path) -> SupervisorSettings:
    """The settings of the example; frozen, so one instance serves all tests."""
    return load_settings(hut_path)[0]
