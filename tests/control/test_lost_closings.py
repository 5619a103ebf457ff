"""A closing that is missing is missing of every session, until that one ends: whatever the settings
are edited to while no daemon runs, and back. No loop runs here: they are only started and ended.
"""

import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from cycles import told_closed
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from loop_bench import LoopBench

from supervisor.control.latch import Kept, Latch, Lockout
from supervisor.control.loop import Loop
from supervisor.control.remembered import HEAT, OF_A_SESSION, TALLY
from supervisor.guidance.tally import NAMES
from supervisor.protection.session import SessionCount
from supervisor.protection.verdict import Memory
from supervisor.settings.model import SupervisorSettings

WALL = "2026-02-01T03:04:05.000+00:00"
TRIP = Lockout("overvoltage", "front cell too high", "look", WALL, opened_in_s=0.04)
CELLS = (32, 8, 4)
COOL = {"rectifier": 0.1, "rectifier_a": 150.0, "transformer": 0.1, "transformer_a": 140.0}
End = Callable[[Latch, Kept], None]


def cleared(latch: Latch, keep: Kept) -> None:
    latch.clear(WALL, "opened", keep)


def tripped(latch: Latch, keep: Kept) -> None:
    latch.lock(TRIP, keep)


def killed(latch: Latch, keep: Kept) -> None:
    latch.arm(WALL, keep)


def not_seen_to_open(latch: Latch, keep: Kept) -> None:
    latch.lock(replace(TRIP, opened_in_s=None), keep)


def failed_to_open(latch: Latch, keep: Kept) -> None:
    latch.lock(replace(TRIP, failed_to_open=True), keep)


def damaged(latch: Latch, _keep: Kept) -> None:
    latch.path.write_text("{")


SEEN: list[End] = [cleared, tripped]
UNSEEN: list[End] = [killed, not_seen_to_open, failed_to_open, damaged]


def with_cells(settings: SupervisorSettings, cells: int) -> SupervisorSettings:
    bank = settings.bank.model_copy(update={"cells_in_parallel": cells})
    return settings.model_copy(update={"bank": bank})


def counted(ampere_hours: float, *, is_used_up: bool = False) -> dict[str, Memory]:
    """Whole, of every cell count; and of the supply, which is cool."""
    one = {"counted": ampere_hours, "is_whole": 1.0, "is_used_up": float(is_used_up)}
    tally = {f"{name} {key}": value for name in NAMES for key, value in one.items()}
    sessions: dict[str, Memory] = {
        f"{key}, {cells} cells": tally if key == TALLY else one
        for key in OF_A_SESSION
        for cells in CELLS
    }
    return sessions | {HEAT: COOL}


def life(settings: SupervisorSettings, folder: Path, end: End | None = None) -> Loop:
    """Started, and ended so, if it is."""
    bench = LoopBench(settings, folder)
    loop = bench.loop
    if end:
        end(loop._parts.latch, loop._to_keep())
    loop.close()
    return loop


def counts(loop: Loop) -> dict[str, SessionCount]:
    rules = {
        rule.key: rule._session  # type: ignore[attr-defined]
        for rule in loop._now.rules
        if rule.key in OF_A_SESSION
    }
    assert rules.keys() == OF_A_SESSION.keys() - {TALLY}
    return rules | loop._now.tally._counts


def found_whole(settings: SupervisorSettings, folder: Path) -> set[bool]:
    """By a start with these settings: whether each session is, now and closed again."""
    found = counts(life(settings, folder))
    return {count.is_whole for count in found.values()} | {
        count.is_whole for count in found.values() if count.follow(told_closed(100.0))
    }


@pytest.mark.parametrize("is_used_up", [False, True])
@pytest.mark.parametrize("edited_to", CELLS)
@pytest.mark.parametrize("end", [*SEEN, *UNSEEN])
def test_edited_to_other_cells_and_back_it_lacks_what_it_lacked(
    hut_settings: SupervisorSettings, tmp_path: Path, end: End, edited_to: int, *, is_used_up: bool
) -> None:
    end(Latch(tmp_path), Kept(counted(2.5, is_used_up=is_used_up), hut_settings.profile))
    life(with_cells(hut_settings, edited_to), tmp_path, cleared)
    for cells in CELLS:
        settings = with_cells(hut_settings, cells)
        assert found_whole(settings, tmp_path) == {end in SEEN}
        kept = {count.counted for count in counts(life(settings, tmp_path)).values()}
        lost = end is damaged or (end in UNSEEN and is_used_up)  # such a closing began a session
        assert kept == {0.0 if lost else 2.5}


LIFE = st.tuples(st.sampled_from(CELLS), st.sampled_from([*SEEN, *SEEN, *UNSEEN]))


@hypothesis_settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(lives=st.lists(LIFE, min_size=1, max_size=5), is_used_up=st.booleans())
def test_whole_is_what_every_end_was_seen_of(
    hut_settings: SupervisorSettings, lives: list[tuple[int, End]], is_used_up: bool
) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        kept = Kept(counted(2.5, is_used_up=is_used_up), hut_settings.profile)
        Latch(folder).clear(WALL, "opened", kept)
        for cells, end in lives:
            life(with_cells(hut_settings, cells), folder, end)
        is_whole = all(end in SEEN for _, end in lives)
        for cells in CELLS:
            assert found_whole(with_cells(hut_settings, cells), folder) == {is_whole}


def test_at_a_first_start_every_session_is_whole(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    for cells in CELLS:
        settings = with_cells(hut_settings, cells)
        assert found_whole(settings, tmp_path) == {True}
        life(settings, tmp_path, cleared)


def assumes_heat(loop: Loop) -> bool:
    (rule,) = (rule for rule in loop._now.rules if rule.key == HEAT)
    return bool(rule._is_assumed)  # type: ignore[attr-defined]


@pytest.mark.parametrize("is_left_out", [False, True])
def test_a_supply_that_nobody_watched_meanwhile_is_not_known_to_be_cool(
    hut_settings: SupervisorSettings, tmp_path: Path, *, is_left_out: bool
) -> None:
    """The rule taken out of the settings, and put back in."""
    protection = hut_settings.protection.model_copy(update={"supply_thermal": None})
    without = hut_settings.model_copy(update={"protection": protection})
    Latch(tmp_path).clear(WALL, "opened", Kept(counted(2.5), hut_settings.profile))
    life(without if is_left_out else hut_settings, tmp_path, cleared)
    assert assumes_heat(life(hut_settings, tmp_path)) is is_left_out
