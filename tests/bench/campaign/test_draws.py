"""A run depends on seed and number alone; every kind of fault is drawn; settings are valid."""

from pathlib import Path
from random import Random

import pytest
from pydantic import TypeAdapter

from supervisor.bench.campaign.base import bare_bank
from supervisor.bench.campaign.draw import draw, prepare
from supervisor.bench.campaign.draw_faults import draw_fault, kinds
from supervisor.bench.campaign.run import run_one
from supervisor.bench.campaign.save import save
from supervisor.bench.scenario import load_scenario
from supervisor.simulator.faults import Fault
from supervisor.sizing.fitness import examine_document

RUNS = 40


def test_the_bare_bank_is_valid_as_it_is() -> None:
    assert examine_document(bare_bank()).faults == ()


def test_the_same_run_is_drawn_whatever_was_drawn_before() -> None:
    alone = draw(5, 3)
    in_turn = [draw(5, run) for run in range(4)]
    assert in_turn[3] == alone
    assert len({str(drawn.document) for drawn in in_turn}) == 4
    assert draw(6, 3) != alone


def test_draws_cover_what_they_promise() -> None:
    documents = [draw(1, run).document for run in range(RUNS)]
    assert {d["operator"]["kind"] for d in documents} == {"careful", "hasty", "asleep", "wrong_way"}
    clean = [d for d in documents if d["invariants"] == "clean"]
    assert 0 < len(clean) < RUNS / 2
    assert all(not d["timeline"] and d["operator"]["kind"] == "careful" for d in clean)
    counts = {sum("fault" in act for act in d["timeline"]) for d in documents}
    assert counts == {0, 1, 2, 3}
    for optional in ("mains_contactor", "channels.far_cell", "second_line", "probes"):
        assert 0 < sum(optional in d["overrides"] for d in documents) < RUNS


def test_draws_cover_requests_and_what_they_are_about() -> None:
    """Pulses, limits of stages, profiles; requests in one cycle, among them what must be sorted."""
    documents = [draw(1, run).document for run in range(4 * RUNS)]
    overrides = [d["overrides"] for d in documents]
    assert 0 < sum("pulsed_hold" in o["charge"] for o in overrides) < RUNS
    for optional in ("protection.stage_limits", "profiles"):
        assert RUNS / 2 < sum(optional in o for o in overrides) < 3 * RUNS
    instants: dict[tuple[int, float], list[str]] = {}
    for number, document in enumerate(documents):
        for act in document["timeline"]:
            kind = next(key for key in act if key != "at_seconds")
            instants.setdefault((number, act["at_seconds"]), []).append(kind)
    together = {tuple(kinds) for kinds in instants.values() if len(kinds) > 1}
    for pair in (("open", "close"), ("close", "open"), ("reset", "close"), ("close", "profile")):
        assert pair in together
    assert any("silence" in kinds for kinds in instants.values())


def test_every_kind_of_fault_gets_values_it_allows() -> None:
    """A new kind joins by itself; what it needs must be drawable from its fields alone."""
    scenario, settings = prepare(draw(1, 0).document)
    rng = Random(1)
    adapter: TypeAdapter[object] = TypeAdapter(Fault)
    drawn = set()
    for _ in range(300):
        fault = draw_fault(rng, settings, scenario.plant)
        adapter.validate_python(fault)
        drawn.add(fault["kind"])
    assert drawn <= set(kinds())
    assert len(drawn) > len(kinds()) / 2


@pytest.mark.parametrize("run", [0, 1])
def test_a_saved_scenario_is_the_same_run(run: int, tmp_path: Path) -> None:
    document = draw(2, run).document
    came = run_one(2, run)
    scenario, settings = load_scenario(save(document, came, tmp_path))
    assert (scenario, settings) == prepare(document)
    assert run_one(2, run) == came
