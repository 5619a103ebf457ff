"""All rules, built in one place.

Their order is their priority: of several that trip in one cycle, the first names the trip. The
cells' voltage comes first, then the faults of measurement and loop that would explain the rest.
"""

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
        OvervoltageRule(settings),
        OvervoltageHighSetRule(settings),
        SensingRule(settings),
        StaleRule(settings),
        LoopOverrunRule(settings),
        RateOfRiseRule(settings),
        OvercurrentRule(settings),
        ReverseCurrentRule(settings),
        UndervoltageRule(settings),
        FailedToOpenRule(settings),
    ]
