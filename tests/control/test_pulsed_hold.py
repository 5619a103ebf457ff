"""The one closing that nobody asks for: only between two pulses, only while every rule permits."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from guard_bench import PERMIT, GuardBench, decision, verdict
from hypothesis import given, settings
from hypothesis import strategies as st
from loop_bench import LoopBench, with_level_drive

from supervisor.control.latch import Latch
from supervisor.control.opening import Opening
from supervisor.protection.decision import Decision
from supervisor.protection.verdict import State
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit

DOUBT = decision("sensing", State.CANNOT_TELL)
TIMING = decision("overvoltage", State.TIMING)
TRIP = decision("overvoltage", State.TRIP)


def bench_with(hut_settings: SupervisorSettings, folder: Path) -> GuardBench:
    level = with_level_drive(hut_settings)
    without = level.contactor.model_copy(update={"auxiliary": None})
    return GuardBench(level.model_copy(update={"contactor": without}), folder)


@pytest.fixture
def bench(hut_settings: SupervisorSettings, tmp_path: Path) -> Iterator[GuardBench]:
    bench = bench_with(hut_settings, tmp_path)
    yield bench
    bench.contactor.close()


def paused(bench: GuardBench) -> GuardBench:
    bench.close()
    bench.guard.pause("a test")
    confirm(bench)
    return bench


def confirm(bench: GuardBench) -> None:
    """As if seen to be open: tests/control/test_opening.py has that."""
    opening = bench.guard._opening
    if opening is not None and opening.outcome is Opening.WAITING:
        opening.outcome, opening.opened_in_s = Opening.CONFIRMED, 0.2
        bench.guard._conclude_opening(opening)


def unseen(bench: GuardBench) -> None:
    """Nobody could tell whether it opened."""
    opening = bench.guard._opening
    if opening is not None and opening.outcome is Opening.WAITING:
        opening.outcome = Opening.UNKNOWN
        bench.guard._conclude_opening(opening)


def kept(bench: GuardBench) -> bool:
    """Whether a start now would find it locked out: the power cut."""
    return Latch(bench.latch.path.parent).read("2026-01-01T00:00:00+00:00") is not None


def test_a_pulse_ends_and_the_next_begins(bench: GuardBench) -> None:
    paused(bench)
    assert bench.guard.circuit is Circuit.PAUSED
    assert not bench.coil
    assert kept(bench), "a power cut between two pulses is found at the next start"
    bench.guard.resume(PERMIT)
    assert bench.guard.circuit is Circuit.CLOSED
    assert bench.coil


def test_not_before_the_opening_was_seen(bench: GuardBench) -> None:
    bench.close()
    bench.guard.pause("a test")
    bench.guard.resume(PERMIT)
    assert bench.guard.circuit is Circuit.PAUSED
    assert not bench.coil


@pytest.mark.parametrize("said", [DOUBT, TIMING, TRIP], ids=["cannot tell", "timing", "trip"])
def test_not_while_any_rule_is_not_clear(bench: GuardBench, said: object) -> None:
    paused(bench)
    bench.guard.resume(said)  # type: ignore[arg-type]
    assert bench.guard.circuit is Circuit.PAUSED
    assert not bench.coil


def test_a_trip_between_two_pulses_is_final(bench: GuardBench) -> None:
    paused(bench)
    bench.guard.act(TRIP, leaving=False)
    assert bench.guard.circuit is Circuit.LOCKED_OUT
    bench.guard.resume(PERMIT)
    assert not bench.coil
    bench.guard.follow_opening(PERMIT, None)  # type: ignore[arg-type]
    assert kept(bench)


def test_an_opening_that_is_not_seen_ends_it(bench: GuardBench) -> None:
    bench.close()
    bench.guard.pause("a test")
    opening = bench.guard._opening
    assert opening is not None
    opening.outcome = Opening.UNKNOWN
    bench.guard._conclude_opening(opening)
    assert bench.guard.circuit is Circuit.OPEN
    bench.guard.resume(PERMIT)
    assert not bench.coil


def test_open_ends_it(bench: GuardBench) -> None:
    paused(bench)
    assert "pulsed hold has ended" in bench.guard.open("a test")
    assert bench.guard.circuit is Circuit.OPEN
    bench.guard.resume(PERMIT)
    assert not bench.coil
    assert not kept(bench)


def test_the_end_of_the_program_ends_it(bench: GuardBench) -> None:
    paused(bench)
    bench.guard.act(PERMIT, leaving=True)
    assert bench.guard.circuit is Circuit.OPEN
    assert bench.guard.is_open_for_good()
    assert not kept(bench)


def test_between_two_pulses_the_program_does_not_end(bench: GuardBench) -> None:
    assert not paused(bench).guard.is_open_for_good()


def test_full_between_two_pulses(bench: GuardBench) -> None:
    paused(bench).guard.finish("a test")
    assert bench.guard.circuit is Circuit.FINISHED
    bench.guard.resume(PERMIT)
    assert not bench.coil
    assert not kept(bench)


def test_finished_is_left_by_open_and_not_by_close(bench: GuardBench) -> None:
    bench.close()
    bench.guard.finish("a test")
    assert bench.guard.circuit is Circuit.FINISHED
    assert not bench.coil
    confirm(bench)
    bench.answers.clear()
    bench.guard.begin_closing(PERMIT, "a test", lambda *answer: bench.answers.append(answer))
    assert [done for done, _ in bench.answers] == [False]
    assert "open it first" in bench.answers[0][1]
    bench.guard.open("a test")
    assert bench.guard.circuit is Circuit.OPEN


@pytest.mark.parametrize("circuit", [c for c in Circuit if c is not Circuit.CLOSED])
def test_only_a_closed_circuit_can_pause(bench: GuardBench, circuit: Circuit) -> None:
    bench.guard.circuit = circuit
    bench.guard.pause("a test")
    assert bench.guard.circuit is circuit


@pytest.mark.parametrize(
    "circuit", [c for c in Circuit if c not in (Circuit.CLOSED, Circuit.PAUSED)]
)
def test_only_a_charge_can_finish(bench: GuardBench, circuit: Circuit) -> None:
    bench.guard.circuit = circuit
    bench.guard.finish("a test")
    assert bench.guard.circuit is circuit


def ask(bench: GuardBench) -> None:
    bench.guard.begin_closing(PERMIT, "a test", lambda *answer: bench.answers.append(answer))


def test_opened_and_asked_to_close_at_once_it_waits_for_the_opening(bench: GuardBench) -> None:
    """Two requests in one cycle: the opening's end would clear what the closing has armed."""
    bench.close()
    bench.guard.open("a test")
    ask(bench)
    assert "still being confirmed" in bench.answers[-1][1]
    confirm(bench)
    bench.cycles(0.5, PERMIT)
    assert not bench.coil
    bench.close()
    assert kept(bench)


