"""What the texts of ``holdwatch check`` share: wrapped lines, figures, and one rule's budget."""

import re
import textwrap

from rich.console import Console
from rich.text import Text

from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.explain import EXPLANATIONS
from supervisor.sizing.steps import Stage

NARROWEST = 24
TIE = "\N{NO-BREAK SPACE}"  # holds a number and its unit together until they are printed
NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(m?[VA]|Ah|s|ms|h|%|°C|[VA]/(s|min))(\W|$))")
INDENT = "  "
NONE = "-"


def console() -> Console:
    return Console(highlight=False, soft_wrap=False)


def print_wrapped(to: Console, lead: str, text: str) -> None:
    """Wrapped at words, later lines set in; no number is cut or parted from its unit."""
    indent = len(lead) - len(lead.lstrip())
    for line in textwrap.wrap(
        NUMBER_AND_UNIT.sub(TIE, lead + text),
        max(to.width, NARROWEST),
        subsequent_indent=" " * indent + INDENT,
        break_on_hyphens=False,
        break_long_words=False,
    ):
        to.print(Text(line.replace(TIE, " ")), soft_wrap=True)


def print_budget(to: Console, budget: RuleBudget, *, in_full: bool) -> None:
    """One rule as lines that fit any width; ``in_full`` with every step of its response."""
    function = EXPLANATIONS[budget.rule].function
    to.print(Text(f"{budget.title}{f' ({function})' if function else ''}", style="bold"))
    limit = f"limit {budget.limit:g} {budget.unit}"
    if budget.guard_band is not None:
        limit += (
            f", guard band {figure(budget.guard_band)} {budget.unit}"
            f", sure from {figure(budget.effective_limit)} {budget.unit}"
        )
    print_wrapped(to, INDENT, limit)
    stages = ", ".join(f"{s.value}{TIE}{seconds(budget.stage_s(s))}" for s in Stage)
    response = f"response {seconds(budget.response_s)} s"
    print_wrapped(to, INDENT, response if in_full else f"{response}: {stages}")
    if in_full:
        for part in budget.response:
            print_wrapped(to, 2 * INDENT, f"{part.name}: {seconds(part.seconds)} s")
    if budget.highest_v is not None:
        never_above = f"never above {budget.never_above_v:g} V"
        print_wrapped(to, INDENT, f"highest cell {highest(budget)}, {never_above}")
    if has_verdict(budget):
        to.print(Text(f"{INDENT}verdict: ") + verdict(budget))
    if budget.note:
        print_wrapped(to, INDENT, budget.note)


def has_verdict(budget: RuleBudget) -> bool:
    return budget.highest_v is not None or budget.about_zero


def verdict(budget: RuleBudget) -> Text:
    if not has_verdict(budget):
        return Text(NONE)
    if budget.fits:
        return Text("ok", style="green")
    return Text("TOO FINE" if budget.is_low_enough else "TOO HIGH", style="bold red")


def highest(budget: RuleBudget) -> str:
    return NONE if budget.highest_v is None else f"{budget.highest_v:.4f} V"


def figure(value: float | None) -> str:
    """Tenths of a millivolt for volts, six characters for more, and no digit that says nothing."""
    if value is None:
        return NONE
    size = abs(value)
    digits = 4 if size < 10 else 2 if size < 1000 else 1 if size < 10000 else 0
    return f"{value:.{digits}f}"


def seconds(value: float) -> str:
    return f"{value:.3f}" if value < 100 else f"{value:.1f}"
