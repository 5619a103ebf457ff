"""The polling loop: acquire, judge, act, publish."""

import logging
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

from supervisor.control.build_record import BuildRecord, shortened
from supervisor.control.guard import Guard
from supervisor.control.in_force import InForce
from supervisor.control.latch import Kept, Latch
from supervisor.control.lockout import LockoutKeeper
from supervisor.control.logbook import Logbook
from supervisor.control.lookback import Lookback
from supervisor.control.notify import Notifier
from supervisor.control.operations import KEY as CONTACTOR
from supervisor.control.operations import Operations
from supervisor.control.pacing import Pacer
from supervisor.control.profile_at_start import profile_at_start
from supervisor.control.publisher import Publisher
from supervisor.control.recorder import Recorder, Sink
from supervisor.control.remembered import Remembered, gone_on_from, text_of
from supervisor.control.requests import Inbox, Reply, Request
from supervisor.control.view import Viewer
from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.contactor import Contactor
from supervisor.devices.panel import DARK, LIT, TWO_FLASHES, WINKING, Panel
from supervisor.devices.protocols import Clock
from supervisor.devices.second_line import SecondLineWatch
from supervisor.devices.thermometers import Thermometers
from supervisor.guidance.attention import Attention
from supervisor.guidance.guide import Order
from supervisor.journal.health import Health
from supervisor.protection.decision import Decision
from supervisor.readings import Channel, ContactorState, Pace, Readings, SecondLine
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import with_profile
from supervisor.snapshot import Circuit, JournalView, Snapshot, Urgency

log = logging.getLogger(__name__)
PUBLISH_EVERY_S = 0.25
LOOK_EVERY_S = 1.0  # for what has changed, to be recorded
DEAF = (
    "requests are not heard, to open neither: a thread has ended or hangs; use the stop button, "
    "start the program again"
)


@dataclass(frozen=True, slots=True)
class Parts:
    """What the loop works with; see ``control.assemble``."""

    clock: Clock
    bus: BusKeeper
    thermometers: Thermometers
    second_line: SecondLineWatch | None
    contactor: Contactor
    panel: Panel
    latch: Latch
    inboxes: Sequence[Inbox]
    publisher: Publisher
    notifier: Notifier
    journal: Sink
    build_record: BuildRecord


