"""The answer of ``holdwatch check --json``."""

from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.explain import EXPLANATIONS, block_of, necessity
from supervisor.sizing.fitness import Examined
from supervisor.sizing.gaps import cautions, not_fitted, off


def as_dict(file: Path | None, rule: str | None, examined: Examined) -> dict[str, Any]:
    """Of a file, of one rule to be explained, or of both."""
    answer = _explained(rule, examined) if rule is not None else _checked(examined)
    return _of_file(file, examined) | answer


def _of_file(file: Path | None, examined: Examined) -> dict[str, Any]:
    if file is None:
        return {}
    faults = [asdict(fault) for fault in examined.faults]
    return {"file": str(file), "fit": not faults, "faults": faults}


def _checked(examined: Examined) -> dict[str, Any]:
    if examined.settings is None:
        return _rules(()) | {"off": [], "not_fitted": [], "cautions": []}
    return _rules(examined.budgets) | {
        "off": [{"rule": rule, "why": why} for rule, why in off(examined.settings).items()],
        "not_fitted": list(not_fitted(examined.settings)),
        "cautions": list(cautions(examined.settings)),
    }


def _explained(rule: str, examined: Examined) -> dict[str, Any]:
    of_rule = (budget for budget in examined.budgets if budget.rule == rule)
    told = asdict(EXPLANATIONS[rule]) | {"block": ".".join(block_of(rule))}
    return {"rule": rule, "can_be_left_out": necessity(rule)} | told | _rules(of_rule)


def _rules(found: Iterable[RuleBudget]) -> dict[str, Any]:
    return {"rules": [_budget(budget) for budget in found]}


def _budget(budget: RuleBudget) -> dict[str, Any]:
    """Every figure of a budget; None where a rule has no such figure."""
    return {
        "rule": budget.rule,
        "title": budget.title,
        "function": EXPLANATIONS[budget.rule].function,
        "setting": budget.limit_key,
        "limit": budget.limit,
        "unit": budget.unit,
        "guard_band": budget.guard_band,
        "effective_limit": budget.effective_limit,
        "acceptance_limit": budget.acceptance_limit,
        "response_at": budget.response_at,
        "response_s": budget.response_s,
        "response": [
            {"stage": part.stage.value, "name": part.name, "seconds": part.seconds}
            for part in budget.response
        ],
        "starts_at_v": budget.starts_at_v,
        "rise_v": budget.rise_v,
        "highest_v": budget.highest_v,
        "never_above_v": budget.never_above_v,
        "fits": budget.fits,
        "note": budget.note,
    }
