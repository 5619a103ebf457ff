"""The cross checks on a plant: no ordinary work trips them, and each fault is found."""

from collections.abc import Callable
from typing import Any

import pytest
from cycles import CLEAR, TRIP, with_rule
from hypothesis import given, settings
from hypothesis import strategies as st
from knob_work import Act, KnobWork, Shown

from supervisor.protection.rules.sensing import SensingRule
from supervisor.protection.verdict import Verdict
from supervisor.readings import Channel
from supervisor.settings.model import SupervisorSettings


def bank_of(settings: SupervisorSettings, cells: int, **sensing: float) -> SupervisorSettings:
    bank = settings.bank.model_copy(update={"cells_in_parallel": cells})
    return with_rule(settings.model_copy(update={"bank": bank}), "sensing", **sensing)


def first_objection(
    work: KnobWork, acts: list[Act], seconds: float
) -> tuple[float, Verdict] | None:
    rule = SensingRule(work.settings)
    for now_s, readings in work.run(acts, seconds):
        verdict = rule.judge(readings, now_s)
        if verdict.state is not CLEAR:
            return now_s, verdict
    return None


def close(work: KnobWork) -> None:
    work.close()


def open_(work: KnobWork) -> None:
    work.open()


def knob(to: float, over_s: float = 0.0) -> Callable[[KnobWork], None]:
    return lambda work: work.knob(to, over_s)


def link_opens(work: KnobWork) -> None:
    work.link_opens(1)


def trickle(work: KnobWork) -> None:
    """The knob where half an ampere flows."""
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = (low + high) / 2
        work.plant.supply.turn(middle, work.now_s, 0.0)
        given = work.plant.supply.output(work.now_s, work.plant.cell_v(0), 0.0, True)
        low, high = (middle, high) if given.current_a < 0.5 else (low, middle)
    work.knob(low)


# --- ordinary work

UP_AND_DOWN: list[Act] = [(15 + 25 * k, knob(0.82 if k % 2 else 0.66, 3)) for k in range(12)]
ORDINARY: dict[str, tuple[int, float, list[Act]]] = {
    "bulk, knob up and down": (32, 0.5, UP_AND_DOWN),
    "knob down at the knee while it climbs": (
        8,
        0.9935,
        [(15, knob(0.85, 3)), *((60 + 20 * k, knob(0.85 - 0.02 * k, 2)) for k in range(12))],
    ),
    "down to nothing at the top": (8, 0.9985, [(15, knob(0.9, 3)), (60, knob(0.0, 3))]),
    "opens and closes with the knob up": (
        32,
        0.97,
        [(15, knob(0.85, 3)), *((40 + 20 * k, close if k % 2 else open_) for k in range(12))],
    ),
    "chatter": (
        8,
        0.99,
        [(15, knob(0.85)), *((20 + k, close if k % 2 else open_) for k in range(60))],
    ),
    "the hold, current falling": (8, 0.9985, [(15, knob(0.72, 5))]),
    "closed, and nobody turns the knob": (32, 0.993, []),
    "a trickle below one ampere": (8, 0.9975, [(15, trickle)]),
    "a link opens": (8, 0.9, [(15, knob(0.85, 3)), (60, link_opens), (90, knob(0.7, 2))]),
    "empty cells": (
        8,
        0.01,
        [(15, knob(0.65, 3)), *((60 + 25 * k, knob(0.6 + 0.05 * (k % 2), 3)) for k in range(8))],
    ),
}


@pytest.mark.parametrize("name", ORDINARY)
def test_ordinary_work_is_believed(hut_settings: SupervisorSettings, name: str) -> None:
    """With mains that are as restless as they may be; a whole careful charge: test_no_nuisance."""
    cells, charge, acts = ORDINARY[name]
    plant = {"cells": {"state_of_charge": charge}}
    work = KnobWork(bank_of(hut_settings, cells), plant, flicker=0.004)
    assert first_objection(work, [(11, close), *acts], 320) is None


def test_the_trickle_above_is_one(hut_settings: SupervisorSettings) -> None:
    """So that it tries what it says: closed, some tenths of an ampere, the cell above 3.4 V."""
    cells, charge, acts = ORDINARY["a trickle below one ampere"]
    work = KnobWork(bank_of(hut_settings, cells), {"cells": {"state_of_charge": charge}})
    currents = []
    for now_s, _ in work.run([(11, close), *acts], 320):
        if now_s > 20:
            currents.append(work.plant.current_a)
    assert 0.1 < min(currents) <= max(currents) < 1.0
    assert work.plant.cell_v(0) > 3.4


TURNS = st.tuples(
    st.floats(0.4, 40.0),  # seconds since the last act
    st.sampled_from([close, open_, None, None, None, None]),  # None: a turn of the knob
    st.one_of(st.just(0.0), st.floats(0.6, 0.95)),
    st.sampled_from([0.0, 1.0, 4.0, 9.0, 30.0]),
)


