"""Mean current above what supply, leads or shunt bear, definite time (function 76)."""

from supervisor.protection.debounce import Debounce
from supervisor.protection.limit_rule import WindowLimitRule
from supervisor.readings import Channel
from supervisor.settings.model import SupervisorSettings


class OvercurrentRule(WindowLimitRule):
    key = "overcurrent"
    function = "76"
    remedy = "turn the knob down, and feel for nothing: let rectifier, leads and joints cool first"

    def __init__(self, settings: SupervisorSettings) -> None:
        ours = settings.protection.overcurrent
        debounce = Debounce(ours.confirm, ours.of, ours.delay_seconds)
        super().__init__((Channel.SHUNT,), ours.trip_amperes, debounce)
