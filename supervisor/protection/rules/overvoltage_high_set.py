"""Single conversions far too high, at once (function 59, high set)."""

from supervisor.protection.debounce import Debounce
from supervisor.protection.limit_rule import LimitRule
from supervisor.protection.verdict import Verdict
from supervisor.readings import Readings
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings


class OvervoltageHighSetRule(LimitRule):
    key = "overvoltage_high_set"
    function = "59"
    remedy = (
        "turn the knob down; look for an opened link or a loose joint, and measure every cell "
        "with a meter of your own"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.overvoltage_high_set
        debounce = Debounce(rule.confirm, rule.of, 0.0)
        super().__init__(fitted_cells(settings), rule.trip_volts, debounce)

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        return self.decide(readings.scan, now_s)
