"""The pulsed hold: when to open, and when it may close again by itself. Off unless in the settings.

It only asks. Whether the circuit closes is the guard's to say, as at every closing: no rule may
trip, time or doubt. What is counted here bounds how often it may ask at all.
"""

from collections import deque

from supervisor.guidance.seconds import LONGEST_S, Second
from supervisor.guidance.words import span
from supervisor.protection.session import SessionCount
from supervisor.protection.wording import amount, beside
from supervisor.settings.charge import PulsedHold
from supervisor.snapshot import PulsesView, Stage

HOUR_S = 3600.0
SHOWN = 12


class Pulses:
    """``ended`` says why it will not close again, empty while it may.

    ``made`` counts the closings by itself, of the whole session. A closing by hand gives no new
    allowance of these, in the session or in the hour.
    """

    def __init__(
        self, settings: PulsedHold, end_a: float, full_s: float, made: SessionCount
    ) -> None:
        self._settings = settings
        self._end_a, self._full_s = end_a, full_s
        self._made = made
        self._reclosed_at_s: deque[float] = deque()  # within the hour
        self.begin()

    def begin(self) -> None:
        """With each closing that somebody asked for: somebody was there, and its hours are new."""
        self._closed_at_s: float | None = None
        self._opened_at_s: float | None = None
        self._charge_as = 0.0  # of the pulse under way
        self._lengths_s: deque[float] = deque(maxlen=SHOWN)
        self._began_s: float | None = None  # its first opening
        self._small_since_s: float | None = None
        self._seen_s: float | None = None  # at rest
        self._has_flowed = False
        self._waits_for = ""
        self.ended = ""
        self.is_full = False

    @property
    def is_under_way(self) -> bool:
        return self._began_s is not None

    def closed(self, now_s: float) -> None:
        """The circuit has closed: asked for by somebody, or again by itself."""
        if self._opened_at_s is not None:
            self._made.add(1)
            self._reclosed_at_s.append(now_s)
        self._closed_at_s, self._charge_as, self._waits_for = now_s, 0.0, ""
        self._small_since_s = None

    def wants_to_open(self, second: Second, stage: Stage) -> str:
        """Why this pulse ends now; empty while it goes on."""
        self._charge_as += max(second.amperes, 0.0)
        self._has_flowed |= second.amperes > second.unsure_a
        above_v = self._settings.open_above_volts
        if (stage is not Stage.HOLD and not self.is_under_way) or second.highest_v <= above_v:
            return ""
        return f"pulsed hold: {beside(second.highest_v, above_v, 'V')} is above {above_v:g} V"

    def opened(self, now_s: float) -> None:
        """The circuit was opened for it."""
        self._opened_at_s = now_s
        self._began_s = now_s if self._began_s is None else self._began_s
        if self._closed_at_s is not None:
            self._lengths_s.append(now_s - self._closed_at_s)

    def _look_at_mean(self, second: Second, now_s: float) -> None:
        """Full: the newest pulse, spread over the time since it began, is next to nothing, and the
        voltage stays up: what is not let close for another reason is no sign of it."""
        if self._closed_at_s is None or now_s <= self._closed_at_s:
            return
        seen_s, self._seen_s = self._seen_s, now_s
        if seen_s is None or now_s - seen_s > LONGEST_S:  # nobody knows what it did meanwhile
            self._small_since_s = None
        mean_a = self._charge_as / (now_s - self._closed_at_s)
        if not self._has_flowed or mean_a >= self._end_a or not self._stays_up(second):
            self._small_since_s = None
        elif self._small_since_s is None:
            self._small_since_s = now_s
        small_s = 0.0 if self._small_since_s is None else now_s - self._small_since_s
        self.is_full = small_s >= self._full_s

    def may_close(self, second: Second, now_s: float) -> bool:
        """Whether to ask for the next pulse; sets ``ended`` when there will be none."""
        assert self._opened_at_s is not None
        assert self._began_s is not None
        self._look_at_mean(second, now_s)
        set_to, rested_s = self._settings, now_s - self._opened_at_s
        if self._made.counted >= set_to.most_pulses:
            self.ended = f"{self._made.counted:.0f} pulses in this session: that is what is allowed"
        elif now_s - self._began_s >= set_to.most_hours * HOUR_S:
            self.ended = f"{set_to.most_hours:g} h of pulses: that is what is allowed"
        elif rested_s >= set_to.most_rest_minutes * 60:
            self.ended = (
                f"{amount(second.highest_v, 'V')} after {span(rested_s)}: it does not fall below "
                f"{amount(set_to.close_below_volts, 'V')}, where another pulse may begin"
            )
        self._waits_for = "" if self.ended else self._wait(second, rested_s, now_s)
        return not (self.ended or self._waits_for)

    def _wait(self, second: Second, rested_s: float, now_s: float) -> str:
        set_to = self._settings
        while self._reclosed_at_s and now_s - self._reclosed_at_s[0] >= HOUR_S:
            self._reclosed_at_s.popleft()
        if self._stays_up(second):
            return (
                f"{amount(second.highest_v, 'V')} to fall below "
                f"{amount(set_to.close_below_volts, 'V')}"
            )
        if rested_s < set_to.least_rest_seconds:
            return f"a rest of {set_to.least_rest_seconds:g} s"
        if len(self._reclosed_at_s) >= set_to.most_per_hour:
            return f"the hour in which it closed {set_to.most_per_hour} times to be over"
        return ""

    def _stays_up(self, second: Second) -> bool:
        """What is no number has not fallen."""
        below_v = self._settings.close_below_volts
        return not all(volts < below_v for volts in second.volts.values())

    def view(self) -> PulsesView:
        most, lengths_s = self._settings.most_pulses, tuple(self._lengths_s)
        return PulsesView(round(self._made.counted), most, lengths_s, self._waits_for)
