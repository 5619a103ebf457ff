"""The words of ``holdwatch check --explain RULE``."""

from collections.abc import Iterator
from typing import Any

from supervisor.cli.check_words import INDENT, console, print_budget, print_wrapped
from supervisor.settings.document import KeyPath, dotted
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.reference import keys_below, value_words
from supervisor.sizing.explain import EXPLANATIONS, block_of, necessity
from supervisor.sizing.fitness import Examined
from supervisor.sizing.gaps import off


def print_explanation(rule: str, examined: Examined) -> None:
    """What a rule is for, its settings, and what it promises with a file's settings."""
    paper = console()
    told = EXPLANATIONS[rule]
    function = f"function {told.function}, " if told.function else ""
    print_wrapped(paper, f"{rule}: ", f"{function}{told.meaning}")
    print_wrapped(paper, "Protects: ", told.protects)
    print_wrapped(paper, "Without it: ", told.if_off)
    print_wrapped(paper, "Can be left out: ", necessity(rule))
    if told.classes:
        paper.print("What it tells apart:")
    for kind in told.classes:
        print_wrapped(paper, f"{INDENT}{kind.name}: ", kind.shows)
    paper.print(f"Settings, below {'.'.join(block_of(rule))}:")
    for name, text in _settings_of(rule, examined.settings):
        print_wrapped(paper, f"{INDENT}{name}: ", text)
    paper.print("Typical values:")
    for typical in told.typical:
        print_wrapped(paper, f"{INDENT}{typical.key}: ", f"{typical.value} ({typical.source})")
    if examined.settings and (why := off(examined.settings).get(rule)):
        print_wrapped(paper, f"off: {rule} - because: ", why)
    for budget in examined.budgets:
        if budget.rule == rule:
            paper.print()
            print_budget(paper, budget, in_full=True)


def _settings_of(rule: str, settings: SupervisorSettings | None) -> Iterator[tuple[str, str]]:
    """Every key of a rule with its description and value."""
    block, own = block_of(rule), EXPLANATIONS[rule].keys
    for key in keys_below(block):
        name = dotted(key.path[len(block) :])
        if own and name not in own:
            continue
        left_out = key.left_out()
        value = left_out if key.info.is_required() else f"if left out {left_out}"
        if settings is not None and _value(settings, block) is not None:
            value = f"here {value_words(_value(settings, key.path))}"
        yield name, f"{key.description} [{value}]"


def _value(settings: SupervisorSettings, path: KeyPath) -> Any:
    """The value at a path, None also where the block that would hold it is not there."""
    value: Any = settings
    for key in path:
        value = getattr(value, str(key), None)
    return value
