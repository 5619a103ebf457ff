"""The words and tables of ``holdwatch check``. Figures come from the response budget."""

import textwrap
from collections.abc import Iterable, Iterator

from pydantic.fields import FieldInfo
from rich.console import Console
from rich.table import Table
from rich.text import Text

from supervisor.settings.base import Settings
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.hardware import ShuntChannel
from supervisor.settings.model import Loop, SupervisorSettings
from supervisor.settings.rules import Protection
from supervisor.sizing.explain import EXPLANATIONS
from supervisor.sizing.fitness import Examined
from supervisor.sizing.response import RuleBudget
from supervisor.sizing.steps import Stage, scan_s

NARROW = 80  # columns below which a table becomes a list
NARROWEST = 24
TIE = "\N{NO-BREAK SPACE}"  # holds a number and its unit together until they are printed
INDENT = "  "
NONE = "-"


def print_check(settings: SupervisorSettings, found: tuple[RuleBudget, ...]) -> None:
    """Summary of the circuit, then what every rule can promise."""
    console = _console()
    for line in _summary(settings):
        _print_wrapped(console, *line)
    for caution in _cautions(settings):
        _print_wrapped(console, "CAUTION: ", caution)
    console.print()
    if console.width < NARROW:
        for budget in found:
            _print_block(console, budget)
            console.print()
        return
    console.print(_table(found))
    console.print()
    console.print(_stages(found))
    console.print()
    for budget in found:
        if budget.note:
            _print_wrapped(console, f"{budget.title}: ", budget.note)
    _print_wrapped(console, "", "Each step of a response: `holdwatch check FILE --explain RULE`.")


def print_explanation(rule: str, examined: Examined) -> None:
    """What a rule is for, its settings, and what it promises with a file's settings."""
    console = _console()
    told = EXPLANATIONS[rule]
    function = f"function {told.function}, " if told.function else ""
    _print_wrapped(console, f"{rule}: ", f"{function}{told.meaning}")
    _print_wrapped(console, "Protects: ", told.protects)
    _print_wrapped(console, "Without it: ", told.if_off)
    console.print("Settings:")
    for name, text in _settings_of(rule, examined.settings):
        _print_wrapped(console, f"{INDENT}{name}: ", text)
    console.print("Typical values:")
    for typical in told.typical:
        _print_wrapped(console, f"{INDENT}{typical.key}: ", f"{typical.value} ({typical.source})")
    for budget in examined.budgets:
        if budget.rule == rule:
            console.print()
            _print_block(console, budget)


def _console() -> Console:
    return Console(highlight=False, soft_wrap=False)


# The circuit


def _summary(settings: SupervisorSettings) -> Iterator[tuple[str, str]]:
    bank, loop = settings.bank, settings.loop
    cells = bank.cells_in_parallel
    yield "", bank.name
    yield (
        "bank: ",
        f"{cells} cells of {bank.cell_ampere_hours:g} Ah in parallel, never above "
        f"{bank.never_above_volts:g} V, fastest rise {bank.fastest_rise_volts_per_second:g} V/s",
    )
    for channel, wiring in fitted_channels(settings).items():
        plate = ""
        if isinstance(wiring, ShuntChannel):
            plate = f", shunt {wiring.rated_amperes:g} A / {wiring.rated_millivolts:g} mV"
        yield (
            f"{channel.value}: ",
            f"{wiring.converter}, inputs {wiring.inputs}, +-{wiring.range_volts:g} V{plate}",
        )
    for name, converter in settings.converters.items():
        rate = converter.samples_per_second
        yield f"converter {name}: ", f"0x{converter.address:02X}, {rate} conversions per second"
    yield "pins: ", ", ".join(f"{use} {pin}" for use, pin in _pins(settings))
    yield (
        "loop: ",
        f"{loop.scans_per_window} scans in {loop.window_milliseconds} ms, "
        f"{_seconds(loop.cycle_s)} s each, of which reading takes {_seconds(scan_s(settings))} s; "
        f"lease {_seconds(settings.lease_s)} s{_capped(settings)}",
    )


def _capped(settings: SupervisorSettings) -> str:
    return "" if settings.lease_s == settings.loop.lease_s else ", capped by the drop-out"


def _cautions(settings: SupervisorSettings) -> Iterator[str]:
    """What is allowed and still wants to be known."""
    if settings.contactor.drive == "level":
        yield (
            "drive is level: a process that is killed or stopped, or a kernel that hangs, may "
            "leave the coil on; with pulse it lets go."
        )
    if settings.contactor.auxiliary is None:
        yield (
            "no auxiliary contact: a weld is not seen while less than "
            f"{settings.protection.failed_to_open.current_amperes:g} A flow."
        )
    if settings.channels.far_cell is None:
        yield "no far_cell: one voltage alone cannot show that a link has opened."
    if settings.uncommissioned is None:
        yield "no commissioning record, and uncommissioned is not accepted: it will never close."


