"""The reference of scenarios is in step with the code and names every fault and its keys."""

from pathlib import Path

from supervisor.bench.reference import scenario_reference
from supervisor.simulator.faults import kinds

COMMITTED = Path(__file__).parents[2] / "config" / "SCENARIOS.md"


def test_the_committed_one_is_the_present_one() -> None:
    assert COMMITTED.read_text("utf-8") == scenario_reference()


def test_every_fault_has_its_keys() -> None:
    sections = scenario_reference().split("## ")
    for kind, model in kinds().items():
        (section,) = [s for s in sections if s.startswith(f"fault `{kind}`")]
        for key in set(model.model_fields) - {"kind"}:
            assert f"| `{key}` |" in section


def test_no_value_is_left_without_words() -> None:
    assert "something else" not in scenario_reference()
