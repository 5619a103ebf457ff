"""Refuses settings that are sound one by one and unfit together: a cell could get too high."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import floor
from pathlib import Path
from typing import TypeVar

from supervisor.settings.base import Settings
from supervisor.settings.cross_checks import contradictions
from supervisor.settings.document import Document, KeyPath
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.load import read_document, validate
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profile_paths import path_faults
from supervisor.settings.profile_paths import where as told_at
from supervisor.settings.profiles import NAME
from supervisor.settings.same_cells import uncounted_faults
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.response import budgets

Block = TypeVar("Block", bound=Settings)

TOLD_FIRST = {"the loop hangs": 0, "overvoltage": 1}  # of the budgets, by title
OVERVOLTAGE_KEY = "protection.overvoltage.trip_volts"
LOOK_AHEAD_KEY = "protection.rate_of_rise.look_ahead_seconds"
LOWEST_BELOW_V = 0.1  # never_above_volts: a limit still lower would end no charge (practice)
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
    faults = faults or list(profile_faults(settings, document))
    faults = faults or list(uncounted_faults(settings, document))
    return Examined(settings, tuple(faults))


def profile_faults(settings: SupervisorSettings, document: Document) -> Iterator[Fault]:
    """Of each profile, what is wrong with the settings that it makes of these."""
    if not NAME.fullmatch(settings.profile):
        yield document.fault(("profile",), *_misnamed(settings.profile))
    for name, profile in settings.profiles.items():
        where: KeyPath = ("profiles", name)
        if not NAME.fullmatch(name):
            yield document.fault(where, *_misnamed(name))
            continue
        if name == settings.profile:
            yield document.fault(
                where,
                f"{name} is the name of the settings themselves (profile).",
                "Nobody could say which of the two is meant.",
                "Give this profile another name.",
            )
        wrong = list(path_faults(settings, name, profile, document))
        yield from wrong
        if not wrong:
            lines = {path: document.line(told_at(name, profile, path)) for path in profile.changes}
            changes = profile.changes | {"profile": name, "profiles": {}}
            changed = document.with_overrides(changes, file=document.file, lines=lines)
            for fault in examine_document(changed).faults:
                yield replace(fault, problem=f"In the profile {name}: {fault.problem}")


def _misnamed(name: str) -> tuple[str, str, str]:
    return (
        f'"{name}" is no name for a profile.',
        "It is typed at a command line and stands in metrics.",
        "Write small letters, digits and _, beginning with a letter, 30 at the most.",
    )


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

    What one key can put right is told once, and the others are judged as if it were.
    """
    while failing := _failing(settings):
        key, value = _culprit(settings, failing)
        budget = next((b for b in failing if b.limit_key == key), failing[0])
        yield _fault(document, budget, _remedy(budget.limit_key, key, value))
        if value is None:
            return
        settings = with_value(settings, key, value)


def _failing(settings: SupervisorSettings) -> list[RuleBudget]:
    return [budget for budget in budgets(settings) if not budget.is_low_enough]


def _culprit(settings: SupervisorSettings, failing: list[RuleBudget]) -> tuple[str, float | None]:
    """The key to change, and the value nearest to the present one that helps; None if none does.

    Rather one that puts everything right: the lease if the loop may hang too long, then the main
    limit if that is too high, then a rule's own, and last the main limit for it.
    """
    own = sorted(failing, key=lambda b: TOLD_FIRST.get(b.title, len(TOLD_FIRST)))
    keys = list(dict.fromkeys([*(budget.limit_key for budget in own), OVERVOLTAGE_KEY]))
    beyond_help = {key: _beyond_help(settings, key) for key in keys}
    key = min(keys, key=lambda key: bool(beyond_help[key]))
    if beyond_help[key]:
        key = next((k for k in keys if len(beyond_help[k]) < len(failing)), key)
    if len(beyond_help[key]) == len(failing):
        return failing[0].limit_key, None
    return key, _nearest(settings, key, beyond_help[key])


def _beyond_help(settings: SupervisorSettings, key: str) -> frozenset[str]:
    """Titles of the budgets that fail however careful this key's value is."""
    safest = with_value(settings, key, _safest(settings, key))
    return frozenset(budget.title for budget in _failing(safest))


def _fault(document: Document, budget: RuleBudget, remedy: str) -> Fault:
    return document.fault(
        budget.limit_key,
        f"A cell can reach {budget.highest_v:.4f} V before the contactor is open, but "
        f"bank.never_above_volts is {budget.never_above_v:g}.",
        f"{budget.starts_at_v:.4f} V, measuring error included, before {budget.title} has anything "
        f"to act on, and {budget.rise_v:.4f} V more in the {budget.response_s:.3f} s until it is "
        f"open, at bank.fastest_rise_volts_per_second.",
        remedy,
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


def _remedy(own_key: str, key: str, value: float | None) -> str:
    shorter = "make the response shorter (`holdwatch check` shows where the time goes)."
    if value is None:
        return f"No value of {own_key} helps: {shorter}"
    bound = "at least" if key == LOOK_AHEAD_KEY else "at most"
    return f"Write {key}: {value:g} {bound}, or {shorter}"


def _nearest(settings: SupervisorSettings, key: str, beyond_help: frozenset[str]) -> float:
    """In steps of one thousandth, or of one for milliseconds."""
    step = 1.0 if key.endswith("_milliseconds") else 0.001

    def fits(count: int) -> bool:
        changed = with_value(settings, key, round(count * step, 3))
        return all(budget.title in beyond_help for budget in _failing(changed))

    safest, refused = (round(v / step) for v in (_safest(settings, key), _value(settings, key)))
    return round(_last_that_fits(fits, safest, refused) * step, 3)


def _safest(settings: SupervisorSettings, key: str) -> float:
    """The most careful value that still makes sense."""
    if key == LOOK_AHEAD_KEY:
        return LONGEST_LOOK_AHEAD_S
    if key.endswith("trip_volts"):
        return settings.bank.never_above_volts - LOWEST_BELOW_V
    return 1.0 if key.endswith("_milliseconds") else 0.001


def _last_that_fits(fits: Callable[[int], bool], fitting: int, refused: int) -> int:
    while abs(refused - fitting) > 1:
        middle = (fitting + refused) // 2
        if fits(middle):
            fitting = middle
        else:
            refused = middle
    return fitting


def _value(block: Settings, path: str) -> float:
    head, _, rest = path.partition(".")
    inner = getattr(block, head)
    return _value(inner, rest) if rest else float(inner)