def test_a_request_from_before_a_trip_is_not_carried_out_after_its_reset(bench: GuardBench) -> None:
    ask(bench)
    bench.guard.act(decision("failed_to_open", State.TRIP), leaving=False)
    assert bench.answers[-1][0] is False
    assert bench.guard.reset(PERMIT, "looked at it", "a test") is None
    bench.cycles(0.5, PERMIT)
    assert not bench.coil


def test_an_opening_that_nobody_saw_is_found_at_the_next_start(bench: GuardBench) -> None:
    """Whether a pulsed hold ended by it, or a closing was refused after it."""
    bench.close()
    bench.guard.pause("a test")
    unseen(bench)
    assert bench.guard.circuit is Circuit.OPEN
    assert kept(bench)
    ask(bench)
    bench.cycles(2.0, DOUBT)
    assert bench.answers[-1][0] is False
    assert kept(bench)


@pytest.mark.parametrize("act", ["pause", "finish"])
def test_permission_that_ran_out_is_a_trip_whatever_else_opens(bench: GuardBench, act: str) -> None:
    bench.close()
    bench.clock.sleep_until(bench.clock.now_s() + 2.0)
    getattr(bench.guard, act)("a test")
    assert bench.guard.circuit is Circuit.LOCKED_OUT
    assert not bench.coil


ACTS = (
    "pause", "resume", "finish", "end", "open", "close", "ask", "reset", "confirm", "unknown",
    "leave", "cycle", "later",
)  # fmt: skip


