"""Sensing: the converter answers, but what it says cannot be true.

The division: here an answer came and cannot be believed; in ``stale`` no answer came, or an old
one.
"""

from supervisor.protection.sensing.channel_watch import ChannelWatch
from supervisor.protection.sensing.check import KEY, Check
from supervisor.protection.sensing.silent_shunt import SilentShunt
from supervisor.protection.sensing.step_answer import StepAnswer
from supervisor.protection.sensing.zero_offset import ZeroOffset
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Readings
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.model import SupervisorSettings


class SensingRule:
    """Trips when a channel gives no believable value for too long, or when what two channels say
    cannot both be true. What is wrong, and what to do about it, says the check that found it.
    """

    key = KEY
    function = ""  # the standard has no number for a doubtful measurement
    remedy = (
        "look at the sense lead, its fuse and its joints, and at the converter's supply and "
        "wiring, of the channel that is named; compare it with a meter of your own"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        limit_s = settings.protection.sensing.trip_after_seconds
        self._checks: list[Check] = [
            *(ChannelWatch(c, wiring, limit_s) for c, wiring in fitted_channels(settings).items()),
            ZeroOffset(settings),
            StepAnswer(settings),
            SilentShunt(settings),
        ]
        reason = "every answer is believable"
        self._clear = Verdict(self.key, State.CLEAR, 0.0, limit_s, "s", None, reason)

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        asked = [check.judge(readings, now_s) for check in self._checks]
        objections = [verdict for verdict in asked if verdict is not None]
        if not objections:
            return self._clear
        return next((v for v in objections if v.state is State.TRIP), objections[0])
