"""Guards the circuit: holds it closed while permitted, opens it, locks it out.

Permission to be closed is renewed at one place only, ``_renew``, and only by a cycle whose
decision permits it. It closes at one place only, ``_close``. Everything else can only open.
"""

from supervisor.control.between_pulses import BetweenPulses
from supervisor.control.circuit import Cause, NotAllowed, after
from supervisor.control.closing import Answer, Closing, WhyNot
from supervisor.control.latch import Lockout
from supervisor.control.lockout import LockoutKeeper
from supervisor.control.logbook import Logbook
from supervisor.control.opening import Opening, OpeningWatch
from supervisor.control.permission import Permission
from supervisor.devices.contactor import Contactor
from supervisor.devices.panel import Panel
from supervisor.devices.protocols import Clock
from supervisor.protection.decision import Decision
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit

MIN_REASON_CHARACTERS = 3
EXTERNAL_REMEDY = "find out who or what opened the circuit and why, and look at the bank"
STOPPED = "the stop button was pressed, or its wire is broken"


class Guard:
    """State of one circuit and everything that may change it."""

    def __init__(
        self,
        settings: SupervisorSettings,
        clock: Clock,
        contactor: Contactor,
        panel: Panel,
        keeper: LockoutKeeper,
        logbook: Logbook,
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._contactor = contactor
        self._panel = panel
        self._keeper = keeper
        self._logbook = logbook
        self.remedies: dict[str, str] = {}  # by rule, what to check before a reset
        # Why this build does not count as tried; until somebody has looked, that nobody has.
        self.uncommissioned: tuple[str, ...] = ("nobody has looked whether this build was tried",)
        self.profile_in_doubt = ""  # why nobody knows which settings fit what is wired
        self.deaf = ""  # why an ``open`` may not be heard
        self._permission = Permission(contactor, settings.lease_s)
        self._opening: OpeningWatch | None = None
        self._closing = Closing(keeper, clock)
        self._between_pulses = BetweenPulses()
        self._leaving = False
        self.circuit = Circuit.LOCKED_OUT if keeper.lockout else Circuit.OPEN

    # -- every cycle ------------------------------------------------------------------------

    def act(self, decision: Decision, *, leaving: bool) -> None:
        """Carry out one decision: first of all open, if anything asks for it."""
        self._leaving = leaving
        if self.circuit is Circuit.CLOSED:
            self._hold_or_open(decision)
        else:
            self._contactor.open()  # once more, in case the pin was disturbed
            if self.circuit is Circuit.PAUSED:
                self._watch_while_paused(decision)
            else:
                self._watch_while_open(decision)
        if self.is_closing:
            self._try_to_close(decision)

    def follow_opening(self, decision: Decision, readings: Readings) -> None:
        """Confirm that it opened; if it did not, open the mains side; then put it on disk."""
        failed = decision.trip_of("failed_to_open") is not None
        if failed:
            self._contactor.drop_mains()
        if self._opening and self._opening.outcome is Opening.WAITING:
            outcome = self._opening.look(readings, self._clock.now_s(), failed=failed)
            if outcome is not Opening.WAITING:
                self._conclude_opening(self._opening)
        elif failed and self._keeper.lockout and not self._keeper.lockout.failed_to_open:
            self._keeper.note_opening(None, failed=True)
        if not self._is_opening():
            self._keeper.store()

    def hindrances(self, decision: Decision) -> list[str]:
        """Why the circuit may not be closed now, in words."""
        reasons = [v.reason for v in decision.verdicts if v.state is not State.CLEAR]
        if self._panel.stop_pressed():
            reasons.append("the stop button is pressed, or its wire is broken")
        if self._contactor.state().auxiliary_closed:
            reasons.append("the auxiliary contact says that the contactor is closed")
        if self._is_opening():
            reasons.append("the last opening is still being confirmed")
        reasons += self.uncommissioned
        if self.profile_in_doubt:
            reasons.append(self.profile_in_doubt)
        if self.deaf:
            reasons.append(self.deaf)
        return reasons

    @property
    def is_closing(self) -> bool:
        """A request to close is being carried out."""
        return self._closing.waits

    def is_open_for_good(self) -> bool:
        """Open, seen to be open, and the lockout on disk or known not to be storable."""
        return (
            self.circuit not in (Circuit.CLOSED, Circuit.PAUSED)
            and not self._is_opening()
            and not self.is_closing
            and (self._keeper.lockout is None or self._keeper.tried_to_store)
        )

    def why_no_other_settings(self) -> str:
        """Why no other settings may be put in force now; empty when they may."""
        if self.circuit not in (Circuit.OPEN, Circuit.UNFIT):
            return f"the circuit is {self.circuit.value}, and must be open"
        if self._is_opening() or self.is_closing:
            return "an opening or a closing is under way; try again in a second"
        return ""

    def adopt(self, settings: SupervisorSettings, remedies: dict[str, str]) -> None:
        """These settings are in force, and somebody said so."""
        self._settings, self.remedies, self.profile_in_doubt = settings, remedies, ""
        self._permission = Permission(self._contactor, settings.lease_s)

    def _is_opening(self) -> bool:
        return self._opening is not None and self._opening.outcome is Opening.WAITING

    # -- closed -----------------------------------------------------------------------------

    def _hold_or_open(self, decision: Decision) -> None:
        if decision.trip:
            self._trip(decision.trip)
        elif self._panel.stop_pressed():
            self._trip(_external(STOPPED))
        elif self._permission.ran_out:
            self._trip(self._permission.trip())
        elif self._leaving:
            self._open("as the program was told to end")
        else:
            self._renew(decision)

    def _renew(self, decision: Decision) -> None:
        if not self._permission.renew(decision):
            self._trip(self._permission.trip())

    def _close(self, cause: Cause) -> None:
        self._opening = None
        self._permission.begin()
        self.circuit = after(self.circuit, cause)

    # -- opening ----------------------------------------------------------------------------

    def _trip(self, verdict: Verdict) -> None:
        was_closed = self.circuit is Circuit.CLOSED
        remedy = verdict.remedy or self.remedies.get(verdict.rule, EXTERNAL_REMEDY)
        self._part(Cause.TRIP)
        self._keeper.lock(
            Lockout(
                tripped_by=verdict.rule,
                reason=verdict.reason,
                remedy=remedy,
                wall=self._logbook.wall(),
                measured=verdict.measured,
                limit=verdict.limit if verdict.unit else None,
                unit=verdict.unit,
                failed_to_open=verdict.rule == "failed_to_open",
            )
        )
        self._logbook.alarm(
            "trip",
            f"{verdict.rule}: {verdict.reason}",
            rule=verdict.rule,
            measured=verdict.measured,
            limit=verdict.limit,
            unit=verdict.unit,
            remedy=remedy,
            was_closed=was_closed,
            by_doubt=verdict.by_doubt,
        )
        self._closing.abandon(verdict.reason)  # asked for before it; a reset does not revive it

    def _open(self, why: str) -> None:
        self._part(Cause.OPEN)
        self._logbook.note("opened", f"opened, {why}")

    def _part(self, cause: Cause) -> None:
        """The coil off, once more if it is; from closed, watch that the contact follows."""
        self._contactor.open()
        if self.circuit is Circuit.CLOSED:
            self._opening = OpeningWatch(self._contactor.state().told_at_s, self._settings)
        self.circuit = after(self.circuit, cause)

    def _conclude_opening(self, opening: OpeningWatch) -> None:
        self._keeper.note_opening(opening.opened_in_s, failed=opening.outcome is Opening.FAILED)
        if opening.outcome is not Opening.CONFIRMED:
            self._contactor.drop_mains()
            if self.circuit is Circuit.PAUSED:
                self.end_pause("its opening was not seen")
        elif self.circuit is not Circuit.PAUSED:  # then it stays armed: it may close again
            self._keeper.disarm("opened")
        took = "" if opening.opened_in_s is None else f" in {opening.opened_in_s * 1000:.0f} ms"
        outcome = opening.outcome.value
        self._logbook.note(
            "opening", f"opening {outcome}{took}", outcome=outcome, opened_in_s=opening.opened_in_s
        )

    def _watch_while_open(self, decision: Decision) -> None:
        failed = decision.trip_of("failed_to_open")
        if failed and self.circuit is not Circuit.LOCKED_OUT:
            self._trip(failed)
        elif self.circuit in (Circuit.OPEN, Circuit.UNFIT):
            cause = Cause.HINDERED if self.hindrances(decision) else Cause.FREE
            self.circuit = after(self.circuit, cause)

    # -- asked for by the guide -------------------------------------------------------------

    def finish(self, why: str) -> None:
        """The bank is full: open, and closed again only after an ``open``."""
        if self._tripped_by_its_lease() or self.circuit not in (Circuit.CLOSED, Circuit.PAUSED):
            return
        self._part(Cause.FULL)
        self._disarm_if_confirmed()
        self._logbook.note("finished", f"full: {why}")

    def pause(self, why: str) -> None:
        """A pulse has ended: open, until ``resume``."""
        if self.circuit is Circuit.CLOSED and not self._tripped_by_its_lease():
            self._part(Cause.PAUSE)
            self._between_pulses.begin()
            self._logbook.note("paused", f"opened, {why}")

    def resume(self, decision: Decision) -> bool:
        """Begin the next pulse, if nothing at all stands in the way: the one closing that nobody
        asks for. Its permission is what the settings say of a pulsed hold, and this decision.
        Whether it has closed."""
        if self.circuit is not Circuit.PAUSED or self._leaving:
            return False
        if not decision.permit or self.hindrances(decision):
            return False
        self._close(Cause.RESUME)
        self._logbook.note("resumed", "closed again, by the pulsed hold")
        return True

    def end_pause(self, why: str) -> None:
        """No further pulse."""
        if self.circuit is Circuit.PAUSED:
            self.circuit = after(self.circuit, Cause.OPEN)
            self._disarm_if_confirmed()
            self._logbook.note("opened", f"stays open: {why}")

    def _watch_while_paused(self, decision: Decision) -> None:
        """Every rule stays in force."""
        if tripped := self._between_pulses.trip(decision):
            self._trip(tripped)
        elif self._panel.stop_pressed():
            self._trip(_external(STOPPED))
        elif self._leaving:
            self.end_pause("the program was told to end")
        elif why := self._between_pulses.why_no_more(decision, self._clock.now_s()):
            self.end_pause(why)

    def _disarm_if_confirmed(self) -> None:
        if self._opening and self._opening.outcome is Opening.CONFIRMED:
            self._keeper.disarm("opened")

    def _tripped_by_its_lease(self) -> bool:
        """Closed, but permission has run out: that is a trip, whatever else asks to open."""
        ran_out = self.circuit is Circuit.CLOSED and self._permission.ran_out
        if ran_out:
            self._trip(self._permission.trip())
        return ran_out

    # -- asked for --------------------------------------------------------------------------

    def open(self, who: str, reason: str = "") -> str:
        """Open; always allowed. Returns what was done."""
        asked = f"asked by {who}: {reason}" if reason else f"asked by {who}"
        self._closing.abandon("opened meanwhile")
        if not self._tripped_by_its_lease() and self.circuit is Circuit.CLOSED:
            self._open(asked)
            return "the coil is dropped"
        if self.circuit is Circuit.PAUSED:
            self.end_pause(asked)
            return "the coil is off, and the pulsed hold has ended"
        if self.circuit is Circuit.FINISHED:
            self.circuit = after(self.circuit, Cause.OPEN)
            return "the coil is off already; it is full, that is noted as seen"
        self.circuit = after(self.circuit, Cause.OPEN)
        return "the coil is off already"

    def reset(self, decision: Decision, reason: str, who: str) -> str | None:
        """Reset a lockout, for a reason. Returns what stands in the way, or None."""
        problem = self._why_not_reset(decision, reason)
        if problem:
            return problem
        if not self._keeper.clear(f"reset by {who}: {reason}"):
            return (
                "the lockout file was not written for sure, so the lockout stays; until the disk "
                "is mended, a power cut may leave it locked out or reset"
            )
        self.circuit = after(self.circuit, Cause.RESET)
        self._logbook.note("reset", f"reset by {who}: {reason}", who=who, reason=reason)
        return None

    def _why_not_reset(self, decision: Decision, reason: str) -> str | None:
        lockout = self._keeper.lockout
        if self.circuit is not Circuit.LOCKED_OUT or lockout is None:
            return f"there is no lockout to reset: the circuit is {self.circuit.value}"
        if len(reason.strip()) < MIN_REASON_CHARACTERS:
            return (
                f"a reset needs a reason, of {MIN_REASON_CHARACTERS} characters at least: "
                "what was found, and what was done about it"
            )
        if self._is_opening():
            return "the opening is still being confirmed; try again in a second"
        causes = (lockout.tripped_by, "failed_to_open")
        standing = [
            verdict.reason
            for verdict in decision.verdicts
            if verdict.rule in causes and verdict.state is not State.CLEAR
        ]
        if self._panel.stop_pressed():
            standing.append("the stop button is pressed, or its wire is broken")
        return f"the cause still stands: {standing[0]}" if standing else None

    def begin_closing(
        self,
        decision: Decision,
        who: str,
        answer: Answer,
        why_no_longer: WhyNot = lambda: "",
    ) -> None:
        """The closing itself waits for a later cycle's fresh readings.

        ``why_no_longer`` is asked now and before the edge: empty while who asked may stand by.
        """
        problem = why_no_longer() or self._why_not_begin(decision)
        if self.circuit is Circuit.CLOSED:
            answer(True, "the contactor is told to be closed already")
        elif problem:
            answer(False, f"not closed: {problem}")
        else:
            self._closing.begin(who, answer, why_no_longer)

    def _why_not_begin(self, decision: Decision) -> str:
        if self.is_closing:
            return "another request to close is being carried out"
        if self._leaving:
            return "the program is about to end"
        if self._is_opening():  # its end decides what the latch says
            return "the last opening is still being confirmed; try again in a second"
        try:
            after(self.circuit, Cause.CLOSE)
        except NotAllowed as error:
            lockout = self._keeper.lockout
            why = [lockout.reason] if lockout else self.hindrances(decision)
            if self.circuit in (Circuit.FINISHED, Circuit.PAUSED):
                why = ["open it first (holdwatch open): that ends what was before"]
            return "; ".join([str(error), *why])
        return ""

    def _try_to_close(self, decision: Decision) -> None:
        hindrances = self.hindrances(decision)
        if not self._keeper.is_armed:
            self._closing.abandon("the lockout file does not say that it may be closed")
        elif why := self._closing.why_no_longer:
            self._closing.abandon(why)
        elif not hindrances and self.circuit is Circuit.OPEN and not self._leaving:
            self._close(Cause.CLOSE)
            self._logbook.note("closed", f"closed, asked by {self._closing.done()}")
        elif self._closing.is_over or self._leaving:
            self._closing.abandon("; ".join(hindrances) or "the program is about to end")


def _external(reason: str) -> Verdict:
    return Verdict("external", State.TRIP, None, 0.0, "", None, reason)
