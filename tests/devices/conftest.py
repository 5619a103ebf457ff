"""Fixtures of the devices' tests."""

import pytest
from second_lines import CHECK_EVERY_S, SecondLineBench, with_second_line

from supervisor.devices import second_line
from supervisor.settings.model import SupervisorSettings


@pytest.fixture
def bench(hut_settings: SupervisorSettings, monkeypatch: pytest.MonkeyPatch) -> SecondLineBench:
    """The watch of a second line, verified more often than in earnest."""
    monkeypatch.setattr(second_line, "CHECK_EVERY_S", CHECK_EVERY_S)
    return SecondLineBench(with_second_line(hut_settings))
