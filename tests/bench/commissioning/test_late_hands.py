"""Who is told "Enter, and then do it" does it a moment later, or not at all."""

from pathlib import Path

import pytest
from commissioned import behind, told, walk

from supervisor.bench.commissioning.hands import SimulatedHands
from supervisor.commissioning.deeds import Deed, Jump, Raise
from supervisor.control.build_steps import BY_KEY
from supervisor.settings.model import SupervisorSettings

KEYS = ("trip_overvoltage_high_set", "trip_rate_of_rise")


def delayed(monkeypatch: pytest.MonkeyPatch, by_s: float | None) -> None:
    """What is watched begins so much later; None: never."""
    does = SimulatedHands.does

    def late(hands: SimulatedHands, deed: Deed) -> None:
        if not isinstance(deed, Jump | Raise):
            does(hands, deed)
        elif by_s is not None:
            hands._world.at(hands._clock.now_s() + by_s, lambda: does(hands, deed))

    monkeypatch.setattr(SimulatedHands, "does", late)


@pytest.mark.parametrize("key", KEYS)
def test_what_was_never_done_is_not_passed(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    one = behind(walk(hut_settings, tmp_path), key)
    delayed(monkeypatch, None)
    assert not one.go([BY_KEY[key]])
    assert "has not changed as it was asked for" in str(one.done[-1].findings)


@pytest.mark.parametrize("key", KEYS)
def test_what_is_done_a_little_later_is_seen(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    one = behind(walk(hut_settings, tmp_path), key)
    delayed(monkeypatch, 1.5)
    assert one.go([BY_KEY[key]]), told(one.done)
