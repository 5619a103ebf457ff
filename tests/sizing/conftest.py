"""The example with every optional block fitted, and one budget by its title."""

from collections.abc import Callable
from pathlib import Path

import pytest
from full_bank import full_settings

from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.response import budgets


@pytest.fixture(scope="session")
def full(hut_path: Path) -> SupervisorSettings:
    return full_settings(hut_path.read_text("utf-8"))


def budget_of(settings: SupervisorSettings, title: str) -> RuleBudget:
    return next(b for b in budgets(settings) if b.title == title)


@pytest.fixture(name="budget_of", scope="session")
def budget_of_fixture() -> Callable[[SupervisorSettings, str], RuleBudget]:
    return budget_of
