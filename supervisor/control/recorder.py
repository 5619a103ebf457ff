"""Tells the journal what happens: every window, how far the session is, and each event.

Cheap enough for every cycle; the journal's own thread does the rest.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from supervisor import __version__
from supervisor.control.in_force import InForce
from supervisor.devices.protocols import Clock
from supervisor.journal.codes import FOUND_AT_START, SESSION_LEFT
from supervisor.journal.health import Health
from supervisor.journal.records import (
    UNKNOWN,
    Closing,
    Counted,
    Event,
    Progress,
    Record,
    Run,
    SessionEnd,
    SessionLeft,
    SettingsInForce,
    Span,
    Temperature,
    UnseenEnd,
    Value,
    Window,
)
from supervisor.readings import Channel, ContactorState, Reading, Readings
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit, CueView, GuidanceView, RestView, Urgency

PROGRESS_EVERY_S = 60.0
TEMPERATURES_EVERY_S = 10.0
COUNTED_EVERY_S = 1.0
FINE_AFTER_OPEN_S = 600.0
# Worth every window of the minute around them.
CLOSE_UP = {"closed", "opened", "paused", "resumed", "finished", "trip", "opening", "stage"}
CUE_ENDED_AFTER_S = 60.0  # one that flickers has not ended
HOUR_S = 3600.0


class Sink(Protocol):
    """Where records go. ``put`` neither blocks nor raises."""

    @property
    def health(self) -> Health: ...

    def put(self, record: Record) -> None: ...

    def counted(self) -> str:
        """The newest ``Counted`` from before this start; empty when that is not known. Read anew,
        from the disk. Does not raise."""
        ...

    def close(self) -> None: ...


class NoJournal:
    """For drills and tests that keep no record."""

    health = Health()

    def put(self, record: Record) -> None: ...

    def counted(self) -> str:
        return ""

    def close(self) -> None: ...


class Recorder:
    """Of one loop."""

    def __init__(self, sink: Sink, clock: Clock) -> None:
        self._sink, self._clock = sink, clock
        self._closed_at_s: float | None = None
        self._opened_at_s: float | None = None
        self._is_in_session = False
        self._may_go_on = True  # one from before this start
        self._next_progress_s = self._next_temperatures_s = self._next_counted_s = 0.0
        self._stage = "none"
        self._cues: dict[str, tuple[CueView, float]] = {}  # and when it was seen last
        self._rest_state = ""

    @property
    def health(self) -> Health:
        return self._sink.health

    def begin(self, settings: SupervisorSettings, *, is_simulated: bool) -> None:
        text = settings.model_dump_json()
        mono_s, wall_s = self._now()
        self._sink.put(Run(mono_s, wall_s, __version__, settings.bank.name, is_simulated, text))

    def adopt(self, settings: SupervisorSettings) -> None:
        """Others are in force."""
        if self._is_in_session:
            text = (
                f"profile {settings.profile} comes into force: nothing more is measured for this "
                "session until it goes on"
            )
            self.note(SESSION_LEFT, text, {"profile": settings.profile})
            self._sink.put(SessionLeft(*self._now()))
        self._sink.put(SettingsInForce(*self._now(), settings.profile, settings.model_dump_json()))
        self._is_in_session = self._may_go_on = False

    def note(self, code: str, text: str, data: Mapping[str, Value]) -> None:
        """An event, from the logbook."""
        self._sink.put(Event(*self._now(), code, text, dict(data), code in CLOSE_UP))
        if code == FOUND_AT_START and data.get("ended_unseen"):
            self._sink.put(UnseenEnd(*self._now(), text, str(data.get("remedy", ""))))

    def close(self) -> None:
        self._sink.close()

    # --- in every cycle

    def take(
        self, readings: Readings, circuit: Circuit, in_force: InForce, view: GuidanceView | None
    ) -> None:
        """``view`` is new once a second or so, None in between."""
        now_s = self._clock.now_s()
        if view is not None:
            self._note_changes(view)
        if not self._is_in_session or not readings.window_is_new:
            return
        self._sink.put(self._window(readings, self._is_fine(circuit, now_s)))
        if now_s >= self._next_progress_s:
            self._next_progress_s = now_s + PROGRESS_EVERY_S
            self._sink.put(self._progress(circuit, in_force, now_s))
        if now_s >= self._next_temperatures_s:
            self._next_temperatures_s = now_s + TEMPERATURES_EVERY_S
            for probe in readings.probes.values():
                self._sink.put(Temperature(*self._now(), probe.probe, probe.celsius))

    def count(self, text: Callable[[], str]) -> None:
        """While it counts: what would be lost if this ended now."""
        now_s = self._clock.now_s()
        if self._is_in_session and now_s >= self._next_counted_s:
            self._next_counted_s = now_s + COUNTED_EVERY_S
            self._sink.put(Counted(*self._now(), text()))

    def follow(self, contactor: ContactorState, in_force: InForce) -> bool:
        """Sessions, as the tally counts them; before it counts the time since a closing. Whether
        one has just ended."""
        now_s, settings = self._clock.now_s(), in_force.settings
        if contactor.told_to_close:
            if contactor.told_at_s != self._closed_at_s:
                self._closed_at_s, self._is_in_session = contactor.told_at_s, True
                self._may_go_on = False
                self._next_progress_s = 0.0
                in_force.tally.follow(contactor)
                cells, is_new = settings.bank.cells_in_parallel, in_force.tally.is_new
                self._sink.put(Closing(*self._now(), is_new, cells, settings.profile))
            return False
        if self._closed_at_s is not None:
            self._closed_at_s, self._next_progress_s = None, 0.0
            self._opened_at_s = contactor.told_at_s
        if self._opened_at_s is None:
            self._opened_at_s = now_s  # at the latest: how long before this start, nobody knows
        is_long = now_s - self._opened_at_s >= settings.session.new_after_open_hours * HOUR_S
        has_one = self._is_in_session or (self._may_go_on and not in_force.tally.is_new)
        if is_long and has_one:
            self._is_in_session = self._may_go_on = False
            self._sink.put(SessionEnd(*self._now()))
            in_force.tally.end_session()
        return is_long and has_one

    def _is_fine(self, circuit: Circuit, now_s: float) -> bool:
        if circuit in (Circuit.CLOSED, Circuit.PAUSED) or self._rest_state == "watching":
            return True
        return now_s - (self._opened_at_s or now_s) < FINE_AFTER_OPEN_S

    def _note_changes(self, view: GuidanceView) -> None:
        if view.stage != self._stage:
            self.note("stage", f"{self._stage} to {view.stage}", {"stage": view.stage})
            self._stage = view.stage
        self._note_cues(view.cues, self._clock.now_s())
        state = view.rest.state if view.rest else ""
        if view.rest and state not in (self._rest_state, "watching"):
            self._note_rest(view.rest)
        self._rest_state = state

    def _note_cues(self, cues: Sequence[CueView], now_s: float) -> None:
        for cue in cues:
            before, _ = self._cues.get(cue.cue, (None, 0.0))
            if before is None or before.urgency != cue.urgency:
                data = {"cue": cue.cue, "urgency": cue.urgency, "reason": cue.reason}
                is_close = cue.urgency == Urgency.NOW.value
                self._sink.put(Event(*self._now(), "cue", cue.text, data, is_close))
            self._cues[cue.cue] = (cue, now_s)
        for name, (cue, seen_s) in list(self._cues.items()):
            if now_s - seen_s > CUE_ENDED_AFTER_S:
                del self._cues[name]
                self.note("cue_ended", cue.text, {"cue": name})

    def _note_rest(self, rest: RestView) -> None:
        data: dict[str, Value] = {
            "state": rest.state,
            "front_v": rest.front_v,
            "lag_v": rest.lag_v,
            "fall_v_per_h": rest.fall_v_per_h,
            "for_s": rest.for_s,
        }
        findings = f": {'; '.join(rest.findings)}" if rest.findings else ""
        self.note("rest", f"rest check {rest.state}{findings}", data)

    # --- records

    def _now(self) -> tuple[float, float]:
        return self._clock.now_s(), self._clock.wall().timestamp()

    def _window(self, readings: Readings, is_fine: bool) -> Window:
        window = readings.window or {}
        is_good = all(reading.good_value is not None for reading in window.values())
        front, far, shunt = (
            _span(window.get(channel))
            for channel in (Channel.FRONT_CELL, Channel.FAR_CELL, Channel.SHUNT)
        )
        return Window(*self._now(), front, far, shunt, is_good, is_fine)

    def _progress(self, circuit: Circuit, in_force: InForce, now_s: float) -> Progress:
        tally = in_force.tally
        view = in_force.guide.view(now_s) if in_force.guide else None
        return Progress(
            *self._now(),
            circuit=circuit.value,
            stage=view.stage if view else "none",
            charged_ah=tally.charge_ah,
            charged_u_ah=tally.charge_u_ah,
            charged_wh=tally.energy_wh,
            is_whole=tally.is_whole,
            zero_a=tally.zero_a,
            at_rest_v=view.at_rest_v if view else None,
            resistance_ohm=view.resistance_ohm if view else None,
        )


def _span(reading: Reading | None) -> Span:
    if reading is None or reading.good_value is None:
        return UNKNOWN
    return Span(reading.good_value, reading.low, reading.high)
