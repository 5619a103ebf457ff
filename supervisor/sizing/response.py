"""Response budget: from a fault to an open contactor at the latest, and how far a cell gets.

Worst case of every step, added up. A fault begins when the true value passes the limit by the
reading's uncertainty, at the moment that costs most. The lag of an input filter is not in it.
"""

from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import RULE_KEYS
from supervisor.sizing.basis import Basis
from supervisor.sizing.blind_budgets import blind_budgets
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.current_budgets import current_budgets
from supervisor.sizing.heat_budgets import heat_budgets
from supervisor.sizing.second_line_budgets import second_line_budgets
from supervisor.sizing.session_budgets import session_budgets
from supervisor.sizing.slope_budgets import slope_budgets
from supervisor.sizing.voltage_budgets import voltage_budgets

GROUPS = (
    voltage_budgets,
    second_line_budgets,
    current_budgets,
    heat_budgets,
    slope_budgets,
    blind_budgets,
    session_budgets,
)
ORDER = (*RULE_KEYS, "hang")


def budgets(settings: SupervisorSettings) -> tuple[RuleBudget, ...]:
    """The budget of every rule, in the order of the settings, and of a loop that hangs."""
    basis = Basis(settings)
    found = [budget for group in GROUPS for budget in group(basis)]
    return tuple(sorted(found, key=lambda budget: ORDER.index(budget.rule)))


__all__ = ["RuleBudget", "budgets"]
