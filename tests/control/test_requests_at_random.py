"""Requests at random, several in one cycle, close to trips and to openings that nobody sees.

The guard is led through cycles as the loop leads it: act, follow the opening, the guide's order,
then the requests. What must hold is judged by the coil, by the file, and by who asked for what.
"""

from dataclasses import dataclass, field

import pytest
from guard_bench import PERMIT, GuardBench, decision
from hypothesis import given, settings
from hypothesis import strategies as st
from loop_bench import with_level_drive

from supervisor.bench.campaign.daemon import LatchFile
from supervisor.protection.decision import Decision
from supervisor.protection.verdict import State
from supervisor.readings import Channel, Pace, Quality, Reading, Readings
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit

CYCLE_S = 0.05
PATIENCE_S = 1.0  # so long a request to close may wait
SAID = {
    "permit": PERMIT,
    "doubt": decision("sensing", State.CANNOT_TELL),
    "timing": decision("overvoltage", State.TIMING),
    "trip": decision("overvoltage", State.TRIP),
    "failed": decision("failed_to_open", State.TRIP),
}
SHOWN_A = {"open": 0.0, "flows": 20.0, "nothing": None}
CYCLES = (1, 1, 1, 2, 4, 10, 25, 60)  # up to a pause in which an unseen opening is given up
REQUESTS = ("open", "close", "close", "reset", "profile")
TOGETHER = (["open", "close"], ["close", "open"], ["reset", "close"], ["close", "profile"])


@dataclass(frozen=True)
class Step:
    """So many cycles alike; order and requests come in the first."""

    said: str
    shows: str
    order: str
    requests: list[str]
    cycles: int


CLOSES = Step("permit", "open", "none", ["close"], 2)
ASKS = Step("permit", "open", "none", ["close"], 1)
BEGINS = {
    "open": [],
    "asked to close, tripped, reset": [
        ASKS,
        Step("failed", "open", "none", [], 1),
        Step("permit", "open", "none", ["reset"], 1),
    ],
    "closed": [CLOSES],
    "paused": [CLOSES, Step("permit", "open", "pause", [], 4)],
    "finished": [CLOSES, Step("permit", "open", "finish", [], 4)],
    "opening": [CLOSES, Step("permit", "nothing", "none", ["open"], 1)],
    "opening not seen": [CLOSES, Step("permit", "nothing", "none", ["open"], 60)],
}

steps = st.builds(
    Step,
    said=st.sampled_from(["permit"] * 5 + ["doubt", "timing", "timing", "trip", "failed"]),
    shows=st.sampled_from(["open", "open", "open", "flows", "nothing"]),
    order=st.sampled_from(["none"] * 3 + ["pause", "resume", "resume", "finish", "end"]),
    requests=st.one_of(
        st.just([]),
        st.lists(st.sampled_from(REQUESTS), max_size=3),
        st.sampled_from(TOGETHER),
    ),
    cycles=st.sampled_from(CYCLES),
)


