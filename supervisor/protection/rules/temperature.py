"""A probe above or below what its part bears (function 26)."""

from collections.abc import Iterator
from math import inf
from typing import Literal, NamedTuple

from supervisor.protection.debounce import Debounce
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import amount, beside
from supervisor.readings import Place, ProbeReading, Quality, Readings
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import Temperature

UNIT = "°C"
CONFIRM, OF = 2, 3  # answers, about one a second: a single odd one neither trips nor saves
NEAR_HOT_K = 10.0
GRAVITY = (State.CLEAR, State.TIMING, State.CANNOT_TELL, State.TRIP)


class _Limit(NamedTuple):
    """What one place may not pass, and what to do about it."""

    key: str
    place: Place
    side: Literal["above", "below"]
    meaning: str  # of being past it, after the numbers
    remedy: str


LIMITS = (
    _Limit(
        "heat_sink_above_celsius", Place.HEAT_SINK, "above", "",
        "let the heat sink cool down; look for dust, a fan that stands still and loose screws at "
        "the rectifier, and charge with less current",
    ),
    _Limit(
        "transformer_above_celsius", Place.TRANSFORMER, "above", "",
        "let the transformer cool down, which takes long; give it air, and charge with less "
        "current",
    ),
    _Limit(
        "cells_above_celsius", Place.CELLS, "above", "",
        "keep away until it cools down by itself; then look for a cell that is swollen, leaks or "
        "is warmer than the others, and for a loose joint beside the probe",
    ),
    _Limit(
        "cells_below_celsius", Place.CELLS, "below", ": charging so cold plates lithium",
        "warm the room, and wait until the cells are warm inside as well, which takes hours",
    ),
)  # fmt: skip


class TemperatureRule:
    """Trips on the worst of all probes and limits; ``measured`` and ``limit`` are that one's.

    An answer counts until it is ``lost_after_seconds`` old; then the rule cannot tell. Answers that
    fail meanwhile change nothing: they neither end a timing nor complete one. It does not matter
    whether the contactor is closed: nobody shall close on a hot rectifier or on frozen cells.
    """

    key = "temperature"
    function = "26"
    remedy = (
        "look at the supply, wires and address of the probe that is named, and at the log; the "
        "one-wire probes that the kernel sees are listed below /sys/bus/w1/devices"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        self._watches = tuple(_watches(settings))
        self._last: Verdict | None = None

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        """Once a window: often enough for answers that come once a second."""
        if readings.window_is_new or self._last is None:
            self._last = self._decide(readings, now_s)
        return self._last

    def _decide(self, readings: Readings, now_s: float) -> Verdict:
        for watch in self._watches:
            watch.look(readings.probes.get(watch.probe), now_s)
        worst = max(self._watches, key=lambda watch: watch.gravity(now_s), default=None)
        if worst is None:
            reason = "no probe has a limit"
            return Verdict(self.key, State.CANNOT_TELL, None, 0.0, UNIT, None, reason)
        return worst.verdict(now_s)


def _watches(settings: SupervisorSettings) -> "Iterator[_Watch]":
    rule = settings.protection.temperature
    if rule is None:
        return
    for limit in LIMITS:
        if (celsius := getattr(rule, limit.key)) is not None:
            for name, probe in settings.probes.items():
                if probe.place == limit.place.value:
                    yield _Watch(name, limit, celsius, rule)


class _Watch:
    """One probe against one limit."""

    def __init__(self, probe: str, limit: _Limit, celsius: float, rule: Temperature) -> None:
        self.probe = probe
        self._limit = limit
        self._limit_c = celsius
        self._sign = 1.0 if limit.side == "above" else -1.0
        self._delay_s = rule.delay_seconds
        self._lost_s = rule.lost_after_seconds
        self._debounce = Debounce(CONFIRM, OF, rule.delay_seconds)
        self._celsius: float | None = None  # of the last answer that was good
        self._taken_at_s = -inf
        self._quality = Quality.NO_ANSWER  # of the newest answer, good or not

    def look(self, reading: ProbeReading | None, now_s: float) -> None:
        """Take an answer, once, if it may be believed."""
        self._quality = Quality.NO_ANSWER if reading is None else reading.quality
        if reading is None or reading.celsius is None or not reading.quality.is_good:
            return
        is_new = self._taken_at_s < reading.taken_at_s <= now_s
        if is_new and -inf < reading.celsius < inf:
            self._celsius, self._taken_at_s = reading.celsius, reading.taken_at_s
            self._debounce.update(self._excess_k() > 0, reading.taken_at_s)

    def gravity(self, now_s: float) -> tuple[int, bool, float]:
        """To find the worst of all: by state, then hot cells before all else, as they burn, then by
        kelvins past the limit."""
        is_of_cells = self._limit.place is Place.CELLS and self._limit.side == "above"
        has_hot_cells = is_of_cells and self._excess_k() > -NEAR_HOT_K
        return GRAVITY.index(self._state(now_s)), has_hot_cells, self._excess_k()

    def verdict(self, now_s: float) -> Verdict:
        state = self._state(now_s)
        is_past = state in (State.TIMING, State.TRIP)
        return Verdict(
            rule=TemperatureRule.key,
            state=state,
            measured=None if state is State.CANNOT_TELL else self._celsius,
            limit=self._limit_c,
            unit=UNIT,
            since_s=self._debounce.since_s if is_past else None,
            reason=self._reason(state, now_s),
            remedy=self._limit.remedy if is_past else "",
            left_s=self._left_s(now_s) if state is State.TIMING else None,
        )

    def _left_s(self, now_s: float) -> float | None:
        since_s = self._debounce.since_s
        return None if since_s is None else max(0.0, since_s + self._delay_s - now_s)

    def _state(self, now_s: float) -> State:
        if self._debounce.is_tripped:
            return State.TRIP
        if self._is_lost(now_s):
            return State.CANNOT_TELL
        return State.CLEAR if self._debounce.since_s is None else State.TIMING

    def _is_lost(self, now_s: float) -> bool:
        return now_s - self._taken_at_s > self._lost_s

    def _excess_k(self) -> float:
        return -inf if self._celsius is None else self._sign * (self._celsius - self._limit_c)

    def _reason(self, state: State, now_s: float) -> str:
        who = f"{self._limit.place.words} (probe {self.probe})"
        past = f"{self._limit.side} {amount(self._limit_c, UNIT)}"
        if state is State.CANNOT_TELL or self._celsius is None:
            return f"{who}: {self._flaw(now_s)}"
        since_s = self._debounce.since_s
        if since_s is None:
            return f"{who} {amount(self._celsius, UNIT)} is not {past}"
        past = f"{past} for {now_s - since_s:.1f} s"
        if self._is_lost(now_s):
            return f"{who} was {past}, now {self._flaw(now_s)}"
        if self._excess_k() > 0:
            celsius = beside(self._celsius, self._limit_c, UNIT)
            return f"{who} {celsius} is {past}{self._limit.meaning}"
        return f"{who} was {past}, now {amount(self._celsius, UNIT)}"

    def _flaw(self, now_s: float) -> str:
        """What is wrong with an answer that is missing for too long."""
        flaw = "no fresh answer" if self._quality.is_good else self._quality.value
        if self._celsius is None:
            return f"{flaw}, and no temperature so far"
        return f"{flaw}, no temperature for {now_s - self._taken_at_s:.1f} s"
