"""Held near the limit for longer than the last cells take."""

from supervisor.protection.believed import believed
from supervisor.protection.session_rule import SessionRule
from supervisor.protection.wording import amount, flaw
from supervisor.readings import Channel, Reading
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings


class SessionHoldRule(SessionRule):
    """Counts the time with a cell above ``above_volts``."""

    key = "session_hold"
    remedy = (
        "turn the knob down and let the bank rest: a tiny current held up to the limit overcharges "
        "it; look for the cell that takes it, and for bars or joints that keep current from others"
    )
    unit = "h"

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.session_hold
        assert rule is not None
        self._above_v = rule.above_volts
        self._cells = fitted_cells(settings)
        self.doing = f"held above {amount(rule.above_volts, 'V')} for"
        super().__init__(settings, rule.trip_hours)

    def _rate(self, window: dict[Channel, Reading]) -> float | str:
        volts = {cell: believed(window.get(cell)) for cell in self._cells}
        if any(value is not None and value > self._above_v for value in volts.values()):
            return 1.0
        for cell, value in volts.items():
            if value is None:
                return f"no good reading, {flaw(cell, window.get(cell))}"
        return 0.0
