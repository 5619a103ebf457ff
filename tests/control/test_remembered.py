"""What is kept of a session by an older program: sound for what it knew, nothing for what it did
not."""

import pytest
from cycles import told_closed

from supervisor.control.latch import Kept
from supervisor.control.remembered import OF_A_SESSION, TALLY, Remembered
from supervisor.guidance.tally import NAMES, Tally
from supervisor.protection.verdict import Memory
from supervisor.settings.model import SupervisorSettings

COUNTED = {"counted": 2.5, "is_whole": 1.0, "is_used_up": 0.0}


def kept_tally(*names: str, **changes: float) -> Memory:
    return {f"{name} {key}": v for name in names for key, v in (COUNTED | changes).items()}


def recalled(settings: SupervisorSettings, memory: Memory) -> Tally:
    name = f"{TALLY}, {settings.bank.cells_in_parallel} cells"
    tally = Tally(settings)
    kept = Kept({name: memory}, is_whole=True)
    tally.recall(Remembered(kept).of(settings)[TALLY], is_whole=True)
    return tally


OLDER = tuple(name for name in NAMES if name != "pulses")


def test_what_an_older_program_did_not_count_is_none_and_whole(
    hut_settings: SupervisorSettings,
) -> None:
    tally = recalled(hut_settings, kept_tally(*OLDER))
    assert (tally.charge_ah, tally.pulses.counted) == (2.5, 0.0)
    assert tally.is_whole
    assert not tally.is_new


def test_one_that_had_ended_has_ended(hut_settings: SupervisorSettings) -> None:
    tally = recalled(hut_settings, kept_tally(*OLDER, is_used_up=1.0))
    tally.follow(told_closed(100.0))
    assert tally.is_new


@pytest.mark.parametrize("missing", OLDER)
def test_anything_else_that_is_missing_was_lost(
    hut_settings: SupervisorSettings, missing: str
) -> None:
    names = [name for name in NAMES if name != missing]
    assert not recalled(hut_settings, kept_tally(*names)).is_whole


@pytest.mark.parametrize("key", COUNTED)
def test_half_a_count_of_pulses_is_lost(hut_settings: SupervisorSettings, key: str) -> None:
    memory = {k: v for k, v in kept_tally(*NAMES).items() if k != f"pulses {key}"}
    assert not recalled(hut_settings, memory).is_whole


def test_not_whole_is_not_made_whole(hut_settings: SupervisorSettings) -> None:
    assert not recalled(hut_settings, kept_tally(*OLDER, is_whole=0.0)).is_whole


def test_what_is_not_known_at_all_stays_so(hut_settings: SupervisorSettings) -> None:
    assert TALLY not in Remembered(Kept({})).of(hut_settings)
    assert Remembered(None).of(hut_settings)[TALLY] == OF_A_SESSION[TALLY]


@pytest.mark.parametrize("is_used_up", [0.0, 1.0])
def test_a_limit_left_out_for_a_while_lacks_what_was_charged_then(
    hut_settings: SupervisorSettings, is_used_up: float
) -> None:
    """One that was used up began anew meanwhile, perhaps."""
    hold = "session_hold, 32 cells"
    kept = {hold: COUNTED | {"is_used_up": is_used_up}}
    remembered = Remembered(Kept(kept, is_whole=True))
    remembered.keep(hut_settings, {})
    found = remembered.of(hut_settings)["session_hold"]
    assert found == COUNTED | {"is_whole": 0.0, "counted": 0.0 if is_used_up else 2.5}
