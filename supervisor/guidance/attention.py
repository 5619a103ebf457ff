"""When a cue is to be heard: when new, and again while it matters. Silenced for a while only."""

from collections import Counter
from collections.abc import Sequence
from math import inf

from supervisor.guidance.cues import RANK, Cue
from supervisor.snapshot import Sound, Urgency

OF_URGENCY = {Urgency.NOW: Sound.NOW, Urgency.SOON: Sound.SOON, Urgency.NOTE: Sound.NOTE}
LASTS_S = {Urgency.NOW: 4.0, Urgency.SOON: 2.0, Urgency.NOTE: 1.0}
AGAIN_AFTER_S = {Urgency.NOW: 15.0, Urgency.SOON: 300.0, Urgency.NOTE: inf}
GONE_AFTER_S = 60.0  # a cue that is away for less has not ended: it sounds no sooner again


class Attention:
    """Remembers what was heard, and when."""

    def __init__(self) -> None:
        self._heard: dict[str, tuple[Urgency, float]] = {}  # name: how urgent, when it began
        self._times: Counter[str] = Counter()
        self._seen_s: dict[str, float] = {}
        self._silent_until_s = -inf
        self._was_alarm = False
        self._urgent_s: dict[str, float] = {}  # when a cue was "now" last

    def silence(self, now_s: float, for_s: float) -> None:
        self._silent_until_s = now_s + for_s

    def silent_s(self, now_s: float) -> float:
        return max(0.0, self._silent_until_s - now_s)

    def sound(self, cues: Sequence[Cue], now_s: float, *, alarm: bool) -> Sound:
        """What is to be heard now. An alarm drowns every cue; silence holds for both, but a new
        alarm ends it, and so does a cue that is newly "now": it was not there to be silenced."""
        is_newly_urgent = self._is_newly_urgent(cues, now_s)
        if (alarm and not self._was_alarm) or is_newly_urgent:
            self._silent_until_s = -inf
        self._was_alarm = alarm
        self._forget(now_s)
        loudest = Sound.NONE
        for cue in reversed(cues):
            self._seen_s[cue.name] = now_s
            if self._is_due(cue, now_s):
                self._heard[cue.name] = (cue.urgency, now_s)
                self._times[cue.name] += 1
            if now_s - self._heard[cue.name][1] < LASTS_S[cue.urgency]:
                loudest = OF_URGENCY[cue.urgency]
        if self.silent_s(now_s):
            return Sound.NONE
        return Sound.ALARM if alarm else loudest

    def _is_newly_urgent(self, cues: Sequence[Cue], now_s: float) -> bool:
        names = [cue.name for cue in cues if cue.urgency is Urgency.NOW]
        never_s = -inf
        are_new = any(now_s - self._urgent_s.get(n, never_s) > GONE_AFTER_S for n in names)
        self._urgent_s.update(dict.fromkeys(names, now_s))
        return are_new

    def _is_due(self, cue: Cue, now_s: float) -> bool:
        if self.silent_s(now_s):
            self._heard.setdefault(cue.name, (cue.urgency, -inf))
            return False
        urgency, heard_s = self._heard.get(cue.name, (cue.urgency, -inf))
        if self._times[cue.name] >= cue.most_sounds:
            return False
        more_urgent = RANK[cue.urgency] < RANK[urgency]
        again_s = AGAIN_AFTER_S[cue.urgency]
        return more_urgent or heard_s == -inf or now_s - heard_s >= again_s

    def _forget(self, now_s: float) -> None:
        for name, seen_s in list(self._seen_s.items()):
            if now_s - seen_s > GONE_AFTER_S:
                del self._seen_s[name]
                self._heard.pop(name, None)
                del self._times[name]