def _pins(settings: SupervisorSettings) -> Iterator[tuple[str, int]]:
    contactor, panel = settings.contactor, settings.panel
    yield f"contactor ({contactor.drive})", contactor.pin
    parts = {
        "auxiliary contact": contactor.auxiliary,
        "mains contactor": settings.mains_contactor,
        "stop button": panel.stop_button,
        "reset button": panel.reset_button,
        "buzzer": panel.buzzer,
        "lamp": panel.lamp,
    }
    yield from ((name, part.pin) for name, part in parts.items() if part is not None)


# The rules


def _table(found: Iterable[RuleBudget]) -> Table:
    table = _new_table("Rule", "Limit", "Guard\nband", "Sure\nfrom", "Response", "Highest\ncell")
    table.add_column("Verdict", no_wrap=True)
    for budget in found:
        table.add_row(
            budget.title,
            f"{budget.limit:g} {budget.unit}",
            _figure(budget.guard_band),
            _figure(budget.effective_limit),
            f"{_seconds(budget.response_s)} s",
            _highest(budget).replace(TIE, " "),
            _verdict(budget),
        )
    return table


def _stages(found: Iterable[RuleBudget]) -> Table:
    """Where the time goes, in seconds."""
    table = _new_table("Response in seconds", *(stage.value for stage in Stage), "in all")
    for budget in found:
        stages = (budget.stage_s(stage) for stage in Stage)
        table.add_row(budget.title, *map(_seconds, stages), _seconds(budget.response_s))
    return table


def _new_table(first: str, *figures: str) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    table.add_column(first, overflow="fold")
    for heading in figures:
        table.add_column(heading, justify="right", no_wrap=True)
    return table


def _print_block(console: Console, budget: RuleBudget) -> None:
    """One rule as lines that fit any width."""
    function = EXPLANATIONS[budget.rule].function
    console.print(Text(f"{budget.title}{f' ({function})' if function else ''}", style="bold"))
    lines = [("limit", f"{budget.limit:g}{TIE}{budget.unit}")]
    if budget.guard_band is not None:
        lines += [
            ("guard band", f"{_figure(budget.guard_band)}{TIE}{budget.unit}"),
            ("sure from", f"{_figure(budget.effective_limit)}{TIE}{budget.unit}"),
        ]
    lines.append(("response", f"{_seconds(budget.response_s)}{TIE}s"))
    lines += [(INDENT + p.name, f"{_seconds(p.seconds)}{TIE}s") for p in budget.response]
    if budget.highest_v is not None:
        never_above = f"{budget.never_above_v:g}{TIE}V"
        lines.append(("highest cell", f"{_highest(budget)}, never above {never_above}"))
    for name, value in lines:
        _print_wrapped(console, f"{INDENT}{name}: ", value)
    if budget.highest_v is not None:
        console.print(Text(f"{INDENT}verdict: ") + _verdict(budget))
    if budget.note:
        _print_wrapped(console, INDENT, budget.note)


def _verdict(budget: RuleBudget) -> Text:
    if budget.highest_v is None:
        return Text(NONE)
    return Text("ok", style="green") if budget.fits else Text("TOO HIGH", style="bold red")


def _highest(budget: RuleBudget) -> str:
    return NONE if budget.highest_v is None else f"{budget.highest_v:.4f}{TIE}V"


def _figure(value: float | None) -> str:
    """Tenths of a millivolt for volts, hundredths for many amperes."""
    if value is None:
        return NONE
    return f"{value:.4f}" if abs(value) < 10 else f"{value:.2f}"


def _seconds(value: float) -> str:
    return f"{value:.3f}"


# The settings of a rule


def _settings_of(rule: str, settings: SupervisorSettings | None) -> Iterator[tuple[str, str]]:
    """Every key of a rule with its description and value."""
    block, chosen = _block_of(rule, settings)
    for name, info in block.model_fields.items():
        if rule != "hang" or name == "lease_milliseconds":
            value = f"here {getattr(chosen, name):g}" if chosen else _default(info)
            yield name, f"{info.description} [{value}]"


def _block_of(
    rule: str, settings: SupervisorSettings | None
) -> tuple[type[Settings], Settings | None]:
    if rule == "hang":
        return Loop, settings.loop if settings else None
    kind = Protection.model_fields[rule].annotation
    assert isinstance(kind, type)
    return kind, getattr(settings.protection, rule) if settings else None


def _default(info: FieldInfo) -> str:
    return "must be given" if info.is_required() else f"if left out {info.default:g}"


def _print_wrapped(console: Console, lead: str, text: str) -> None:
    """Wrapped at words, later lines set in; no number is cut or parted from its unit."""
    indent = len(lead) - len(lead.lstrip())
    for line in textwrap.wrap(
        lead + text,
        max(console.width, NARROWEST),
        subsequent_indent=" " * indent + INDENT,
        break_on_hyphens=False,
        break_long_words=False,
    ):
        console.print(Text(line.replace(TIE, " ")), soft_wrap=True)
