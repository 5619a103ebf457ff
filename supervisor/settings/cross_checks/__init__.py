"""Settings that are right one by one and wrong together."""

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.currents import current_checks
from supervisor.settings.cross_checks.permission import permission_checks
from supervisor.settings.cross_checks.pins import pin_checks
from supervisor.settings.cross_checks.timing import timing_checks
from supervisor.settings.cross_checks.voltages import voltage_checks
from supervisor.settings.cross_checks.wiring import wiring_checks
from supervisor.settings.model import SupervisorSettings


def contradictions(settings: SupervisorSettings) -> list[Contradiction]:
    """Everything in these settings that contradicts something else in them."""
    checks = (
        permission_checks,
        wiring_checks,
        pin_checks,
        voltage_checks,
        current_checks,
        timing_checks,
    )
    return [found for check in checks for found in check(settings)]


__all__ = ["Contradiction", "contradictions"]
