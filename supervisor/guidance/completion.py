"""Is the bank full? Voltage held, next to no current, front and far agreed, charge credible."""

from collections.abc import Iterator
from math import isfinite

from supervisor.guidance.flow import Flow
from supervisor.guidance.seconds import LENGTH_S, LONGEST_S, Second
from supervisor.guidance.words import millivolts
from supervisor.protection.lost_time import LostTime
from supervisor.protection.wording import amount
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import FullView

BREAK_S = 5.0  # so long something may be missing, and a tenth of the time: a turn of the knob
MOST_OF_RATING = 1.2  # new cells hold a little more than their plate says (common practice)
MICRO = 1e-6
NO_FLOW = (
    "no current flows, or it dropped all at once: is the supply on, its fuse whole, its voltage "
    "set above that of the cells?"
)


class Completion:
    """Second by second. ``reason`` says why it is full, empty while it is not."""

    def __init__(self, settings: SupervisorSettings) -> None:
        charge = settings.charge
        assert charge is not None
        assert charge.full is not None
        self._full = charge.full
        self._hold_from_v = charge.hold_from_v
        balance, rating_ah = settings.protection.balance, settings.bank.rating_ah
        self._bars_ohm = balance.bars_microohms * MICRO if balance else 0.0
        self._least_ah = charge.full.least_percent / 100 * rating_ah
        self._most_ah = MOST_OF_RATING * rating_ah
        self._of_s = 60.0 * charge.full.minutes
        self.flow = Flow(charge.full.end_amperes)
        self.begin()

    def begin(self) -> None:
        """With each closing."""
        self._lost = LostTime(BREAK_S)
        self._seen_at_s: float | None = None
        self._for_s = 0.0
        self._is_whole = True
        self.flow.begin()
        self._is_small = False
        self._missing: tuple[str, ...] = ("no reading yet",)
        self.reason = ""

    @property
    def current_is_small(self) -> bool:
        """Surely below the end current, whatever else is missing."""
        return self._is_small

    def take(
        self,
        second: Second,
        charged_ah: float,
        now_s: float,
        zero_a: float = 0.0,
        *,
        is_whole: bool = True,
    ) -> None:
        """Only seconds in which all is met are counted; too many without begin it anew.

        ``zero_a``: what the shunt showed while nothing flowed. No current may look like one by it,
        and none may look small. ``is_whole``: nothing is missing in the charge.
        """
        self._is_whole = is_whole
        flows_a = second.amperes - max(zero_a, 0.0)
        self.flow.take(second._replace(amperes=flows_a))
        most_a = max(abs(second.amperes), abs(second.amperes - zero_a))
        self._is_small = most_a + second.unsure_a < self._full.end_amperes
        self._missing = tuple(self._lacks(second, charged_ah))
        if self._is_broken(now_s):
            self._for_s = 0.0
        if not self._missing:
            self._for_s += LENGTH_S
        if not self._missing and self._for_s >= self._of_s:
            self.reason = (
                f"held at {amount(second.highest_v, 'V')} with {amount(second.amperes, 'A')}, "
                f"below {amount(self._full.end_amperes, 'A')} for {self._full.minutes:g} min"
            )

    def _is_broken(self, now_s: float) -> bool:
        """Whether too much time is lost. Time in which nothing could be read is lost as well."""
        seen_at_s, self._seen_at_s = self._seen_at_s, now_s
        is_gap = seen_at_s is not None and now_s - seen_at_s > LONGEST_S
        in_gap = is_gap and self._lost.update(True, now_s - LENGTH_S)
        return self._lost.update(bool(self._missing), now_s) or in_gap

    def _lacks(self, second: Second, charged_ah: float) -> Iterator[str]:
        full = self._full
        if not all(map(isfinite, (*second.volts.values(), second.amperes, charged_ah))):
            yield "a value that is no number"
            return
        if second.highest_v < self._hold_from_v:
            yield (
                f"{amount(second.highest_v, 'V')} is below the hold, "
                f"{amount(self._hold_from_v, 'V')}"
            )
        if not self._is_small:
            yield (
                f"{amount(second.amperes, 'A')} (+-{second.unsure_a:.1f}) is not below "
                f"{amount(full.end_amperes, 'A')}, either way"
            )
        elif not self.flow.is_credible:
            yield NO_FLOW
        yield from self.lacks_of_the_bank(second, charged_ah)

    def lacks_of_the_bank(self, second: Second, charged_ah: float) -> Iterator[str]:
        """What is missing whatever flows: the cells agreed, the charge credible."""
        full = self._full
        lag_v = second.lag_v(self._bars_ohm)
        if lag_v is not None and abs(lag_v) > full.spread_volts:
            which = "far cell lags" if lag_v > 0 else "front cell lags"
            yield f"{which} by {millivolts(abs(lag_v))}, more than {millivolts(full.spread_volts)}"
        if charged_ah < self._least_ah and self._is_whole:
            yield (
                f"{amount(charged_ah, 'Ah')} charged, less than "
                f"{amount(self._least_ah, 'Ah')}: too little to be full"
            )
        if charged_ah > self._most_ah:
            yield f"{amount(charged_ah, 'Ah')} charged: more than the bank can hold"

    @property
    def left_s(self) -> float:
        """So long at the least until it is full."""
        return max(0.0, self._of_s - self._for_s)

    def view(self) -> FullView:
        return FullView(min(self._for_s, self._of_s), self._of_s, self._missing)
