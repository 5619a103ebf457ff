"""Every rule x its four answers x the circuit's states: what becomes of permission and lockout.

No rule is an exception but failed_to_open, which locks out an open circuit as well: there the
contactor is not where it was told to be.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest
from guard_bench import GuardBench, decision
from loop_bench import with_level_drive

from supervisor.protection.verdict import State
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import RULE_KEYS
from supervisor.snapshot import Circuit

BLOCKS_AN_OPEN_CIRCUIT = {"failed_to_open"}
SOME_TIME_S = 5.0  # many leases


@pytest.fixture
def bench(hut_settings: SupervisorSettings, tmp_path: Path) -> Iterator[GuardBench]:
    settings = with_level_drive(hut_settings)
    without = settings.contactor.model_copy(update={"auxiliary": None})
    bench = GuardBench(settings.model_copy(update={"contactor": without}), tmp_path)
    yield bench
    bench.contactor.close()


@pytest.mark.parametrize("rule", RULE_KEYS)
@pytest.mark.parametrize(
    ("state", "circuit"),
    [
        (State.CLEAR, Circuit.CLOSED),
        (State.TIMING, Circuit.CLOSED),
        (State.TRIP, Circuit.LOCKED_OUT),
        (State.CANNOT_TELL, Circuit.LOCKED_OUT),
    ],
)
def test_while_closed(bench: GuardBench, rule: str, state: State, circuit: Circuit) -> None:
    bench.close()
    bench.cycles(SOME_TIME_S, decision(rule, state))
    assert bench.guard.circuit is circuit
    assert bench.coil is (circuit is Circuit.CLOSED)
    assert (bench.keeper.lockout.tripped_by if bench.keeper.lockout else None) == (
        rule if circuit is Circuit.LOCKED_OUT else None
    )


@pytest.mark.parametrize("rule", RULE_KEYS)
@pytest.mark.parametrize("state", State)
def test_while_open(bench: GuardBench, rule: str, state: State) -> None:
    """Nothing closes it; whatever is not clear forbids closing, and only a weld locks it out."""
    said = decision(rule, state)
    bench.cycles(1.0, said)
    locks = state is State.TRIP and rule in BLOCKS_AN_OPEN_CIRCUIT
    free = state is State.CLEAR
    assert bench.guard.circuit is (
        Circuit.LOCKED_OUT if locks else Circuit.OPEN if free else Circuit.UNFIT
    )
    assert not bench.coil
    bench.guard.begin_closing(said, "a test", lambda *answer: bench.answers.append(answer))
    bench.cycles(SOME_TIME_S, said)
    assert (bench.guard.circuit is Circuit.CLOSED) is bench.coil is free
    assert [done for done, _ in bench.answers] == [free]
    if not free and not locks:
        assert f"{rule} says" in bench.answers[0][1]


@pytest.mark.parametrize("rule", RULE_KEYS)
@pytest.mark.parametrize("state", State)
def test_while_locked_out(bench: GuardBench, rule: str, state: State) -> None:
    """It stays so, whatever is said; a reset waits until the rule that tripped is clear."""
    bench.close()
    bench.guard.act(decision(rule, State.TRIP), leaving=False)
    bench.guard._opening = None  # as if confirmed: tests/control/test_opening.py has that
    said = decision(rule, state)
    bench.cycles(SOME_TIME_S, said)
    assert bench.guard.circuit is Circuit.LOCKED_OUT
    assert not bench.coil
    bench.guard.begin_closing(said, "a test", lambda *answer: bench.answers.append(answer))
    assert not bench.answers[-1][0]
    problem = bench.guard.reset(said, "looked at it", "a test")
    if state is State.CLEAR:
        assert problem is None
        assert bench.guard.circuit is Circuit.OPEN
    else:
        assert problem is not None
        assert problem.startswith("the cause still stands: ")
        assert bench.guard.circuit is Circuit.LOCKED_OUT
    assert not bench.coil, "a reset closes nothing"


@pytest.mark.parametrize("state", [State.TIMING, State.CANNOT_TELL])
@pytest.mark.parametrize("rule", RULE_KEYS)
def test_another_rules_doubt_does_not_forbid_a_reset(
    bench: GuardBench, rule: str, state: State
) -> None:
    """It forbids closing afterwards. Only failed_to_open forbids both, whatever tripped."""
    bench.close()
    tripped = "overvoltage" if rule != "overvoltage" else "undervoltage"
    bench.guard.act(decision(tripped, State.TRIP), leaving=False)
    bench.guard._opening = None
    problem = bench.guard.reset(decision(rule, state), "looked at it", "a test")
    assert (problem is None) is (rule not in BLOCKS_AN_OPEN_CIRCUIT)
    if problem is None:
        bench.cycles(0.1, decision(rule, state))
        assert bench.guard.circuit is Circuit.UNFIT
