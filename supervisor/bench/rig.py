"""One scenario on the bench: the real loop on a simulated world, with a simulated operator."""

import logging
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from supervisor.bench.campaign.daemon import Daemon, LatchFile
from supervisor.bench.campaign.invariants import Invariants
from supervisor.bench.operators import Ask, Deed, Operator, Overlooked
from supervisor.bench.scenario import Act, Scenario
from supervisor.control.assemble import assemble
from supervisor.control.loop import Loop
from supervisor.control.publisher import Publisher
from supervisor.control.recorder import Sink
from supervisor.control.requests import Inbox, Mailbox, Reply, Request
from supervisor.devices.protocols import Clock
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.parts.supply import AnySupplySettings
from supervisor.simulator.world import World
from supervisor.snapshot import Circuit, Snapshot

log = logging.getLogger(__name__)


class Killed(BaseException):
    """Ends the loop wherever it is; nothing of it may catch this."""

    def __init__(self, down_s: float) -> None:
        super().__init__()
        self.down_s = down_s


class TellingMailbox(Mailbox):
    """Tells at once what was refused: nobody else would read that answer."""

    def __init__(self, refused: Callable[[str, str], None]) -> None:
        super().__init__()
        self._refused = refused

    def take(self) -> list[Request]:
        return [replace(request, answer=partial(self._hear, request)) for request in super().take()]

    def _hear(self, request: Request, reply: Reply) -> None:
        request.answer(reply)
        if not reply.done:
            name = f" {request.reason}" if request.act == "profile" else ""
            self._refused(f"{request.act}{name}", reply.message)


