"""Mean over whole mains cycles too high, for a time (function 59)."""

from supervisor.protection.debounce import Debounce
from supervisor.protection.limit_rule import WindowLimitRule
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings


class OvervoltageRule(WindowLimitRule):
    key = "overvoltage"
    function = "59"
    remedy = (
        "turn the knob down, let the cells rest, and measure front and far cell with a meter of "
        "your own before charging on with less current"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.overvoltage
        debounce = Debounce(rule.confirm, rule.of, rule.delay_seconds)
        super().__init__(fitted_cells(settings), rule.trip_volts, debounce)
