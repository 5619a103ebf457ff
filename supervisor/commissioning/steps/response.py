"""What the trip points come to: how soon it is open, and how high a cell can get by then."""

from collections.abc import Iterator

from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.commissioning.steps.trip_points import RESPONSE
from supervisor.control.build_record import Finding, standing
from supervisor.control.build_steps import BY_KEY
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.response import budgets

RULES = ("overvoltage", "overvoltage_high_set")


class ResponseStep:
    """Nothing is done for it: it reckons with what the trip points have measured."""

    key = "response"
    cautions = ()
    measures = (
        "The measured times, with the fastest credible rise of a cell. Good: it stays below what "
        "the cells' maker forbids, as measured and as reckoned."
    )

    def run(self, bench: Bench) -> Outcome:
        by_rule = {budget.rule: budget for budget in budgets(bench.settings)}
        measured = (_measured(bench, by_rule[rule]) for rule in RULES)
        worst = (_reckoned(budget) for budget in by_rule.values() if budget.starts_at_v is not None)
        return Outcome((*measured, *worst))


def _measured(bench: Bench, budget: RuleBudget) -> Finding:
    what = f"{budget.rule}: how high a cell gets, by the time measured"
    took_s = next(_times(bench, budget.rule), None)
    if took_s is None:
        raise CannotTell(f"the step trip_{budget.rule} has no time on record (do it again)")
    sure_v = budget.limit + (budget.guard_band or 0.0)
    return _high(what, sure_v + budget.rise_v_per_s * took_s, budget)


def _reckoned(budget: RuleBudget) -> Finding:
    highest_v = budget.highest_v
    assert highest_v is not None
    return _high(f"{budget.rule}: how high a cell gets, at the worst", highest_v, budget)


def _high(what: str, highest_v: float, budget: RuleBudget) -> Finding:
    passed = highest_v < budget.never_above_v
    return Finding(
        what,
        passed,
        measured=highest_v,
        unit="V",
        high=budget.never_above_v,
        defect="" if passed else "too late for the cells",
        remedy="Lower the limit, or make the response shorter (holdwatch check).",
    )


def _times(bench: Bench, rule: str) -> Iterator[float]:
    found = standing(BY_KEY[f"trip_{rule}"], bench.settings, bench.lines).found
    for finding in found.findings if found else ():
        if finding.what.endswith(RESPONSE) and finding.measured is not None:
            yield finding.measured
