"""The texts of ``holdwatch commission`` and ``calibrate``: lead and text of each line."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.text import Text

from supervisor.cli.check_words import figure, print_wrapped
from supervisor.commissioning.steps.all import STEPS
from supervisor.control.build_record import Finding, Line, Standing, StepDone, standing
from supervisor.control.build_steps import STEPS as BUILD_STEPS
from supervisor.control.build_steps import BuildStep
from supervisor.settings.model import SupervisorSettings

Lines = Iterator[tuple[str, str]]
GENERAL_CAUTIONS = (
    "Bolted cells can not be switched off. Hundreds of amperes at a few volts melt a spanner that "
    "falls across the bars: insulated tools, bars covered, nothing loose above them.",
    "Rings, watch, bracelet and chain off. Metal in a short gets hot at once and burns to the "
    "bone.",
    "Wear eye protection. Somebody else is present, who knows where to switch off and whom to "
    "call.",
    "Mains kills. Its side of the supply is work for a licensed electrician, by the rules and "
    "codes that hold where you are. Capacitors hold their charge after the plug is out.",
    "A transformer and a capacitor that are switched on draw many times their current: fuses and "
    "contactor must bear the inrush. Begin with the knob at its lowest.",
    "A fuse in every sense lead, at the cell: a lead without one burns along its whole length.",
    "Air the room. Cells that get hot or swell give off fumes that burn and poison; electrolyte "
    "burns skin and eyes: do not touch it, rinse with much water, go out.",
    "This program is no certified protective device, and its certificate is a record, no approval. "
    "The makers' data sheets, local codes and licensed practice stand above all it says.",
)
GOOD, BAD = "good", "NOT GOOD"


def show(to: Console, lines: Iterable[tuple[str, str]]) -> None:
    for lead, text in lines:
        print_wrapped(to, lead, text) if text else to.print()


def cautions() -> Lines:
    yield "", "Before anything else:"
    yield from (("  ! ", caution) for caution in GENERAL_CAUTIONS)
    yield "", ""


def heading(to: Console, step: BuildStep, number: int, of: int) -> None:
    to.print()
    to.print(Text(f"{step.title} ({step.key}), {number} of {of}", style="bold"))
    show(to, _begins(step))


def _begins(step: BuildStep) -> Lines:
    bench_step = STEPS[step.key]
    yield from (("  ! ", caution) for caution in bench_step.cautions)
    yield "  ", bench_step.measures


def outcome(step: BuildStep, done: StepDone) -> Lines:
    """What was found, each finding with its verdict; then that of the step."""
    for finding in done.findings:
        yield from finding_lines(finding)
    yield from (("  note: ", note) for note in done.notes)
    if done.passed:
        yield "", f"{step.title}: passed"
    elif done.as_left:
        yield "", f"{step.title}: as found. For the settings: {_keys(done.as_left)}"
    else:
        yield "", f"{step.title}: FAILED"


def finding_lines(finding: Finding) -> Lines:
    verdict = GOOD if finding.passed else BAD
    yield "  ", f"{finding.what}: {_measured(finding)}{verdict}"
    if finding.words:
        yield "    ", finding.words
    if not finding.passed:
        yield "    ", f"defect: {finding.defect or 'not told'}"
        if finding.remedy:
            yield "    ", f"what to do: {finding.remedy}"


def listed(settings: SupervisorSettings, lines: Sequence[Line]) -> Lines:
    """All steps with their states."""
    for entry in states(settings, lines):
        why = f": {entry['why']}" if entry["why"] else ""
        yield "  ", f"{entry['step']}: {entry['state']}{why}"


def states(settings: SupervisorSettings, lines: Sequence[Line]) -> list[dict[str, Any]]:
    """Step, title, state (passed, open, not needed), why, and when by whom it was done last with
    these settings. ``lines``: ``counting``."""
    return [_state(step, settings, lines) for step in BUILD_STEPS]


def void(settings: SupervisorSettings, lines: Sequence[Line]) -> list[str]:
    """Steps that were passed before, and do not count with these settings."""
    passed = {line.step for line in lines if isinstance(line, StepDone) and line.passed}
    return [
        entry["step"]
        for entry in states(settings, lines)
        if entry["state"] == "open" and entry["step"] in passed
    ]


def last_word(settings: SupervisorSettings, lines: Sequence[Line]) -> Lines:
    still = [entry["step"] for entry in states(settings, lines) if entry["state"] == "open"]
    yield "", ""
    if still:
        yield "", f"not commissioned yet; open: {', '.join(still)}"
    else:
        yield "", "commissioned: every step that this build needs has passed"


def _state(step: BuildStep, settings: SupervisorSettings, lines: Sequence[Line]) -> dict[str, Any]:
    stands = standing(step, settings, lines)
    found = stands.found
    entry = {"step": step.key, "title": step.title, "at": None, "by": None}
    if found:
        entry |= {"at": found.wall, "by": found.by}
    if found and not stands.why:
        return entry | {"state": "passed", "why": f"{found.wall[:10]}, by {found.by}"}
    if not step.is_needed(settings):
        return entry | {"state": "not needed", "why": ""}
    return entry | {"state": "open", "why": _why_open(step, stands)}


def _why_open(step: BuildStep, stands: Standing) -> str:
    """In fewer words than the daemon's where it stands beside the step."""
    found = stands.found
    if stands.latest is None:
        return "not done yet"
    if found is None or found.as_left:
        return stands.why.removeprefix(f"the step {step.key} ")
    defects = [one.defect for one in found.findings if not one.passed and one.defect]
    return f"failed {found.wall[:10]}{': ' if defects else ''}{', '.join(defects)}"


def _measured(finding: Finding) -> str:
    limits = _limits(finding)
    if finding.measured is None:
        return f"{limits}: " if limits else ""
    unsure = f" \N{PLUS-MINUS SIGN} {figure(finding.uncertainty)}" if finding.uncertainty else ""
    measured = f"{figure(finding.measured)}{unsure} {finding.unit}".rstrip()
    return f"{measured}{f' ({limits})' if limits else ''}, "


def _limits(finding: Finding) -> str:
    low, high, unit = finding.low, finding.high, finding.unit
    if low is not None and high is not None:
        return f"good from {figure(low)} to {figure(high)} {unit}".rstrip()
    if high is not None:
        return f"good up to {figure(high)} {unit}".rstrip()
    return "" if low is None else f"good from {figure(low)} {unit}".rstrip()


def _keys(values: Mapping[str, float]) -> str:
    return ", ".join(f"{key} {value:.6g}" for key, value in values.items())
