"""``holdwatch check``: is a settings file fit, and what can its rules promise?"""

import json
from collections.abc import Iterable
from dataclasses import asdict
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import click

from supervisor.cli.common import EXIT_SETTINGS, say
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.profiles import with_profile
from supervisor.settings.reference import reference as settings_reference
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.explain import EXPLANATIONS, block_notes, block_of, necessity
from supervisor.sizing.fitness import Examined, examine
from supervisor.sizing.gaps import cautions, not_fitted, off


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path), metavar="[FILE]")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@click.option("--profile", metavar="NAME", help="As a profile of the file, instead of its own.")
@click.option("--explain", "rule", metavar="RULE", help="What one rule is for; FILE is optional.")
@click.option("--reference", is_flag=True, help="All settings that there are, as Markdown.")
def command(
    file: Path | None, as_json: bool, profile: str | None, rule: str | None, reference: bool
) -> None:
    """Check a settings FILE: per rule the limit, the guard band, the response, the worst voltage.

    Exit 78 when the file is faulty, or when a cell could come above never_above_volts.
    """
    if reference:
        click.echo(settings_reference(block_notes()), nl=False)
        return
    if rule is not None:
        _known(rule)
    elif file is None:
        raise click.UsageError("give a settings FILE, or --explain RULE, or --reference")
    examined = examine(file) if file is not None else Examined(None, ())
    if profile is not None:
        examined = _as_profile(examined, profile)
    if as_json:
        answer = _explained_as_dict(rule, examined) if rule else _check_as_dict(examined)
        click.echo(json.dumps(_file_as_dict(file, examined) | answer, indent=2))
    else:
        _show(examined, rule)
    if examined.faults:
        say(str(SettingsFaults(examined.faults)))
        raise click.exceptions.Exit(EXIT_SETTINGS)
    if file is not None:
        say(f"{file}: fit for use")


def _as_profile(examined: Examined, name: str) -> Examined:
    """Faults of the file stay: a profile of it is in force only when all of it is fit."""
    if examined.settings is None or examined.faults:
        return examined
    known = [examined.settings.profile, *examined.settings.profiles]
    if name not in known:
        raise click.UsageError(f'there is no profile "{name}"; there are: {", ".join(known)}')
    return Examined(with_profile(examined.settings, name), ())


def _known(rule: str) -> None:
    if rule not in EXPLANATIONS:
        near = get_close_matches(rule, EXPLANATIONS, n=1, cutoff=0.4)
        nearest = f' Did you mean "{near[0]}"?' if near else ""
        rules = ", ".join(EXPLANATIONS)
        raise click.UsageError(f'there is no rule "{rule}".{nearest} Rules: {rules}.')


def _show(examined: Examined, rule: str | None) -> None:
    from supervisor.cli import check_explain, check_text  # rich: only when there is text to show

    if rule is not None:
        check_explain.print_explanation(rule, examined)
    elif examined.faults:
        check_text.print_unfit(examined.budgets)
    elif examined.settings:
        check_text.print_check(examined.settings, examined.budgets)


def _file_as_dict(file: Path | None, examined: Examined) -> dict[str, Any]:
    if file is None:
        return {}
    faults = [asdict(fault) for fault in examined.faults]
    return {"file": str(file), "fit": not faults, "faults": faults}


def _check_as_dict(examined: Examined) -> dict[str, Any]:
    if examined.settings is None:
        return _rules_as_dict(()) | {"off": [], "not_fitted": [], "cautions": []}
    return _rules_as_dict(examined.budgets) | {
        "off": [{"rule": rule, "why": why} for rule, why in off(examined.settings).items()],
        "not_fitted": list(not_fitted(examined.settings)),
        "cautions": list(cautions(examined.settings)),
    }


def _rules_as_dict(found: Iterable[RuleBudget]) -> dict[str, Any]:
    return {"rules": [budget_as_dict(budget) for budget in found]}


def _explained_as_dict(rule: str, examined: Examined) -> dict[str, Any]:
    of_rule = (budget for budget in examined.budgets if budget.rule == rule)
    told = asdict(EXPLANATIONS[rule]) | {"block": ".".join(block_of(rule))}
    return {"rule": rule, "can_be_left_out": necessity(rule)} | told | _rules_as_dict(of_rule)


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
