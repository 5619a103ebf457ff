"""Refuses settings that are sound one by one and unfit together: a cell could get too high."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import floor
from pathlib import Path
from typing import TypeVar

from supervisor.settings.base import Settings
from supervisor.settings.cross_checks import contradictions
from supervisor.settings.document import Document
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.load import read_document, validate
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.response import budgets

Block = TypeVar("Block", bound=Settings)

OVERVOLTAGE = "overvoltage"
OVERVOLTAGE_KEY = "protection.overvoltage.trip_volts"
LOOK_AHEAD_KEY = "protection.rate_of_rise.look_ahead_seconds"
LONGEST_LOOK_AHEAD_S = 60.0


@dataclass(frozen=True, slots=True)
class Examined:
    """A settings file and all that is wrong with it; no settings when they cannot be made out."""

    settings: SupervisorSettings | None
    faults: tuple[Fault, ...]

    @property
    def budgets(self) -> tuple[RuleBudget, ...]:
        """What the rules can promise; none when that cannot be told."""
        return budgets(self.settings) if self.settings and _wired(self.settings) else ()


def examine(path: Path) -> Examined:
    """Every fault of a file at once: text, names and values, contradictions, response."""
    try:
        return examine_document(read_document(path))
    except SettingsFaults as refused:
        return Examined(None, refused.faults)


def examine_document(document: Document) -> Examined:
    """The same for a document, with other values than its file's perhaps."""
    try:
        settings = validate(SupervisorSettings, document)
    except SettingsFaults as refused:
        return Examined(None, refused.faults)
    faults = [document.fault(*contradiction) for contradiction in contradictions(settings)]
    if _wired(settings):
        faults += unfit_settings(settings, document)
    return Examined(settings, tuple(faults))


def load_fit(path: Path) -> SupervisorSettings:
    """Settings that may be used: the one way to load them.

    Raises SettingsFaults, also for settings that let a cell come above never_above_volts.
    """
    return fit(examine(path))


def fit(examined: Examined) -> SupervisorSettings:
    """The settings. Raises SettingsFaults when anything is wrong with them."""
    if examined.settings is None or examined.faults:
        raise SettingsFaults(examined.faults)
    return examined.settings


def unfit_settings(settings: SupervisorSettings, document: Document) -> list[Fault]:
    """Rules that act too late or too high, and limits that the measuring error alone passes."""
    return [*_too_high(settings, document), *_too_fine(settings, document)]


def with_value(block: Block, path: str, value: float) -> Block:
    """The same settings with another number at a dotted path. The number is not checked."""
    head, _, rest = path.partition(".")
    inner = with_value(getattr(block, head), rest, value) if rest else value
    return block.model_copy(update={head: inner})


def _wired(settings: SupervisorSettings) -> bool:
    used = {channel.converter for channel in fitted_channels(settings).values()}
    if settings.second_line:
        used.add(settings.second_line.converter)
    return used <= settings.converters.keys()


def _too_high(settings: SupervisorSettings, document: Document) -> Iterator[Fault]:
    """A cell could reach never_above_volts.

    Other rules are judged as if overvoltage were put right: one mistake is told once.
    """
    overvoltage = _budget(settings, OVERVOLTAGE)
    if not overvoltage.is_low_enough:
        yield _fault(settings, document, overvoltage)
        limit_v = _accepted(settings, OVERVOLTAGE, OVERVOLTAGE_KEY)
        if limit_v is None:
            return
        settings = with_value(settings, OVERVOLTAGE_KEY, limit_v)
    for budget in budgets(settings):
        if not budget.is_low_enough and budget.title != OVERVOLTAGE:
            yield _fault(settings, document, budget)


def _fault(settings: SupervisorSettings, document: Document, budget: RuleBudget) -> Fault:
    return document.fault(
        budget.limit_key,
        f"A cell can reach {budget.highest_v:.4f} V before the contactor is open, but "
        f"bank.never_above_volts is {budget.never_above_v:g}.",
        f"{budget.starts_at_v:.4f} V, measuring error included, before {budget.title} has anything "
        f"to act on, and {budget.rise_v:.4f} V more in the {budget.response_s:.3f} s until it is "
        f"open, at bank.fastest_rise_volts_per_second.",
        _remedy(settings, budget),
    )


def _too_fine(settings: SupervisorSettings, document: Document) -> Iterator[Fault]:
    for budget in budgets(settings):
        if not budget.is_discernible and budget.guard_band is not None:
            yield document.fault(
                budget.limit_key,
                f"{budget.limit:g} {budget.unit} is not above the guard band of {budget.title}, "
                f"{budget.guard_band:.4f} {budget.unit}.",
                "Measuring errors alone, within what the data sheets allow, could trip it on a "
                "sound bank.",
                f"Write {budget.limit_key}: {_next_above(budget.guard_band):g} at least, or "
                "calibrate both cell channels and write their gain_uncertainty_percent.",
            )


def _next_above(value: float) -> float:
    """The next thousandth."""
    return (floor(value * 1000) + 1) / 1000


def _remedy(settings: SupervisorSettings, budget: RuleBudget) -> str:
    """What to write: this rule's own limit, else that of overvoltage."""
    shorter = "make the response shorter (`holdwatch check` shows where the time goes)."
    for key in (budget.limit_key, OVERVOLTAGE_KEY):
        value = _accepted(settings, budget.title, key)
        if value is not None:
            bound = "at least" if key == LOOK_AHEAD_KEY else "at most"
            return f"Write {key}: {value:g} {bound}, or {shorter}"
    return f"No value of {budget.limit_key} helps: {shorter}"


def _accepted(settings: SupervisorSettings, title: str, key: str) -> float | None:
    """The value of a key, nearest to the present one, with which a rule fits; None when none does.

    In steps of one thousandth, or of one for milliseconds.
    """
    step = 1.0 if key.endswith("_milliseconds") else 0.001

    def fits(count: int) -> bool:
        return _budget(with_value(settings, key, round(count * step, 3)), title).is_low_enough

    safest = round(_safest(settings, key) / step)
    if not fits(safest):
        return None
    refused = round(_value(settings, key) / step)
    return round(_last_that_fits(fits, safest, refused) * step, 3)


def _safest(settings: SupervisorSettings, key: str) -> float:
    """The most careful value that still makes sense."""
    if key == LOOK_AHEAD_KEY:
        return LONGEST_LOOK_AHEAD_S
    if key.endswith("trip_volts"):
        return settings.protection.undervoltage.trip_volts
    return 1.0 if key.endswith("_milliseconds") else 0.001


def _last_that_fits(fits: Callable[[int], bool], fitting: int, refused: int) -> int:
    while abs(refused - fitting) > 1:
        middle = (fitting + refused) // 2
        if fits(middle):
            fitting = middle
        else:
            refused = middle
    return fitting


def _budget(settings: SupervisorSettings, title: str) -> RuleBudget:
    return next(budget for budget in budgets(settings) if budget.title == title)


def _value(block: Settings, path: str) -> float:
    head, _, rest = path.partition(".")
    inner = getattr(block, head)
    return _value(inner, rest) if rest else float(inner)
