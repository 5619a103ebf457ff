"""Current out of the bank into the supply (function 32); value and limit are negative here."""

from supervisor.protection.debounce import Debounce
from supervisor.protection.limit_rule import WindowLimitRule
from supervisor.readings import Channel
from supervisor.settings.model import SupervisorSettings


class ReverseCurrentRule(WindowLimitRule):
    key = "reverse_current"
    function = "32"
    side = "below"
    meaning = ": it flows out of the bank, or the shunt's sense wires are swapped"
    remedy = (
        "right after the first closing: the shunt's sense wires are swapped; later: the rectifier "
        "has failed, so disconnect the supply from the bank before touching anything"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.reverse_current
        debounce = Debounce(rule.confirm, rule.of, rule.delay_seconds)
        super().__init__((Channel.SHUNT,), -rule.trip_amperes, debounce)
