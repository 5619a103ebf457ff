"""What the limits of a session share: counted while closed, forecast, kept over a restart."""

from supervisor.protection.session import SECONDS_PER_HOUR, SessionCount
from supervisor.protection.verdict import Memory, State, Verdict
from supervisor.protection.wording import amount
from supervisor.readings import Channel, Reading, Readings
from supervisor.settings.model import SupervisorSettings

NEARLY = 0.9  # of the limit: timing from here on


class SessionRule:
    """Trips when a session has added up to its limit.

    Clear while the contactor is open, whatever was counted: the reset of a trip must be possible,
    and the next closing begins a new session. ``measured`` and ``limit`` are in ``unit``.
    """

    key: str
    function = ""  # the standard has no number for a session
    remedy: str
    unit: str
    doing: str  # how the amount is said: "charged 12.0 Ah"

    def __init__(self, settings: SupervisorSettings, limit: float) -> None:
        new_after_open_s = settings.session.new_after_open_hours * SECONDS_PER_HOUR
        self._session = SessionCount(new_after_open_s, settings.loop.window_s)
        self._limit = limit
        self._flaw = ""  # why the newest window says nothing
        self._near_since_s: float | None = None
        self._last: Verdict | None = None  # nothing adds up between two windows

    def _rate(self, window: dict[Channel, Reading]) -> float | str:
        """What counts, per hour, in this window; or why that is not known."""
        raise NotImplementedError

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        if not self._session.follow(readings.contactor):
            self._flaw, self._last = "", None
            reason = f"the contactor is open, {self._so_far()}"
            return self._verdict(State.CLEAR, None, reason)
        if readings.window is not None and readings.window_is_new:
            self._count(readings.window, now_s)
            self._last = None
        if self._last is None:
            self._last = self._compare(now_s)
        return self._last

    def _count(self, window: dict[Channel, Reading], now_s: float) -> None:
        rate = self._rate(window)
        if isinstance(rate, str):
            self._flaw = rate
        else:
            self._flaw = ""
            self._session.count(rate, now_s)

    def _compare(self, now_s: float) -> Verdict:
        counted = self._session.counted
        is_near = counted >= NEARLY * self._limit
        if not is_near:
            self._near_since_s = None
        elif self._near_since_s is None:
            self._near_since_s = now_s
        left_s = self._session.left_s(self._limit)
        if counted >= self._limit:
            self._session.is_used_up = True
            reason = f"{self._so_far()}: that is the limit"
            return self._verdict(State.TRIP, 0.0, reason)
        if self._flaw:
            return self._verdict(State.CANNOT_TELL, None, self._flaw)
        state = State.TIMING if is_near else State.CLEAR
        return self._verdict(state, left_s, self._so_far())

    def _so_far(self) -> str:
        counted, limit = amount(self._session.counted, self.unit), amount(self._limit, self.unit)
        lost = "" if self._session.is_whole else "; what was not counted comes on top"
        return f"{self.doing} {counted} of {limit} in this session{lost}"

    def _verdict(self, state: State, left_s: float | None, reason: str) -> Verdict:
        since_s = self._near_since_s if state in (State.TIMING, State.TRIP) else None
        return Verdict(
            self.key,
            state,
            self._session.counted,
            self._limit,
            self.unit,
            since_s,
            reason,
            left_s=left_s,
        )

    def memory(self, now_s: float) -> Memory:  # noqa: ARG002
        return self._session.memory()

    def recall(self, memory: Memory | None, now_s: float, *, is_whole: bool) -> None:  # noqa: ARG002
        self._session.recall(memory, is_whole=is_whole)