class Rig:
    """Loop and world under one clock. The timeline runs as the world's time passes."""

    def __init__(
        self,
        scenario: Scenario,
        settings: SupervisorSettings,
        *,
        clock: Clock,
        state_dir: Path,
        publisher: Publisher,
        inboxes: Sequence[Inbox] = (),
        journal: Sink | None = None,
    ) -> None:
        self._journal = journal
        self._state_dir = state_dir
        self.scenario = scenario
        self.settings = settings
        self.clock = clock
        self.operator = TellingMailbox(self._tell_refused)
        self.last_fault_at_s: float | None = None
        self.said: list[tuple[float, str]] = []
        self._problems: list[str] = []
        self._seen = Overlooked(publisher)
        self._inboxes = [*inboxes, self.operator]
        self._is_cycling = False
        self._dies_for_s: float | None = None  # between two cycles: at the beginning of the next
        self._dead: list[Loop] = []  # kept: nobody tidies up after a kill, the collector neither
        self.world = World(settings, scenario.plant, clock, seed=scenario.seed)
        if not isinstance(clock, SimulatedClock):
            self.world.prepare(_supplies_to_come(scenario))
        self.started_at_s = clock.now_s()
        self.loop = self._start()
        self.invariants = (
            Invariants(
                settings,
                self.world,
                lambda: self.loop.keeper.lockout,
                clean=scenario.invariants == "clean",
            )
            if scenario.invariants
            else None
        )
        if self.invariants:
            self.invariants.watch(
                Daemon(lambda: self.loop, lambda: self._seen.snapshot, LatchFile(state_dir))
            )
        for act in scenario.timeline:
            self._schedule(act)
        if scenario.operator:
            self._look_again(Operator(scenario.operator), self.started_at_s)

    def cycle(self) -> None:
        """One cycle of the loop; if it is killed in its midst, until a new one is started."""
        try:
            self._is_cycling = True
            if self._dies_for_s is not None:
                raise Killed(self._dies_for_s)
            self.loop.cycle()
        except Killed as killed:
            self._start_again(killed.down_s)
        finally:
            self._is_cycling = False

    @property
    def was_killed(self) -> bool:
        return bool(self._dead)

    @property
    def shown(self) -> Snapshot | None:
        """What the page shows now; None before the first cycle."""
        return self._seen.snapshot

    @property
    def elapsed_s(self) -> float:
        return self.clock.now_s() - self.started_at_s

    @property
    def problems(self) -> list[str]:
        """What went wrong with the timeline, and with the invariants if they are watched."""
        broken = self.invariants.violations if self.invariants else ()
        return [*self._problems, *(violation.text for violation in broken)]

    def _start(self) -> Loop:
        return assemble(
            self.settings,
            clock=self.clock,
            open_bus=self.world.open_bus,
            pin_factory=self.world.pin_factory,
            one_wire=self.world.one_wire,
            state_dir=self._state_dir,
            inboxes=self._inboxes,
            publisher=self._seen,
            simulated=True,
            journal=self._journal,
        )

    def _start_again(self, down_s: float) -> None:
        """The process and its alarms are gone; of the pins the kernel keeps what it keeps."""
        self._is_cycling, self._dies_for_s = False, None
        self._dead.append(self.loop)
        assert isinstance(self.clock, SimulatedClock)
        self.clock.forget_alarms()
        self.world.owner_dies()
        self.clock.sleep_until(self.clock.now_s() + down_s)
        self.world.catch_up()
        self.loop = self._start()
        self.world.owner_lives = True

    def _schedule(self, act: Act) -> None:
        self.world.at(self.started_at_s + act.at_seconds, lambda: self._try_to_perform(act))

    def _try_to_perform(self, act: Act) -> None:
        """A fault for a part that is not there is the scenario's mistake, not the loop's."""
        try:
            self._perform(act)
        except ValueError as error:
            self._problems.append(f"at {act.at_seconds:g} s: {error}")
            log.warning("timeline %s", self._problems[-1])

    def _perform(self, act: Act) -> None:
        if act.say:
            self.said.append((self.elapsed_s, act.say))
        if act.close:
            self._ask("close")
        if act.open:
            self._ask("open")
        if act.reset:
            self._ask("reset", act.reset)
        if act.profile:
            self._ask("profile", act.profile)
        if act.silence:
            self._ask("silence")
        if act.refit:
            shunt = act.refit.shunt
            self.world.refit(act.refit.supply, shunt.ohms if shunt else None)
        if act.knob:
            self.world.knob(act.knob.to, act.knob.over_seconds)
        if act.kill:
            self._kill(act.kill.down_seconds)
        if act.fault:
            self.last_fault_at_s = self.world.now_s()  # the loop's clock may be asleep past it
            self.world.fault(act.fault)
        if act.clear:
            self.world.clear(act.clear)

    def _kill(self, down_s: float) -> None:
        if not isinstance(self.clock, SimulatedClock):
            raise ValueError("a kill is played by drill and demo only: kill this one yourself")
        if not self.world.owner_lives:
            return  # dead already
        self.last_fault_at_s = self.clock.now_s()
        if self.invariants and self.loop.guard.circuit in (Circuit.CLOSED, Circuit.PAUSED):
            self.invariants.coil.ended_without_a_word()
        if self._is_cycling:
            raise Killed(down_s)
        self._dies_for_s = down_s

    def _ask(self, act: str, reason: str = "") -> None:
        self.operator.put(act, reason)
        if self.invariants:
            self.invariants.asked(act)

    def _tell_refused(self, what: str, why: str) -> None:
        """In the log of a run, and among what is said in the demo, whose log is quiet."""
        self.said.append((self.elapsed_s, f"(Refused, {what}: {why})"))
        log.warning("simulated operator: %s refused: %s", what, why)

    def _look_again(self, operator: Operator, now_s: float) -> None:
        """The operator looks every so often, and acts a moment later."""
        at_s = now_s + operator.settings.looks_every_seconds

        def look() -> None:
            if self._seen.snapshot:
                for deed in operator.look(self._seen.snapshot, self.world.knob_position()):
                    self._schedule_deed(deed, at_s + operator.settings.reaction_seconds)
            self._look_again(operator, at_s)

        self.world.at(at_s, look)

    def _schedule_deed(self, deed: Deed, at_s: float) -> None:
        if isinstance(deed, Ask):
            self.world.at(at_s, lambda: self._ask(deed.act, deed.reason))
        else:
            self.world.at(at_s, lambda: self.world.knob(deed.to, deed.over_s))


def _supplies_to_come(scenario: Scenario) -> list[AnySupplySettings]:
    refits = (act.refit for act in scenario.timeline if act.refit)
    return [refit.supply for refit in refits if refit.supply]
