"""``holdwatch check``: is a settings file fit, and what can its rules promise?"""

import json
from dataclasses import asdict
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import click

from supervisor.cli.common import EXIT_SETTINGS, say
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.load import load_settings
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.explain import EXPLANATIONS
from supervisor.sizing.fitness import unfit_settings
from supervisor.sizing.response import RuleBudget, budgets


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path), metavar="[FILE]")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@click.option("--explain", "rule", metavar="RULE", help="What one rule is for; FILE is optional.")
def command(file: Path | None, as_json: bool, rule: str | None) -> None:
    """Check a settings FILE: per rule the limit, the guard band, the response, the worst voltage.

    Exit 78 when the file is faulty, or when a cell could come above never_above_volts.
    """
    if rule is not None:
        _known(rule)
    elif file is None:
        raise click.UsageError("give a settings FILE, or --explain RULE")
    settings, faults = _load(file) if file is not None else (None, ())
    found = budgets(settings) if settings else ()
    if as_json:
        answer = _explained_as_dict(rule, found) if rule else _rules_as_dict(found)
        answer |= {"file": str(file) if file else None, "fit": not faults if file else None}
        click.echo(json.dumps(answer | {"faults": [asdict(f) for f in faults]}, indent=2))
    else:
        _show(settings, found, rule)
    if faults:
        say(str(SettingsFaults(faults)))
        raise click.exceptions.Exit(EXIT_SETTINGS)


def _load(file: Path) -> tuple[SupervisorSettings | None, tuple[Fault, ...]]:
    """The settings, unless they cannot be read at all, and all that is wrong with them."""
    try:
        settings, document = load_settings(file)
    except SettingsFaults as refused:
        return None, refused.faults
    return settings, tuple(unfit_settings(settings, document))


def _known(rule: str) -> None:
    if rule not in EXPLANATIONS:
        near = get_close_matches(rule, EXPLANATIONS, n=1, cutoff=0.4)
        nearest = f' Did you mean "{near[0]}"?' if near else ""
        rules = ", ".join(EXPLANATIONS)
        raise click.UsageError(f'there is no rule "{rule}".{nearest} Rules: {rules}.')


def _show(
    settings: SupervisorSettings | None, found: tuple[RuleBudget, ...], rule: str | None
) -> None:
    from supervisor.cli import check_text

    if rule is not None:
        check_text.print_explanation(rule, settings, [b for b in found if b.rule == rule])
    elif settings is not None:
        check_text.print_check(settings, found)


def _rules_as_dict(found: tuple[RuleBudget, ...]) -> dict[str, Any]:
    return {"rules": [budget_as_dict(budget) for budget in found]}


def _explained_as_dict(rule: str, found: tuple[RuleBudget, ...]) -> dict[str, Any]:
    of_rule = tuple(budget for budget in found if budget.rule == rule)
    return {"rule": rule} | asdict(EXPLANATIONS[rule]) | _rules_as_dict(of_rule)


def budget_as_dict(budget: RuleBudget) -> dict[str, Any]:
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
        "response_s": budget.response_s,
        "response": [asdict(part) for part in budget.response],
        "highest_v": budget.highest_v,
        "never_above_v": budget.never_above_v,
        "fits": budget.fits,
        "note": budget.note,
    }
