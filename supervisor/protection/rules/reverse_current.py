"""Current out of the bank into the supply (function 32); value and limit are negative here."""

from dataclasses import replace

from supervisor.protection.debounce import Debounce
from supervisor.protection.limit_rule import WindowLimitRule
from supervisor.protection.polarity import Polarity
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Channel, Readings
from supervisor.settings.model import SupervisorSettings


class ReverseCurrentRule(WindowLimitRule):
    """The same limit for a rectifier that has failed and for swapped sense wires; see ``Polarity``
    for how they are told apart.
    """

    key = "reverse_current"
    function = "32"
    side = "below"
    remedy = (
        "right after the first closing: the shunt's sense wires are swapped; later: the rectifier "
        "has failed, so disconnect the supply from the bank before touching anything"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.reverse_current
        debounce = Debounce(rule.confirm, rule.of, rule.delay_seconds)
        super().__init__((Channel.SHUNT,), -rule.trip_amperes, debounce)
        self._polarity = Polarity(settings)

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        self._polarity.take(readings)
        verdict = super().judge(readings, now_s)
        if verdict.state not in (State.TIMING, State.TRIP):
            return verdict
        cause = self._polarity.cause()
        return replace(verdict, reason=f"{verdict.reason}: {cause.words}", remedy=cause.remedy)
