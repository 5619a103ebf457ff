"""The polling loop: acquire, judge, act, publish."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass

from supervisor.control.guard import Guard
from supervisor.control.latch import Latch
from supervisor.control.lockout import LockoutKeeper
from supervisor.control.logbook import Logbook
from supervisor.control.lookback import Lookback
from supervisor.control.notify import Notifier
from supervisor.control.pacing import Pacer
from supervisor.control.publisher import Publisher
from supervisor.control.requests import Inbox, Reply, Request
from supervisor.control.view import Viewer
from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.contactor import Contactor
from supervisor.devices.panel import Panel
from supervisor.devices.protocols import Clock
from supervisor.devices.sampler import ConverterSampler
from supervisor.devices.second_line import SecondLineWatch
from supervisor.devices.thermometers import Thermometers
from supervisor.measurement.chain import MeasurementChain
from supervisor.protection.decision import Decision, Protection
from supervisor.readings import Channel, ContactorState, Pace, Readings, SecondLine
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit, Snapshot

log = logging.getLogger(__name__)
PUBLISH_EVERY_S = 0.25


@dataclass(frozen=True, slots=True)
class Parts:
    """What the loop works with; see ``control.assemble``."""

    clock: Clock
    bus: BusKeeper
    sampler: ConverterSampler
    thermometers: Thermometers
    second_line: SecondLineWatch | None
    contactor: Contactor
    panel: Panel
    latch: Latch
    inboxes: Sequence[Inbox]
    publisher: Publisher
    notifier: Notifier


class Loop:
    """One supervised circuit. Starts open, always; leaves open, always."""

    def __init__(self, settings: SupervisorSettings, parts: Parts, *, simulated: bool) -> None:
        self._parts = parts
        self._clock = parts.clock
        self._chain = MeasurementChain(settings)
        self._protection = Protection(settings)
        self._pacer = Pacer(parts.clock, settings.loop.cycle_s)
        logbook = Logbook(parts.clock)
        self._lookback = Lookback()
        self.keeper = LockoutKeeper(
            parts.latch,
            logbook,
            parts.clock,
            lookback=self._lookback,
            memories=lambda: self._protection.memories(parts.clock.now_s()),
            after_write=self._pacer.restart,
        )
        if (kept := parts.latch.kept) is not None:
            self._protection.recall(kept.memories, parts.clock.now_s(), is_whole=kept.is_whole)
        remedies = {rule.key: rule.remedy for rule in self._protection.rules}
        self.guard = Guard(
            settings, parts.clock, parts.contactor, parts.panel, self.keeper, logbook, remedies
        )
        self._viewer = Viewer(settings, parts, self._protection.rules, logbook, simulated=simulated)
        for rule, why in settings.protection.without.reasons().items():
            logbook.note("without", f"runs without {rule}: {why}")
        self._leaving = False
        self._published: tuple[float, Circuit] = (float("-inf"), Circuit.OPEN)

    def leave(self) -> None:
        """Open, then end. Safe to call from a signal handler: it only leaves a note."""
        self._leaving = True

    def run(self) -> None:
        """Cycle until told to leave and seen to be open. Never returns with the coil on."""
        try:
            self.cycle()
            self._parts.notifier.ready()
            while not (self._leaving and self.guard.is_open_for_good()):
                self.cycle()
        except BaseException as error:
            self._parts.contactor.drop_mains()
            log.critical("the loop ended by an error", exc_info=True)
            self.keeper.crashed(error)
            raise
        finally:
            self._parts.contactor.open()
            self._parts.notifier.stopping()

    def close(self) -> None:
        """Release every device, coil dropped."""
        self._parts.contactor.close()
        self._parts.panel.close()
        self._parts.thermometers.close()
        if self._parts.second_line:
            self._parts.second_line.close()
        self._parts.bus.close()
        for inbox in self._parts.inboxes:
            inbox.close()
        self._parts.notifier.close()

    def cycle(self) -> None:
        readings = self._acquire(self._pacer.wait())
        self._viewer.count(readings)
        self._lookback.note(readings)
        decision = self._protection.judge(readings, self._clock.now_s())
        self.guard.act(decision, leaving=self._leaving)
        self.guard.follow_opening(decision, readings)
        self._take_requests(decision)
        self._show(decision, readings)

    def _acquire(self, pace: Pace) -> Readings:
        sampler = self._parts.sampler
        scan = self._chain.take([sampler.sample(channel) for channel in sampler.channels])
        window, is_new = self._chain.window()
        probes = self._parts.thermometers.look()
        contactor = self._parts.contactor.state()
        second_line = self._attend_second_line(scan[Channel.FRONT_CELL].good_value, contactor)
        return Readings(scan, window, is_new, contactor, pace, probes, second_line)

    def _attend_second_line(
        self, front_v: float | None, contactor: ContactorState
    ) -> SecondLine | None:
        watch = self._parts.second_line
        return watch.attend(front_v, contactor) if watch else None

    def _take_requests(self, decision: Decision) -> None:
        if self._parts.panel.reset_held(self._clock.now_s()):
            self.guard.reset(decision, "held down", "the reset button")
        for inbox in self._parts.inboxes:
            for request in inbox.take():
                self._viewer.requests += 1
                self._carry_out(request, decision)

    def _carry_out(self, request: Request, decision: Decision) -> None:
        def answer(done: bool, message: str) -> None:
            request.answer(Reply(done, message, self.guard.circuit.value))

        match request.act:
            case "open":
                answer(True, self.guard.open(request.who))
            case "reset":
                problem = self.guard.reset(decision, request.reason, request.who)
                answer(problem is None, problem or "the lockout is reset")
            case "close":
                self.guard.begin_closing(decision, request.who, answer)
            case "status":
                data = self._viewer.last.as_dict() if self._viewer.last else None
                request.answer(Reply(True, "", self.guard.circuit.value, data))

    def _show(self, decision: Decision, readings: Readings) -> None:
        now_s = self._clock.now_s()
        circuit = self.guard.circuit
        closed = circuit is Circuit.CLOSED
        self._parts.panel.show(closed=closed, alarm=circuit is Circuit.LOCKED_OUT, now_s=now_s)
        if readings.window_is_new and (decision.permit or not closed):
            self._parts.notifier.alive()
        published_at_s, published = self._published
        if now_s >= published_at_s + PUBLISH_EVERY_S or circuit is not published:
            self._published = (now_s, circuit)
            self._parts.publisher.publish(self._snapshot(decision, readings))

    def _snapshot(self, decision: Decision, readings: Readings) -> Snapshot:
        closed = self.guard.circuit is Circuit.CLOSED
        hindrances = [] if closed else self.guard.hindrances(decision)
        return self._viewer.snapshot(
            self.guard.circuit, readings, decision, self.keeper, self._pacer, hindrances
        )
