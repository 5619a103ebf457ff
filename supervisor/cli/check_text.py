"""The words and tables of ``holdwatch check FILE``. Figures come from the response budget."""

from collections.abc import Iterable, Iterator, Sequence

from rich.console import Console
from rich.table import Table

from supervisor.cli.check_words import (
    console,
    figure,
    highest,
    print_budget,
    print_wrapped,
    seconds,
    verdict,
)
from supervisor.settings.cross_checks.timing import scan_s
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.hardware import ShuntChannel
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.gaps import cautions, not_fitted, off
from supervisor.sizing.steps import Stage

NARROW = 80  # columns below which a table becomes a list

LEGEND = (
    ("Guard band: ", "what a reading can be wrong by (expanded uncertainty, k = 2)."),
    ("Sure from: ", "true value from which on the rule is sure to act."),
    ("Verdict -: ", "no cell's voltage depends on this rule."),
    (
        "see, delay, late, open: ",
        "until a reading shows it, until the rule believes it, how late the loop may be, and from "
        "the decision to no current.",
    ),
    ("Each step of a response: ", "`holdwatch check FILE --explain RULE`."),
)


def print_check(settings: SupervisorSettings, found: tuple[RuleBudget, ...]) -> None:
    """Summary of the circuit, what it does without, then what every rule can promise."""
    paper = console()
    for line in (*_summary(settings), *_gaps(settings)):
        print_wrapped(paper, *line)
    paper.print()
    _print_figures(paper, found)
    if paper.width >= NARROW:
        for titles, note in _notes(found).items():
            print_wrapped(paper, f"{titles}: ", note)
        paper.print()
    for lead, text in LEGEND:
        print_wrapped(paper, lead, text)


def print_unfit(found: tuple[RuleBudget, ...]) -> None:
    """Only the rules that are not what they must be: the faults follow, and nothing hides them."""
    unfit = [budget for budget in found if not budget.fits]
    paper = console()
    if unfit:
        _print_figures(paper, unfit)


# The charge


def _charge(settings: SupervisorSettings) -> Iterator[tuple[str, str]]:
    charge = settings.charge
    if charge is None:
        yield "charge: ", "not described: no stage, no forecast, no cues"
        return
    yield (
        "charge: ",
        f"{charge.target_amperes:g} A, taper above {charge.taper_above_volts:g} V, hold "
        f"{charge.hold_from_v:g} to {charge.hold_volts:g} V",
    )
    full = charge.full
    if full is None:
        yield "full: ", "not described: it never opens by itself for that"
    else:
        yield (
            "full: ",
            f"held with less than {full.end_amperes:g} A for {full.minutes:g} min, front and far "
            f"within {full.spread_volts * 1000:g} mV, {full.least_percent:g} % of the rating "
            "charged at the least",
        )
    if charge.pulsed_hold:
        pulsed = charge.pulsed_hold
        yield (
            "CAUTION: ",
            f"pulsed hold: it closes by itself, up to {pulsed.most_pulses} times in one session, "
            f"for {pulsed.most_hours:g} h after each closing by hand",
        )


# The circuit


def _summary(settings: SupervisorSettings) -> Iterator[tuple[str, str]]:
    bank, loop = settings.bank, settings.loop
    cells = bank.cells_in_parallel
    yield "", bank.name
    yield "profile: ", settings.profile
    for name, profile in settings.profiles.items():
        if name != settings.profile:
            yield "another profile: ", f"{name}. {profile.about}"
    yield from _charge(settings)
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
    if line := settings.second_line:
        yield (
            "second_line: ",
            f"{line.converter}, inputs {line.inputs}, +-{line.range_volts:g} V, ALERT seen at pin "
            f"{line.pin}",
        )
    for name, converter in settings.converters.items():
        rate = converter.samples_per_second
        yield f"converter {name}: ", f"0x{converter.address:02X}, {rate} conversions per second"
    for name, probe in settings.probes.items():
        where = f"0x{probe.address:02X}" if probe.address is not None else f"{probe.serial}"
        yield f"probe {name}: ", f"{probe.chip} {where}, on {probe.place.replace('_', ' ')}"
    yield "pins: ", ", ".join(f"{use} {pin}" for use, pin in _pins(settings))
    yield (
        "loop: ",
        f"{loop.scans_per_window} scans in {loop.window_milliseconds} ms, "
        f"{seconds(loop.cycle_s)} s each, of which reading takes {seconds(scan_s(settings))} s; "
        f"lease {seconds(settings.lease_s)} s{_capped(settings)}",
    )


def _capped(settings: SupervisorSettings) -> str:
    return "" if settings.lease_s == settings.loop.lease_s else ", capped by the drop-out"


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


def _gaps(settings: SupervisorSettings) -> Iterator[tuple[str, str]]:
    for caution in cautions(settings):
        yield "CAUTION: ", caution
    for rule, why in off(settings).items():
        yield f"off: {rule} - because: ", why
    if missing := not_fitted(settings):
        yield "not fitted: ", ", ".join(missing)


# The rules


def _print_figures(paper: Console, found: Sequence[RuleBudget]) -> None:
    if paper.width < NARROW:
        for budget in found:
            print_budget(paper, budget, in_full=False)
            paper.print()
    else:
        paper.print(_table(found))
        paper.print()
        paper.print(_stages(found))
        paper.print()


def _table(found: Iterable[RuleBudget]) -> Table:
    table = _new_table("Rule", "Limit", "Guard\nband", "Sure\nfrom", "Response", "Highest\ncell")
    table.add_column("Verdict", no_wrap=True)
    for budget in found:
        table.add_row(
            budget.title,
            f"{budget.limit:g} {budget.unit}",
            figure(budget.guard_band),
            figure(budget.effective_limit),
            f"{seconds(budget.response_s)} s",
            highest(budget),
            verdict(budget),
        )
    return table


def _stages(found: Iterable[RuleBudget]) -> Table:
    """Where the time goes, in seconds."""
    table = _new_table("Response in seconds", *(stage.value for stage in Stage), "in all")
    for budget in found:
        stages = (budget.stage_s(stage) for stage in Stage)
        table.add_row(budget.title, *map(seconds, stages), seconds(budget.response_s))
    return table


def _new_table(first: str, *figures: str) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    table.add_column(first, overflow="fold")
    for heading in figures:
        table.add_column(heading, justify="right", no_wrap=True)
    return table


def _notes(found: Iterable[RuleBudget]) -> dict[str, str]:
    """Notes by title; by the rule where several of its budgets say the same."""
    by_note: dict[tuple[str, str], list[str]] = {}
    for budget in found:
        if budget.note:
            by_note.setdefault((budget.rule, budget.note), []).append(budget.title)
    return {
        titles[0] if len(titles) == 1 else rule: note for (rule, note), titles in by_note.items()
    }
