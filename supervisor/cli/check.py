"""``holdwatch check``: is a settings file fit, and what can its rules promise?"""

import json
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

import click

from supervisor.cli import completion
from supervisor.cli.common import EXIT_SETTINGS, say

if TYPE_CHECKING:
    from supervisor.sizing.fitness import Examined


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path), metavar="[FILE]")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@click.option(
    "--profile",
    metavar="NAME",
    shell_complete=completion.profiles_of_file,
    help="As a profile of the file, instead of its own.",
)
@click.option(
    "--explain",
    "rule",
    metavar="RULE",
    shell_complete=completion.rules,
    help="What one rule is for; FILE is optional.",
)
@click.option("--reference", is_flag=True, help="All settings that there are, as Markdown.")
def command(
    file: Path | None, as_json: bool, profile: str | None, rule: str | None, reference: bool
) -> None:
    """Check a settings FILE: per rule the limit, the guard band, the response, the worst voltage.

    Exit 78 when the file is faulty, or when a cell could come above never_above_volts.
    """
    if reference:
        _print_reference()
        return
    if rule is not None:
        _known(rule)
    elif file is None:
        raise click.UsageError("give a settings FILE, or --explain RULE, or --reference")
    examined = _examined(file, profile)
    if as_json:
        from supervisor.cli.check_json import as_dict

        click.echo(json.dumps(as_dict(file, rule, examined), indent=2))
    else:
        _show(examined, rule)
    if examined.faults:
        from supervisor.settings.faults import SettingsFaults

        say(str(SettingsFaults(examined.faults)))
        raise click.exceptions.Exit(EXIT_SETTINGS)
    if file is not None:
        say(f"{file}: fit for use")


def _print_reference() -> None:
    from supervisor.settings.reference import reference
    from supervisor.sizing.explain import block_notes

    click.echo(reference(block_notes()), nl=False)


def _examined(file: Path | None, profile: str | None) -> "Examined":
    from supervisor.sizing.fitness import Examined, examine

    examined = examine(file) if file is not None else Examined(None, ())
    return examined if profile is None else _as_profile(examined, profile)


def _as_profile(examined: "Examined", name: str) -> "Examined":
    """Faults of the file stay: a profile of it is in force only when all of it is fit."""
    from supervisor.settings.profiles import with_profile
    from supervisor.sizing.fitness import Examined

    if examined.settings is None or examined.faults:
        return examined
    known = [examined.settings.profile, *examined.settings.profiles]
    if name not in known:
        raise click.UsageError(f'there is no profile "{name}"; there are: {", ".join(known)}')
    return Examined(with_profile(examined.settings, name), ())


def _known(rule: str) -> None:
    from supervisor.sizing.explain import EXPLANATIONS

    if rule not in EXPLANATIONS:
        near = get_close_matches(rule, EXPLANATIONS, n=1, cutoff=0.4)
        nearest = f' Did you mean "{near[0]}"?' if near else ""
        rules = ", ".join(EXPLANATIONS)
        raise click.UsageError(f'there is no rule "{rule}".{nearest} Rules: {rules}.')


def _show(examined: "Examined", rule: str | None) -> None:
    from supervisor.cli import check_explain, check_text  # rich: only when there is text to show

    if rule is not None:
        check_explain.print_explanation(rule, examined)
    elif examined.faults:
        check_text.print_unfit(examined.budgets)
    elif examined.settings:
        check_text.print_check(examined.settings, examined.budgets)
