"""All rules, built in one place. Their order is their priority: the first to trip names the trip."""

from supervisor.protection.rules.failed_to_open import FailedToOpenRule
from supervisor.protection.rules.loop_overrun import LoopOverrunRule
from supervisor.protection.rules.overcurrent import OvercurrentRule
from supervisor.protection.rules.overvoltage import OvervoltageRule
from supervisor.protection.rules.overvoltage_high_set import OvervoltageHighSetRule
from supervisor.protection.rules.rate_of_rise import RateOfRiseRule
from supervisor.protection.rules.reverse_current import ReverseCurrentRule
from supervisor.protection.rules.sensing import SensingRule
from supervisor.protection.rules.stale import StaleRule
from supervisor.protection.rules.undervoltage import UndervoltageRule
from supervisor.protection.verdict import Rule
from supervisor.settings.model import SupervisorSettings


def build_rules(settings: SupervisorSettings) -> list[Rule]:
    """The rules in force, in the order of their priority."""
    return [
        OvervoltageHighSetRule(settings),
        OvervoltageRule(settings),
        RateOfRiseRule(settings),
        OvercurrentRule(settings),
        ReverseCurrentRule(settings),
        UndervoltageRule(settings),
        SensingRule(settings),
        StaleRule(settings),
        LoopOverrunRule(settings),
        FailedToOpenRule(settings),
    ]