@settings(max_examples=15)
@given(
    cells=st.sampled_from([1, 4, 8, 32]),
    charge=st.floats(0.02, 0.999),
    milliohms=st.floats(0.1, 0.5),
    relaxation=st.tuples(st.floats(0.05, 0.5), st.sampled_from([5.0, 20.0, 60.0, 300.0])),
    part=st.floats(0.1, 0.5),
    turns=st.lists(TURNS, min_size=3, max_size=12),
    flicker=st.sampled_from([0.0, 0.003]),
)
def test_nobody_can_work_so_that_it_is_not_believed(
    hut_settings: SupervisorSettings,
    cells: int,
    charge: float,
    milliohms: float,
    relaxation: tuple[float, float],
    part: float,
    turns: list[tuple[float, Callable[[KnobWork], None] | None, float, float]],
    flicker: float,
) -> None:
    """Whatever the knob does: ``least_answer`` is a part, up to half, of the cells' resistance."""
    least = part * milliohms * 1000 / cells
    plant: dict[str, Any] = {
        "state_of_charge": charge,
        "resistance_milliohms": milliohms,
        "relaxation_milliohms": relaxation[0],
        "relaxation_seconds": relaxation[1],
    }
    work = KnobWork(
        bank_of(hut_settings, cells, least_answer_microohms=least),
        {"cells": plant},
        flicker=flicker,
    )
    acts: list[Act] = [(3.0, close)]
    for wait_s, switch, to, over_s in turns:
        acts.append((acts[-1][0] + wait_s, switch or knob(to, over_s)))
    assert first_objection(work, acts, acts[-1][0] + 20) is None


# --- faults


def shows(channel: Channel, value: float) -> Shown:
    return lambda of, true: value if of is channel else true


def test_a_lead_on_another_battery_is_found_by_knob_work(hut_settings: SupervisorSettings) -> None:
    """With the example's settings, in a bank that answers with 17 microohms at the front."""
    work = KnobWork(hut_settings, {"cells": {"state_of_charge": 0.5}})
    work.shown = shows(Channel.FRONT_CELL, 3.3021)
    found = first_objection(work, [(11, close), *UP_AND_DOWN], 320)
    assert found is not None
    assert found[0] < 200
    assert found[1].state is TRIP
    assert "does not answer" in found[1].reason


@pytest.mark.parametrize("noise_lsb", [0, 2])
def test_one_turn_is_enough_in_a_small_bank(
    hut_settings: SupervisorSettings, noise_lsb: float
) -> None:
    work = KnobWork(
        bank_of(hut_settings, 8, least_answer_microohms=8), {"cells": {"state_of_charge": 0.5}}
    )
    work.shown = shows(Channel.FRONT_CELL, 3.3021 + noise_lsb * 125e-6)
    found = first_objection(work, [(11, close), (15, knob(0.85, 5))], 60)
    assert found is not None
    assert found[0] < 25


def test_a_loose_shunt_is_found_by_knob_work_as_well(hut_settings: SupervisorSettings) -> None:
    """The other way round: a current is read that jumps, and the bank does not feel it."""
    jumps = iter(range(10**6))
    work = KnobWork(hut_settings, {"cells": {"state_of_charge": 0.5}})
    work.shown = lambda of, true: (
        true if of is not Channel.SHUNT else 60.0 * (next(jumps) // 700 % 2)
    )
    found = first_objection(work, [(5, close)], 200)
    assert found is not None
    assert "does not answer" in found[1].reason


@pytest.mark.parametrize(("cells", "charge", "within_s"), [(8, 0.991, 200), (32, 0.995, 300)])
def test_a_silent_shunt_is_found_at_the_steep_end(
    hut_settings: SupervisorSettings, cells: int, charge: float, within_s: float
) -> None:
    work = KnobWork(bank_of(hut_settings, cells), {"cells": {"state_of_charge": charge}})
    work.shown = shows(Channel.SHUNT, 0.0)
    found = first_objection(work, [(11, close), (15, knob(0.85, 5))], within_s)
    assert found is not None
    assert found[1].state is TRIP
    assert "does not show" in found[1].reason
    assert work.plant.cell_v(0) < 3.45


def test_unequal_cells_just_bolted_together_may_settle(hut_settings: SupervisorSettings) -> None:
    """The others feed the front cell for hours; closing with the knob down changes nothing."""
    work = KnobWork(
        hut_settings,
        {"cells": {"state_of_charge": 0.7, "state_of_charge_offsets": (-0.6,) * 8}},
    )
    before_v = work.plant.cell_v(0)
    assert first_objection(work, [(30, close)], 620) is None
    assert work.plant.cell_v(0) - before_v > 0.012, "it did rise by more than 10 mV"
