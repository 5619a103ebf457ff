"""A clock whose time passes only while somebody sleeps on it."""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

WALL_START = datetime(2026, 1, 1, tzinfo=UTC)
AHEAD_S = 0.002  # shorter real sleeps cost more than they are worth
BEHIND_S = 0.05  # a computer that was slower than this does not race to catch up


class SimulatedClock:
    """Virtual time: ``sleep_until`` advances it at once and rings the alarms on the way.

    Alarms ring in the order of their times, each exactly at its time; an alarm set for the past
    rings at the next sleep, before any time passes. What an alarm does may sleep in turn.
    Without ``speed`` time runs as fast as the computer can; with it, at most ``speed`` times
    as fast as real time. No threads.
    """

    def __init__(
        self,
        start_s: float = 0.0,
        speed: float | None = None,
        wall_start: datetime = WALL_START,
    ) -> None:
        self._now_s = start_s
        self._start_s = start_s
        self._wall_start = wall_start
        self._armed: list[SimulatedAlarm] = []
        self._next_ring_s = float("inf")
        self._oversleep_s = 0.0
        self._alarms_oversleep = False
        self.stood_still_until_s = -float("inf")
        """The end of the last stall of the whole process."""
        self._speed: float | None = None
        self.speed = speed

    @property
    def speed(self) -> float | None:
        """Virtual seconds per real second at most; None for as fast as possible."""
        return self._speed

    @speed.setter
    def speed(self, speed: float | None) -> None:
        if speed is not None and speed <= 0:
            raise ValueError(f"speed {speed} must be above 0")
        self._speed = speed
        self._anchor()

    def now_s(self) -> float:
        return self._now_s

    def wall(self) -> datetime:
        return self._wall_start + timedelta(seconds=self._now_s - self._start_s)

    def step_wall(self, seconds: float) -> None:
        """What a time sync does: the wall clock jumps, the monotonic one does not."""
        self._wall_start += timedelta(seconds=seconds)

    def stall(self, seconds: float, *, alarms_too: bool = False) -> None:
        """The next sleep lasts so much longer: the sleeper is not scheduled.

        With ``alarms_too`` the whole process stands still, and its alarms ring late, after it.
        """
        self._oversleep_s += seconds
        self._alarms_oversleep = self._alarms_oversleep or alarms_too

    def sleep_until(self, at_s: float) -> None:
        if self._oversleep_s:
            at_s = self._take_oversleep(at_s)
        while self._next_ring_s <= at_s:
            self._ring_next()
        self._advance(at_s)
        if self._speed is not None:
            self._throttle(self._speed)

    def alarm(self, act: Callable[[], None]) -> "SimulatedAlarm":
        return SimulatedAlarm(self, act)

    def forget_alarms(self) -> None:
        """Who set them is dead, and sleeps no longer."""
        self._oversleep_s, self._alarms_oversleep = 0.0, False
        for alarm in list(self._armed):
            alarm.cancel()

    def _advance(self, at_s: float) -> None:
        self._now_s = max(self._now_s, at_s)

    def _take_oversleep(self, at_s: float) -> float:
        at_s = max(at_s, self._now_s) + self._oversleep_s
        if self._alarms_oversleep:
            self._advance(at_s)
            self.stood_still_until_s = at_s
        self._oversleep_s, self._alarms_oversleep = 0.0, False
        return at_s

    def _ring_next(self) -> None:
        alarm = min(self._armed, key=_ring_time)
        self._advance(alarm.at_s)
        alarm.cancel()
        alarm.act()

    def _rearm(self) -> None:
        self._next_ring_s = min(map(_ring_time, self._armed), default=float("inf"))

    def _throttle(self, speed: float) -> None:
        due_s = self._anchor_real_s + (self._now_s - self._anchor_s) / speed
        ahead_s = due_s - time.monotonic()
        if ahead_s > AHEAD_S:
            time.sleep(ahead_s)
        elif ahead_s < -BEHIND_S:
            self._anchor()

    def _anchor(self) -> None:
        self._anchor_s, self._anchor_real_s = self._now_s, time.monotonic()


class SimulatedAlarm:
    """A deadline on a SimulatedClock."""

    def __init__(self, clock: SimulatedClock, act: Callable[[], None]) -> None:
        self._clock = clock
        self.act = act
        self.at_s = float("inf")

    def set(self, at_s: float) -> None:
        if self.at_s == float("inf"):
            self._clock._armed.append(self)
        self.at_s = at_s
        self._clock._rearm()

    def cancel(self) -> None:
        if self.at_s != float("inf"):
            self._clock._armed.remove(self)
            self.at_s = float("inf")
            self._clock._rearm()

    def close(self) -> None:
        self.cancel()


def _ring_time(alarm: SimulatedAlarm) -> float:
    return alarm.at_s