class Loop:
    """One supervised circuit. Starts open, always; leaves open, always."""

    def __init__(self, settings: SupervisorSettings, parts: Parts, *, simulated: bool) -> None:
        self._parts = parts
        self._clock = parts.clock
        self._file_settings = settings
        self._attention = Attention()
        self._silence_s = 60 * settings.panel.silence_minutes
        self._operations = Operations(settings)
        self._pacer = Pacer(parts.clock, settings.loop.cycle_s)
        logbook = Logbook(parts.clock)
        self._recorder = Recorder(parts.journal, parts.clock)
        self._recorder.begin(settings, is_simulated=simulated)
        logbook.tell = self._recorder.note
        self._lookback = Lookback()
        self.keeper = LockoutKeeper(
            parts.latch,
            logbook,
            parts.clock,
            lookback=self._lookback,
            to_keep=self._to_keep,
            is_closed=lambda: parts.contactor.lease_left_s > 0,
            before_write=parts.notifier.writing,
            after_write=self._after_write,
        )
        kept = parts.latch.kept
        if kept and parts.latch.was_armed:
            kept = gone_on_from(kept, parts.latch.arming, parts.journal.counted())
        settings, doubt = profile_at_start(settings, kept)
        self._remembered = Remembered(kept)
        if doubt:
            self._remembered.another_supply()
        self._now = InForce(settings, parts)
        if kept is not None:
            self._recall(kept)
        self.guard = Guard(
            settings, parts.clock, parts.contactor, parts.panel, self.keeper, logbook
        )
        self.guard.remedies, self.guard.profile_in_doubt = self._now.remedies, doubt
        self._is_simulated = simulated
        self.guard.uncommissioned = self._why_uncommissioned()
        if settings.profile != self._file_settings.profile:
            in_force = f"profile {settings.profile} in force, as before this start"
            logbook.note("profile", in_force, profile=settings.profile)
            self._recorder.adopt(settings)
        self._viewer = Viewer(settings, parts, self._now.rules, logbook, simulated=simulated)
        self._logbook = logbook
        for rule, why in settings.protection.without.reasons().items():
            logbook.note("without", f"runs without {rule}: {why}")
        for words in parts.build_record.old_calibrations(
            self._now.settings, parts.clock.wall(), simulated=simulated
        ):
            logbook.note("calibration", words)
        self._leaving = False
        self._asked: list[Request] = []  # taken, and to be carried out at the end of the cycle
        self._opened_at_s = float("-inf")  # when the newest request to open came in
        self._looked_at_s = float("-inf")
        self._published: tuple[float, Circuit] = (float("-inf"), Circuit.OPEN)
        self.readings: Readings | None = None
        """The newest, for who cycles it by hand."""

    def leave(self) -> None:
        """Open, then end. Safe to call from a signal handler: it only leaves a note."""
        self._leaving = True

    @property
    def told_at_s(self) -> float:
        """When the coil was told what it does now."""
        return self._parts.contactor.state().told_at_s

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
        else:
            self._logbook.note("ended", "ended, the circuit is open")
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
        self._recorder.close()

    def cycle(self) -> None:
        self.readings = readings = self._acquire(self._pacer.wait())
        self._viewer.count(readings)
        self._lookback.note(readings)
        decision = self._now.protection.judge(readings, self._clock.now_s())
        if self.guard.is_closing:
            self._take_requests()
        self.guard.act(decision, leaving=self._leaving)
        self.guard.follow_opening(decision, readings)
        if self._recorder.follow(readings.contactor, self._now):
            self.keeper.keep("the session has ended")
        if self.guard.circuit is Circuit.PAUSED:
            self._take_requests()
        self._be_guided(decision, readings)
        in_force = self._now
        self._record(readings)
        self._take_requests()
        self._carry_out_requests(decision)
        if self._now is in_force:  # what was decided by other settings is not shown as by these
            self._show(decision, readings)

    def _acquire(self, pace: Pace) -> Readings:
        sampler, chain = self._now.sampler, self._now.chain
        scan = chain.take([sampler.sample(channel) for channel in sampler.channels])
        window, is_new = chain.window()
        probes = self._parts.thermometers.look()
        contactor = self._parts.contactor.state()
        second_line = self._attend_second_line(scan[Channel.FRONT_CELL].good_value, contactor)
        return Readings(scan, window, is_new, contactor, pace, probes, second_line)

    def _attend_second_line(
        self, front_v: float | None, contactor: ContactorState
    ) -> SecondLine | None:
        watch = self._parts.second_line
        return watch.attend(front_v, contactor) if watch else None

    def _be_guided(self, decision: Decision, readings: Readings) -> None:
        self._operations.follow(self._parts.contactor.state())
        now_s, guide = self._clock.now_s(), self._now.guide
        if guide is None:
            if readings.window_is_new:
                self._now.tally.take(readings, now_s)
            return
        match guide.take(readings, decision.verdicts, self.guard.circuit, now_s):
            case Order.FINISH:
                self.guard.finish(guide.because)
            case Order.PAUSE:
                self.guard.pause(guide.because)
            case Order.RESUME:
                if not self.keeper.keep_waits and self.guard.resume(decision):
                    guide.resumed()
            case Order.END:
                self.guard.end_pause(guide.because)

    def _record(self, readings: Readings) -> None:
        now_s, view = self._clock.now_s(), None
        if self._now.guide and now_s >= self._looked_at_s + LOOK_EVERY_S:
            self._looked_at_s, view = now_s, self._now.guide.view(now_s)
        self._recorder.take(readings, self.guard.circuit, self._now, view)
        if self.guard.circuit in (Circuit.CLOSED, Circuit.PAUSED):
            self._recorder.count(lambda: text_of(self._to_keep(), self._parts.latch.arming))

    def _to_keep(self) -> Kept:
        self._remember()
        own = {CONTACTOR: self._operations.memory()}
        profile = self._now.settings.profile
        if self.guard.profile_in_doubt and (before := self._parts.latch.kept):
            profile = before.profile  # a restart does not settle it
        return Kept({**self._remembered.all, **own}, profile)

    def _after_write(self) -> None:
        self._pacer.restart()
        self._parts.notifier.written()

    def _remember(self) -> None:
        self._remembered.keep(self._now.settings, self._now.memories(self._clock.now_s()))

    def _recall(self, kept: Kept) -> None:
        self._operations.recall(self._remembered.of_contactor, is_whole=kept.is_whole)
        own = self._remembered.of(self._now.settings)
        self._now.recall(own, self._clock.now_s(), is_whole=kept.is_whole)

    def _choose_profile(self, name: str, who: str) -> tuple[bool, str]:
        """Other settings in force, with the circuit open. The file's own have a name as well."""
        before = self._now.settings
        if name not in (known := self._known_profiles()):
            return False, f"there is no profile {name!r}; there are: {', '.join(known)}"
        if name == before.profile and not self.guard.profile_in_doubt:
            return True, f"{name} is in force already"
        if problem := self.guard.why_no_other_settings():
            return False, f"{name} is not put in force: {problem}"
        self._remember()
        self._now = InForce(with_profile(self._file_settings, name), self._parts)
        after = self._now.settings
        if after.protection.supply_thermal != before.protection.supply_thermal:
            self._remembered.another_supply()
        self._now.recall(self._remembered.of(after), self._clock.now_s(), is_whole=True)
        self.guard.adopt(after, self._now.remedies)
        self.guard.uncommissioned = self._why_uncommissioned()
        self._viewer.adopt(after, self._now.rules)
        self._pacer.restart()  # it took its time, and the circuit is open
        self._recorder.adopt(after)
        self._logbook.note("profile", f"profile {name} in force, asked by {who}", profile=name)
        if not self.keeper.keep(f"profile {name}"):
            return True, f"{name} is in force, but not on disk: name it again after a restart"
        return True, f"{name} is in force"

    def _why_uncommissioned(self) -> tuple[str, ...]:
        """With the settings in force; asked for when they change, for it reads a file."""
        settings = self._now.settings
        if settings.uncommissioned:
            return ()
        return shortened(self._parts.build_record.why_not(settings, simulated=self._is_simulated))

    def _known_profiles(self) -> dict[str, Any]:
        """What there is to choose, and what is to be done by hand for each."""
        own: dict[str, Any] = {"about": "the settings of the file themselves", "steps": ()}
        return {self._file_settings.profile: own} | {
            name: {"about": profile.about, "steps": profile.steps}
            for name, profile in self._file_settings.profiles.items()
        }

    def _take_requests(self) -> None:
        """Whoever wants to open is heard before all others, and before anything closes."""
        now_s = self._clock.now_s()
        for inbox in self._parts.inboxes:
            for taken in inbox.take():
                self._viewer.requests += 1
                request = replace(taken, came_at_s=min(taken.came_at_s, now_s))
                if request.act == "open":
                    self._opened_at_s = max(self._opened_at_s, request.came_at_s)
                    self._answer(request, True, self.guard.open(request.who, request.reason))
                else:
                    self._asked.append(request)
        self._notice_deafness()

    def _notice_deafness(self) -> None:
        """What is closed stays so: every rule goes on, and the stop button."""
        deaf = "" if all(inbox.is_served for inbox in self._parts.inboxes) else DEAF
        if deaf == self.guard.deaf:
            return
        self.guard.deaf = deaf
        if deaf:
            self._logbook.alarm("deaf", deaf)
        else:
            self._logbook.note("heard", "requests are heard again")

    def _carry_out_requests(self, decision: Decision) -> None:
        if self._parts.panel.reset_held(self._clock.now_s()):
            self.guard.reset(decision, "held down", "the reset button")
        asked, self._asked = self._asked, []
        for request in asked:
            self._carry_out(request, decision)

    def _answer(self, request: Request, done: bool, message: str) -> None:
        request.answer(Reply(done, message, self.guard.circuit.value))

    def _why_no_longer(self, request: Request) -> str:
        if request.came_at_s <= self._opened_at_s:
            return "opened meanwhile"
        return request.why_no_longer(self._clock.now_s())

    def _carry_out(self, request: Request, decision: Decision) -> None:
        answer = partial(self._answer, request)
        match request.act:
            case "reset":
                problem = self.guard.reset(decision, request.reason, request.who)
                answer(problem is None, problem or "the lockout is reset")
            case "close":
                why_no_longer = partial(self._why_no_longer, request)
                self.guard.begin_closing(decision, request.who, answer, why_no_longer)
            case "profile":
                if request.reason:
                    answer(*self._choose_profile(request.reason, request.who))
                else:
                    known = self._known_profiles()
                    request.answer(Reply(True, ", ".join(known), self.guard.circuit.value, known))
            case "silence":
                self._attention.silence(self._clock.now_s(), self._silence_s)
                answer(True, f"silent for {self._silence_s / 60:g} min; what is shown stays")
            case "status":
                data = self._viewer.last.as_dict() if self._viewer.last else None
                request.answer(Reply(True, "", self.guard.circuit.value, data))

    def _show(self, decision: Decision, readings: Readings) -> None:
        now_s = self._clock.now_s()
        circuit = self.guard.circuit
        closed = circuit is Circuit.CLOSED
        self._show_on_panel(circuit, now_s)
        if readings.window_is_new and (decision.permit or not closed):
            self._parts.notifier.alive()
        published_at_s, published = self._published
        if now_s >= published_at_s + PUBLISH_EVERY_S or circuit is not published:
            self._published = (now_s, circuit)
            self._parts.publisher.publish(self._snapshot(decision, readings))

    def _show_on_panel(self, circuit: Circuit, now_s: float) -> None:
        cues = self._now.guide.cues if self._now.guide else ()
        asks = any(cue.urgency is not Urgency.NOTE for cue in cues)
        lamp = {Circuit.CLOSED: WINKING if asks else LIT, Circuit.FINISHED: TWO_FLASHES}
        alarm = circuit is Circuit.LOCKED_OUT
        sound = self._attention.sound(cues, now_s, alarm=alarm)
        self._parts.panel.show(lamp.get(circuit, DARK), sound, now_s)

    def _snapshot(self, decision: Decision, readings: Readings) -> Snapshot:
        closed = self.guard.circuit is Circuit.CLOSED
        hindrances = [] if closed else self.guard.hindrances(decision)
        return self._viewer.snapshot(
            self.guard.circuit,
            readings,
            decision,
            self.keeper,
            self._pacer,
            hindrances,
            guidance=self._now.guide.view(self._clock.now_s()) if self._now.guide else None,
            operations=self._operations.count,
            silent_s=self._attention.silent_s(self._clock.now_s()),
            journal=_journal_view(self._recorder.health),
        )


def _journal_view(health: Health) -> JournalView:
    return JournalView(**asdict(health))
