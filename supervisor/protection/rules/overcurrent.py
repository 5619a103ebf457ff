"""Mean current above what supply, leads or shunt bear, definite time (function 76)."""

from supervisor.protection.debounce import Debounce
from supervisor.protection.limit_rule import WindowLimitRule
from supervisor.readings import Channel
from supervisor.settings.model import SupervisorSettings


class OvercurrentRule(WindowLimitRule):
    key = "overcurrent"
    function = "76"
    remedy = (
        "turn the knob down and let rectifier, leads and joints cool; look for a short circuit, "
        "then close with the knob down and watch the current as it comes up"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.overcurrent
        debounce = Debounce(rule.confirm, rule.of, rule.delay_seconds)
        super().__init__((Channel.SHUNT,), rule.trip_amperes, debounce)