@given(
    acts=st.lists(
        st.tuples(st.sampled_from(ACTS), st.sampled_from([PERMIT, DOUBT, TIMING, TRIP])),
        max_size=40,
    )
)
@settings(max_examples=150)
def test_the_coil_is_on_by_a_request_or_between_two_pulses(
    hut_settings: SupervisorSettings,
    tmp_path_factory: pytest.TempPathFactory,
    acts: list[tuple[str, object]],
) -> None:
    """Whatever comes in whatever order: it never goes on after a trip without a reset, and never by
    itself but from ``paused`` with every rule clear."""
    bench = bench_with(hut_settings, tmp_path_factory.mktemp("latch"))
    for act, said in acts:
        before, was_on = bench.guard.circuit, bench.coil
        answers = len(bench.answers)
        take(bench, act, said)
        if bench.coil and not was_on:
            asked = any(done for done, _ in bench.answers[answers:])
            by_itself = before is Circuit.PAUSED and act == "resume" and said is PERMIT
            assert asked or by_itself
            assert before is not Circuit.LOCKED_OUT
        assert bench.coil is (bench.guard.circuit is Circuit.CLOSED)
        if bench.guard.circuit in (Circuit.CLOSED, Circuit.PAUSED):
            assert kept(bench), "a power cut now is found at the next start"
    bench.contactor.close()


def take(bench: GuardBench, act: str, said: object) -> None:  # noqa: PLR0912  (a line an act)
    guard = bench.guard
    match act:
        case "pause":
            guard.pause("a test")
        case "resume":
            guard.resume(said)  # type: ignore[arg-type]
        case "finish":
            guard.finish("a test")
        case "end":
            guard.end_pause("a test")
        case "open":
            guard.open("a test")
        case "reset":
            guard.reset(said, "looked at it", "a test")  # type: ignore[arg-type]
        case "ask":
            guard.begin_closing(said, "a test", lambda *answer: bench.answers.append(answer))  # type: ignore[arg-type]
        case "later":
            bench.clock.sleep_until(bench.clock.now_s() + 0.01)
        case "confirm":
            confirm(bench)
        case "unknown":
            unseen(bench)
        case "leave":
            guard.act(said, leaving=True)  # type: ignore[arg-type]
            guard._leaving = False
        case "cycle":
            guard.act(said, leaving=False)  # type: ignore[arg-type]
        case "close":
            guard.begin_closing(said, "a test", lambda *answer: bench.answers.append(answer))  # type: ignore[arg-type]
            guard.act(said, leaving=False)  # type: ignore[arg-type]


def test_a_power_cut_between_two_pulses_is_found_at_the_next_start(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    bench = LoopBench(with_level_drive(hut_settings), tmp_path)
    bench.run(12.0)
    bench.mailbox.put("close")
    bench.run(13.0)
    bench.loop.guard.pause("a test")
    bench.run(15.0)
    assert bench.loop.guard.circuit is Circuit.PAUSED
    bench.world.pin_factory.refresh()
    for part in (bench.loop._parts.contactor, bench.loop._parts.panel, bench.loop._parts.bus):
        part.close()  # without a word
    bench.loop = bench.new_loop()
    bench.run(30.0)
    bench.mailbox.put("close")
    bench.run(32.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    assert not bench.mailbox.replies[-1].done
    assert not bench.coil


def by_doubt(rule: str) -> Decision:
    """Of a rule that could not tell for too long."""
    expired = replace(verdict(rule, State.TRIP), by_doubt=True)
    return Decision(False, expired, (expired,))


EXPIRED = by_doubt("overvoltage")


def test_a_doubt_between_two_pulses_is_no_trip_and_ends_them_when_it_lasts(
    bench: GuardBench,
) -> None:
    """As a second line is, for some seconds after every opening."""
    paused(bench)
    bench.cycles(50.0, EXPIRED)
    assert bench.guard.circuit is Circuit.PAUSED
    assert not bench.guard.resume(EXPIRED)
    bench.cycles(1.0, PERMIT)
    bench.cycles(59.0, EXPIRED)
    assert bench.guard.circuit is Circuit.PAUSED, "it is counted from the newest doubt"
    bench.cycles(2.0, EXPIRED)
    assert bench.guard.circuit is Circuit.UNFIT
    assert bench.keeper.lockout is None


def test_a_doubt_whether_it_has_opened_is_a_trip(bench: GuardBench) -> None:
    paused(bench)
    bench.cycles(0.1, by_doubt("failed_to_open"))
    assert bench.guard.circuit is Circuit.LOCKED_OUT
