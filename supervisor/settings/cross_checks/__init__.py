"""Settings that are right one by one and wrong together."""

from supervisor.settings.cross_checks.balance import balance_checks
from supervisor.settings.cross_checks.charge import charge_checks
from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.currents import current_checks
from supervisor.settings.cross_checks.heat import heat_checks
from supervisor.settings.cross_checks.knob import knob_checks
from supervisor.settings.cross_checks.permission import permission_checks
from supervisor.settings.cross_checks.pins import pin_checks
from supervisor.settings.cross_checks.second_line import second_line_checks
from supervisor.settings.cross_checks.sensing import sensing_checks
from supervisor.settings.cross_checks.session import session_checks
from supervisor.settings.cross_checks.temperatures import temperature_checks
from supervisor.settings.cross_checks.timing import timing_checks
from supervisor.settings.cross_checks.voltages import voltage_checks
from supervisor.settings.cross_checks.web import web_checks
from supervisor.settings.cross_checks.wiring import wiring_checks
from supervisor.settings.cross_checks.without import without_checks
from supervisor.settings.model import SupervisorSettings


def contradictions(settings: SupervisorSettings) -> list[Contradiction]:
    """Everything in these settings that contradicts something else in them."""
    checks = (
        permission_checks,
        wiring_checks,
        pin_checks,
        voltage_checks,
        second_line_checks,
        current_checks,
        sensing_checks,
        heat_checks,
        temperature_checks,
        timing_checks,
        knob_checks,
        balance_checks,
        session_checks,
        charge_checks,
        without_checks,
        web_checks,
    )
    return [found for check in checks for found in check(settings)]


__all__ = ["Contradiction", "contradictions"]