@dataclass
class Watched:
    """A guard, and what somebody who stands beside it knows."""

    bench: GuardBench
    latch: LatchFile  # what a start now would find: the power cut
    was_on: bool = False
    asked_s: list[float] = field(default_factory=list)  # closings that still may come of it
    asked: int = 0
    must_reset: bool = False
    has_finished: bool = False
    goes_on: bool = False  # a charge that somebody began and nobody ended

    def lead(self, step: Step) -> None:
        for cycle in range(step.cycles):
            first = cycle == 0
            self.cycle(step, step.order if first else "none", step.requests if first else [])

    def cycle(self, step: Step, order: str, requests: list[str]) -> None:
        guard, said = self.bench.guard, SAID[step.said]
        self.bench.clock.sleep_until(self.bench.clock.now_s() + CYCLE_S)
        self.look("between two cycles", said)
        guard.act(said, leaving=False)
        self.look("act", said)
        guard.follow_opening(said, shown(self.bench, SHOWN_A[step.shows]))
        self.look("opening", said)
        self.order(order, said)
        self.look(order, said)
        for request in requests:
            self.request(request, said)
            self.look(request, said)

    def order(self, order: str, said: Decision) -> None:
        guard = self.bench.guard
        match order:
            case "pause":
                guard.pause("a test")
            case "resume":
                guard.resume(said)
            case "finish":
                guard.finish("a test")
            case "end":
                self.goes_on &= guard.circuit is not Circuit.PAUSED
                guard.end_pause("a test")

    def request(self, act: str, said: Decision) -> None:
        guard = self.bench.guard
        match act:
            case "open":
                self.asked_s, self.has_finished, self.goes_on = [], False, False
                guard.open("a test")
            case "close":
                self.asked += 1
                self.asked_s.append(self.bench.clock.now_s())
                guard.begin_closing(said, "a test", lambda *told: self.bench.answers.append(told))
            case "reset":
                if guard.reset(said, "looked at it", "a test") is None:
                    self.must_reset = False
            case "profile":
                self.choose_profile()

    def choose_profile(self) -> None:
        bench = self.bench
        if bench.guard.why_no_other_settings():
            return
        assert bench.guard.circuit in (Circuit.OPEN, Circuit.UNFIT)
        assert not bench.coil
        assert len(bench.answers) == self.asked, "no request to close is waiting"
        bench.guard.adopt(bench.settings, {})
        assert bench.keeper.keep("a profile")

    def look(self, after: str, said: Decision) -> None:
        """After everything that may have changed something."""
        circuit = self.bench.guard.circuit
        if self.bench.coil and not self.was_on:
            self.check_closing(after, said)
        if circuit is Circuit.LOCKED_OUT and not self.must_reset:
            self.must_reset, self.has_finished, self.asked_s = True, False, []
        if circuit is Circuit.FINISHED:
            self.has_finished = True
        self.goes_on &= circuit in (Circuit.CLOSED, Circuit.PAUSED)
        self.was_on = self.bench.coil
        assert circuit is Circuit.CLOSED or not self.bench.coil
        if circuit in (Circuit.CLOSED, Circuit.PAUSED):
            assert self.latch.state == "armed", f"{circuit.value}: a power cut is found"
        if not was_seen(self.bench):
            assert self.latch.state in ("armed", "locked"), "nobody saw it open"

    def check_closing(self, after: str, said: Decision) -> None:
        assert said is PERMIT, "no rule stands in the way"
        assert not self.must_reset, "not after a trip"
        assert not self.has_finished, "not after the end of the charge"
        assert self.latch.state == "armed"
        if after == "resume":
            assert self.goes_on, "only between two pulses of one charge"
            return
        now_s = self.bench.clock.now_s()
        assert after == "act"
        assert any(now_s - asked_s <= PATIENCE_S + 2 * CYCLE_S for asked_s in self.asked_s)
        self.asked_s, self.goes_on = [], True


def shown(bench: GuardBench, current_a: float | None) -> Readings:
    quality = Quality.GOOD if current_a is not None else Quality.NO_ANSWER
    shunt = Reading(Channel.SHUNT, current_a, quality, 0.1, bench.clock.now_s())
    return Readings({Channel.SHUNT: shunt}, None, False, bench.contactor.state(), Pace(0.0, 0))


def was_seen(bench: GuardBench) -> bool:
    """Whether the newest opening was seen, or somebody has looked and reset since."""
    told = [event for event in bench.logbook.events() if event.code in ("opening", "reset")]
    return not told or told[-1].code == "reset" or "confirmed in" in told[-1].text


@pytest.fixture(scope="module")
def without_auxiliary(hut_settings: SupervisorSettings) -> SupervisorSettings:
    level = with_level_drive(hut_settings)
    contactor = level.contactor.model_copy(update={"auxiliary": None})
    return level.model_copy(update={"contactor": contactor})


@given(begins=st.sampled_from(sorted(BEGINS)), story=st.lists(steps, min_size=10, max_size=25))
@settings(max_examples=200)
def test_whatever_is_asked_for_and_whenever(
    without_auxiliary: SupervisorSettings,
    tmp_path_factory: pytest.TempPathFactory,
    begins: str,
    story: list[Step],
) -> None:
    bench = GuardBench(without_auxiliary, tmp_path_factory.mktemp("latch"))
    watched = Watched(bench, LatchFile(bench.latch.path.parent))
    for step in (*BEGINS[begins], *story):
        watched.lead(step)
    watched.lead(Step("doubt", "open", "none", [], 40))
    assert len(bench.answers) == watched.asked, "each request to close was answered once"
    bench.contactor.close()
