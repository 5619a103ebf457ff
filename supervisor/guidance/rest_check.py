"""The rest after a full charge: does the voltage stay, and do front and far cell agree?

It is the proof that the balance took: a cell that is not full pulls its end of the bank down, one
that discharges itself goes on falling.
"""

from collections.abc import Iterator
from enum import Enum

from supervisor.guidance.seconds import Second
from supervisor.guidance.words import millivolts
from supervisor.protection.slope import SlidingSlope
from supervisor.protection.wording import amount
from supervisor.settings.charge import Rest
from supervisor.snapshot import RestView

SLOPE_SHARE = 0.25  # of the time: its last part, when the fast relaxation is over
PER_HOUR = 3600.0
LONGEST_GAP_S = 60.0


class State(Enum):
    WATCHING = "watching"
    PASSED = "passed"
    FAILED = "failed"


class RestCheck:
    """Second by second, from the opening on."""

    def __init__(self, rest: Rest, opened_at_s: float) -> None:
        self._rest = rest
        self._of_s = 60.0 * rest.minutes
        self._opened_at_s = self._seen_at_s = opened_at_s
        over_s = SLOPE_SHARE * self._of_s
        self._falls: dict[str, SlidingSlope] = {}
        self._over_s = over_s
        self._second: Second | None = None
        self._gap_s = 0.0
        self.state = State.WATCHING
        self._findings: tuple[str, ...] = ()

    def take(self, second: Second) -> None:
        if self.state is not State.WATCHING:
            return
        self._gap_s = max(self._gap_s, second.at_s - self._seen_at_s)
        self._second, self._seen_at_s = second, second.at_s
        for cell, volts in second.volts.items():
            slope = self._falls.setdefault(cell.words, SlidingSlope(self._over_s))
            slope.add(second.at_s, volts)
        if second.at_s - self._opened_at_s >= self._of_s:
            self._findings = tuple(self._wrong(second))
            self.state = State.FAILED if self._findings else State.PASSED

    def _wrong(self, second: Second) -> Iterator[str]:
        rest = self._rest
        for cell, volts in second.volts.items():
            told = f"{cell.words} rests at {amount(volts, 'V')}"
            if volts < rest.lowest_volts:
                yield f"{told}, below {amount(rest.lowest_volts, 'V')}: it is not full"
            elif volts > rest.highest_volts:
                yield f"{told}, above {amount(rest.highest_volts, 'V')}: it has not come to rest"
            fall_v = self._fall_v_per_h(cell.words)
            if fall_v is None:
                yield f"how fast the {cell.words} falls could not be told: watch it with a meter"
            elif fall_v * 1000 > rest.fall_millivolts_per_hour:
                yield (
                    f"{cell.words} still falls by {millivolts(fall_v)} an hour, more than "
                    f"{rest.fall_millivolts_per_hour:g}: it may discharge itself"
                )
        lag_v = second.lag_v(0.0)
        if lag_v is not None and abs(lag_v) > rest.spread_volts:
            yield (
                f"front and far cell differ by {millivolts(abs(lag_v))}, more than "
                f"{millivolts(rest.spread_volts)}: the balance did not take"
            )
        if self._gap_s > LONGEST_GAP_S:
            yield f"nothing could be read for {self._gap_s:.0f} s: watch it again with a meter"

    def _fall_v_per_h(self, cell: str) -> float | None:
        fit = self._falls[cell].fit() if cell in self._falls else None
        return None if fit is None else -fit.slope * PER_HOUR

    def view(self) -> RestView:
        second = self._second
        falls = [self._fall_v_per_h(cell) for cell in self._falls]
        return RestView(
            state=self.state.value,
            for_s=self._seen_at_s - self._opened_at_s,
            of_s=self._of_s,
            front_v=second.front_v if second else None,
            lag_v=second.lag_v(0.0) if second else None,
            fall_v_per_h=max((fall for fall in falls if fall is not None), default=None),
            findings=self._findings,
        )
