"""All rules, built in one place.

Their order is their priority: of several that trip in one cycle, the first names the trip. The
cells' voltage comes first, then the faults of measurement and loop that would explain the rest.
"""

from typing import Protocol

from supervisor.protection.rules.balance import BalanceRule
from supervisor.protection.rules.failed_to_close import FailedToCloseRule
from supervisor.protection.rules.failed_to_open import FailedToOpenRule
from supervisor.protection.rules.knob_speed import KnobSpeedRule
from supervisor.protection.rules.loop_overrun import LoopOverrunRule
from supervisor.protection.rules.overcurrent import OvercurrentRule
from supervisor.protection.rules.overcurrent_inverse import OvercurrentInverseRule
from supervisor.protection.rules.overvoltage import OvervoltageRule
from supervisor.protection.rules.overvoltage_high_set import OvervoltageHighSetRule
from supervisor.protection.rules.rate_of_rise import RateOfRiseRule
from supervisor.protection.rules.reverse_current import ReverseCurrentRule
from supervisor.protection.rules.second_line import SecondLineRule
from supervisor.protection.rules.sensing import SensingRule
from supervisor.protection.rules.session_charge import SessionChargeRule
from supervisor.protection.rules.session_hold import SessionHoldRule
from supervisor.protection.rules.session_time import SessionTimeRule
from supervisor.protection.rules.stage_limits import StageLimitsRule
from supervisor.protection.rules.stale import StaleRule
from supervisor.protection.rules.supply_thermal import SupplyThermalRule
from supervisor.protection.rules.temperature import TemperatureRule
from supervisor.protection.rules.undervoltage import UndervoltageRule
from supervisor.protection.verdict import Rule
from supervisor.settings.model import SupervisorSettings


class _Kind(Protocol):
    """The class of a rule."""

    key: str

    def __call__(self, settings: SupervisorSettings) -> Rule: ...


BY_PRIORITY: tuple[_Kind, ...] = (
    OvervoltageRule,
    OvervoltageHighSetRule,
    SecondLineRule,
    SensingRule,
    StaleRule,
    LoopOverrunRule,
    RateOfRiseRule,
    KnobSpeedRule,
    OvercurrentRule,
    OvercurrentInverseRule,
    StageLimitsRule,
    SupplyThermalRule,
    TemperatureRule,
    ReverseCurrentRule,
    UndervoltageRule,
    BalanceRule,
    FailedToOpenRule,
    FailedToCloseRule,
    SessionChargeRule,
    SessionHoldRule,
    SessionTimeRule,
)


def build_rules(settings: SupervisorSettings) -> list[Rule]:
    """The rules in force, in the order of their priority."""
    return [kind(settings) for kind in BY_PRIORITY if _is_in_force(kind.key, settings)]


def _is_in_force(key: str, settings: SupervisorSettings) -> bool:
    """Whether its block is there, and what it needs is fitted."""
    if key == BalanceRule.key and settings.channels.far_cell is None:
        return False
    if key == FailedToCloseRule.key and settings.contactor.auxiliary is None:
        return False
    where = settings if key == SecondLineRule.key else settings.protection
    return getattr(where, key) is not None
