"""What each rule is for, in words. The settings' own descriptions stay with the settings."""

from supervisor.settings.expected import locate
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import Without
from supervisor.sizing.explain_cells import CELL_RULES
from supervisor.sizing.explain_supply import SUPPLY_RULES
from supervisor.sizing.explain_watch import WATCH_RULES
from supervisor.sizing.explanation import Explanation

# By the key that names a trip; "hang" names none: there the coil drops by itself.
EXPLANATIONS: dict[str, Explanation] = CELL_RULES | SUPPLY_RULES | WATCH_RULES


def block_of(rule: str) -> tuple[str, ...]:
    """Path of a rule's settings."""
    return tuple((EXPLANATIONS[rule].block or f"protection.{rule}").split("."))


def necessity(rule: str) -> str:
    """Whether a build can do without a rule, and how that is written."""
    if rule in Without.model_fields:
        return f"only with a reason: leave the block out and write why at protection.without.{rule}"
    *parents, name = block_of(rule)
    info = locate(SupervisorSettings, tuple(parents)).annotation.model_fields[name]
    if not info.is_required() and info.default is None:
        return f"yes: leave {'.'.join(block_of(rule))} out"
    return "no"


def block_notes() -> dict[str, str]:
    """For the reference of settings, by block: function, and what the rule protects."""
    notes = {}
    for rule, told in EXPLANATIONS.items():
        if not told.keys:
            function = f"Function {told.function}, {told.meaning}. " if told.function else ""
            notes[".".join(block_of(rule))] = f"{function}Protects: {told.protects}"
    return notes
