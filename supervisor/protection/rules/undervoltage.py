"""A cell below what a live cell shows (function 27)."""

from supervisor.protection.debounce import Debounce
from supervisor.protection.limit_rule import WindowLimitRule
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings


class UndervoltageRule(WindowLimitRule):
    key = "undervoltage"
    function = "27"
    side = "below"
    remedy = (
        "measure the cell at its terminals with a meter: a cell that is really so low must not be "
        "charged like this; a cell that is not has a bad sense lead"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.undervoltage
        debounce = Debounce(rule.confirm, rule.of, rule.delay_seconds)
        super().__init__(fitted_cells(settings), rule.trip_volts, debounce)
