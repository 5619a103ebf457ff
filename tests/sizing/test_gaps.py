"""What a build does without is told, and nothing else."""

from collections.abc import Mapping
from typing import Any

import pytest

from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import Without
from supervisor.sizing.gaps import cautions, not_fitted, off

ACCEPTED = "uncommissioned is accepted: it closes although nobody may have tried this build"


def without(settings: SupervisorSettings, **reasons: str) -> SupervisorSettings:
    """These rules taken out, each with a reason."""
    changes: dict[str, Any] = dict.fromkeys(reasons) | {"without": Without(**reasons)}
    protection = settings.protection.model_copy(update=changes)
    return settings.model_copy(update={"protection": protection})


def test_a_full_build_does_without_nothing(full: SupervisorSettings) -> None:
    assert off(full) == {}
    assert not_fitted(full) == ()
    (told,) = cautions(full)
    assert told.startswith(ACCEPTED)


def test_the_example_says_what_it_does_without(hut_settings: SupervisorSettings) -> None:
    assert off(hut_settings) == {"temperature": "Example for demo and drills, no probes are fitted"}
    assert not_fitted(hut_settings) == ("overcurrent_inverse", "stage_limits", "second_line")
    line, untried = cautions(hut_settings)
    assert line == "no second line: only software opens the contactor."
    assert untried.startswith(ACCEPTED)


def test_a_rule_with_a_reason_is_off_and_another_not_fitted(full: SupervisorSettings) -> None:
    reasons = {"balance": "only one cell is wired", "session_time": "somebody stays all the time"}
    bare = without(full, **reasons)
    assert off(bare) == reasons
    assert not_fitted(bare) == ()
    hold = bare.protection.model_copy(update={"session_hold": None, "knob_speed": None})
    assert not_fitted(bare.model_copy(update={"protection": hold})) == (
        "knob_speed", "session_hold"
    )  # fmt: skip


@pytest.mark.parametrize(
    ("path", "change", "words"),
    [
        ((), {"second_line": None}, "no second line: only software opens the contactor."),
        (("contactor",), {"drive": "level"}, "drive is level"),
        (
            ("contactor",),
            {"auxiliary": None},
            "nor is a contact that opens by itself",
        ),
        (("channels",), {"far_cell": None}, "no far_cell"),
    ],
)
def test_each_caution_by_itself(
    full: SupervisorSettings, path: tuple[str, ...], change: Mapping[str, Any], words: str
) -> None:
    if path:
        (block,) = path
        change = {block: getattr(full, block).model_copy(update=change)}
    (told, untried) = cautions(full.model_copy(update=change))
    assert words in told
    assert untried.startswith(ACCEPTED)


def test_a_build_that_wants_its_record_is_told_so(full: SupervisorSettings) -> None:
    (told,) = cautions(full.model_copy(update={"uncommissioned": None}))
    assert "only with a commissioning record" in told
