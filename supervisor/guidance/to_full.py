"""How far it is to full: what is met and what is missing, how long the current will still fade."""

from supervisor.guidance.completion import Completion
from supervisor.guidance.fading import Fading
from supervisor.guidance.seconds import Second
from supervisor.guidance.tally import Tally
from supervisor.settings.charge import Full
from supervisor.settings.model import SupervisorSettings


class ToFull:
    """Second by second, while closed."""

    def __init__(self, settings: SupervisorSettings, full: Full) -> None:
        self._largest_zero_a = settings.protection.sensing.zero_amperes  # of a shunt still unknown
        self.completion = Completion(settings)
        self.fading = Fading(full.end_amperes, 60 * full.minutes)
        self._small_since_s: float | None = None

    def begin(self, *, anew: bool) -> None:
        """With each closing; ``anew``: with one that somebody asked for."""
        self._small_since_s = None
        if anew:
            self.completion.begin()
            self.fading.begin()

    def take(self, second: Second, tally: Tally, now_s: float, *, is_hold: bool) -> None:
        self.completion.take(
            second,
            tally.charge_ah,
            now_s,
            zero_a=self._largest_zero_a if tally.zero_a is None else tally.zero_a,
            is_whole=tally.is_whole,
        )
        if not (is_hold and self.completion.current_is_small):
            self._small_since_s = None
        elif self._small_since_s is None:
            self._small_since_s = now_s
        if is_hold:
            most_a = second.amperes + second.unsure_a
            self.fading.take(second.at_s, most_a, self.completion.left_s)
        else:
            self.fading.begin()

    def small_for_s(self, now_s: float) -> float:
        """So long the current of the hold has been below its end, whatever else is missing."""
        return 0.0 if self._small_since_s is None else now_s - self._small_since_s
