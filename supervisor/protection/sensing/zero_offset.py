"""Zero offset: the contactor is open, and yet the shunt reads more than nothing."""

from supervisor.protection.believed import mean_after
from supervisor.protection.sensing.check import KEY
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import amount
from supervisor.readings import Channel, Readings
from supervisor.settings.model import SupervisorSettings

REMEDY = (
    "with the supply off, look at the shunt's two small screws and the twist of its sense wires, "
    "and for a second path of the current around the contactor; what is left is an offset of the "
    "converter: correct it by offset_amperes, or replace it"
)


class ZeroOffset:
    """Cannot tell the current while a mean of no current is beyond ``zero_amperes``, either way.

    The mean of a window that began after the time allowed for opening. What is beyond
    ``failed_to_open.current_amperes`` is that rule's: the contactor has not opened.
    """

    def __init__(self, settings: SupervisorSettings) -> None:
        rules = settings.protection
        self._zero_a = rules.sensing.zero_amperes
        self._flows_a = rules.failed_to_open.current_amperes
        self._within_s = rules.failed_to_open.within_seconds
        self._window_s = settings.loop.window_s

    def judge(self, readings: Readings, now_s: float) -> Verdict | None:  # noqa: ARG002  (a Check)
        contactor = readings.contactor
        if contactor.told_to_close or contactor.auxiliary_closed:
            return None
        opened_at_s = contactor.told_at_s + self._within_s
        mean_a = mean_after(readings, Channel.SHUNT, opened_at_s, self._window_s)
        if mean_a is None or not self._zero_a < abs(mean_a) <= self._flows_a:
            return None
        reason = (
            f"an offset at zero current: with the contactor open {amount(mean_a, 'A')} are read, "
            f"more than {amount(self._zero_a, 'A')}, and every limit would be off by as much"
        )
        return Verdict(KEY, State.CANNOT_TELL, mean_a, self._zero_a, "A", None, reason, REMEDY)
