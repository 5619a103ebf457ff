"""A guard on mock pins, told decisions: without measurement or rules."""

from pathlib import Path

from supervisor.control.guard import Guard
from supervisor.control.latch import Kept, Latch
from supervisor.control.lockout import LockoutKeeper
from supervisor.control.logbook import Logbook
from supervisor.control.lookback import Lookback
from supervisor.devices.contactor import Contactor
from supervisor.devices.panel import Panel
from supervisor.protection.decision import Decision
from supervisor.protection.verdict import State, Verdict
from supervisor.settings.hardware import Panel as PanelSettings
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.pins import PlantFactory

CYCLE_S = 0.0143
PERMIT = Decision(True, None, ())


def verdict(rule: str, state: State) -> Verdict:
    return Verdict(rule, state, 3.61, 3.6, "V", 0.0, f"{rule} says {state.value}")


def decision(rule: str, state: State) -> Decision:
    one = verdict(rule, state)
    return Decision(
        state in (State.CLEAR, State.TIMING), one if state is State.TRIP else None, (one,)
    )


class GuardBench:
    def __init__(self, settings: SupervisorSettings, folder: Path) -> None:
        self.settings = settings
        self.clock = SimulatedClock()
        self.pins = PlantFactory(self.clock.now_s)
        self.contactor = Contactor(settings, self.pins, self.clock)
        self.logbook = Logbook(self.clock)
        self.latch = Latch(folder)
        self.keeper = LockoutKeeper(
            self.latch, self.logbook, self.clock, lookback=Lookback(), to_keep=lambda: Kept({}),
            is_closed=lambda: self.contactor.lease_left_s > 0,
            before_write=lambda: None,
            after_write=lambda: None,
        )  # fmt: skip
        panel = Panel(PanelSettings(), self.pins)
        self.guard = Guard(settings, self.clock, self.contactor, panel, self.keeper, self.logbook)
        self.guard.uncommissioned = ()
        self.answers: list[tuple[bool, str]] = []

    def cycles(self, seconds: float, decision: Decision) -> None:
        until_s = self.clock.now_s() + seconds
        while self.clock.now_s() < until_s:
            self.guard.act(decision, leaving=False)
            self.clock.sleep_until(self.clock.now_s() + CYCLE_S)

    def close(self) -> None:
        self.guard.begin_closing(PERMIT, "a test", lambda *answer: self.answers.append(answer))
        self.cycles(0.1, PERMIT)
        assert self.coil

    @property
    def coil(self) -> bool:
        return bool(self.pins.pin(self.settings.contactor.pin).state)
