"""Simulated operators who follow the cues bring the current up, and then do what they are told."""

from types import SimpleNamespace
from typing import cast

import pytest

from supervisor.bench.operators import Deed, Operator, OperatorSettings, Turn
from supervisor.snapshot import Snapshot

KNOB = 0.7


def operator(kind: str = "careful", *, follows_cues: bool = True) -> Operator:
    return Operator(
        OperatorSettings.model_validate(
            {
                "kind": kind,
                "target_amperes": 25,
                "hold_volts": 3.55,
                "knob_step": 0.01,
                "follows_cues": follows_cues,
            }
        )
    )


def shown(amperes: float, *cues: tuple[str, str], volts: float = 3.4) -> Snapshot:
    """What an operator looks at, while closed; cues by name and urgency."""
    values = {"front_cell": volts, "far_cell": volts, "shunt": amperes}
    seen = SimpleNamespace(
        circuit="closed",
        channel=lambda name: SimpleNamespace(value=values[name]),
        rules=(),
        guidance=SimpleNamespace(
            cues=tuple(SimpleNamespace(cue=cue, urgency=urgency) for cue, urgency in cues)
        ),
    )
    return cast(Snapshot, seen)


def turned(deeds: list[Deed]) -> float:
    """By how much the knob is turned."""
    assert all(isinstance(deed, Turn) for deed in deeds)
    return sum(deed.to - KNOB for deed in deeds if isinstance(deed, Turn))


@pytest.mark.parametrize("kind", ["careful", "hasty", "asleep"])
def test_at_first_the_current_is_brought_up_to_the_target(kind: str) -> None:
    """No cue tells anybody to begin: the target is in the settings, and on the page."""
    follower = operator(kind)
    for amperes in (0.0, 2.0, 20.0):
        assert turned(list(follower.look(shown(amperes), KNOB))) == pytest.approx(0.01)


def test_once_it_was_reached_only_a_cue_turns_it_up_again() -> None:
    follower = operator()
    list(follower.look(shown(24.0), KNOB))
    assert list(follower.look(shown(15.0), KNOB)) == []
    up = list(follower.look(shown(15.0, ("turn_up", "note")), KNOB))
    assert turned(up) == pytest.approx(0.01)


def test_once_told_to_ease_down_only_a_cue_turns_it_up_again() -> None:
    follower = operator()
    list(follower.look(shown(10.0), KNOB))
    assert turned(list(follower.look(shown(12.0, ("too_fast", "soon")), KNOB))) < 0
    assert list(follower.look(shown(12.0), KNOB)) == []


def test_who_does_not_see_the_cues_turns_up_whenever_it_is_less() -> None:
    alone = operator(follows_cues=False)
    list(alone.look(shown(24.0), KNOB))
    assert turned(list(alone.look(shown(15.0), KNOB))) == pytest.approx(0.01)
