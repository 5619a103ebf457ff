"""Steps that stand in for the real ones."""

import pytest
from commission_fakes import Step

from supervisor.commissioning.steps.all import STEPS


@pytest.fixture
def steps(monkeypatch: pytest.MonkeyPatch) -> dict[str, Step]:
    """All that there are, and each of them passes."""
    fakes = {key: Step(key) for key in STEPS}
    for key, fake in fakes.items():
        monkeypatch.setitem(STEPS, key, fake)
    return fakes
