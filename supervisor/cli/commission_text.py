"""The texts of ``holdwatch commission`` and ``calibrate``: lead and text of each line."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.text import Text

from supervisor.cli.check_words import print_wrapped
from supervisor.commissioning.certificate_figures import figures
from supervisor.commissioning.steps.all import STEPS
from supervisor.control.build_record import Finding, Line, Standing, StepDone, standing
from supervisor.control.build_steps import STEPS as BUILD_STEPS
from supervisor.control.build_steps import BuildStep, needed
from supervisor.settings.edit import plain_decimal
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
NOT_WANTED = {
    "phone": "the page listens to this machine only",
    "alert": "its settings are a file of their own; --step alert tries it",
}
FAILED, AGAIN, NEVER = "failed", "to be done again", "not done yet"


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
    """Step, title, state (passed, open, not needed), why, and when by whom it was done last: with
    these settings, else at all. ``lines``: ``counting``."""
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
    still: dict[str, list[str]] = {FAILED: [], AGAIN: [], NEVER: []}
    for step in needed(settings):
        stands = standing(step, settings, lines)
        if stands.why:
            still[_kind(stands)].append(step.key)
    yield "", ""
    if told := "; ".join(f"{kind}: {', '.join(keys)}" for kind, keys in still.items() if keys):
        yield "", f"not commissioned yet; {told}"
    else:
        yield "", "commissioned: every step that this build needs has passed"


def unwritten(config: Path, found: Mapping[str, float]) -> Lines:
    """What a simulated walk has calibrated, and does not write."""
    words = (
        f"SIMULATED: nothing is written into {config}. `holdwatch run --simulate` closes on this"
    )
    yield "", ""
    yield (
        "",
        f"{words} record only with a copy that has these values (--calibrated FILE writes one):",
    )
    yield from (("  ", f"{path}: {plain_decimal(value)}") for path, value in found.items())


def _kind(stands: Standing) -> str:
    if stands.latest is None:
        return NEVER
    return FAILED if stands.found and not stands.found.as_left else AGAIN


def _state(step: BuildStep, settings: SupervisorSettings, lines: Sequence[Line]) -> dict[str, Any]:
    stands = standing(step, settings, lines)
    found = stands.found
    entry = {"step": step.key, "title": step.title, "at": None, "by": None}
    if last := found or stands.latest:
        entry |= {"at": last.wall, "by": last.by}
    if found and not stands.why:
        return entry | {"state": "passed", "why": f"{found.wall[:10]}, by {found.by}"}
    if not step.is_needed(settings):
        return entry | {"state": "not needed", "why": _why_not_needed(step, settings)}
    return entry | {"state": "open", "why": _why_open(step, stands)}


def _why_not_needed(step: BuildStep, settings: SupervisorSettings) -> str:
    return step.has_nothing_to_try(settings) or NOT_WANTED.get(step.key, "")


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
    measured, limits = figures(asdict(finding))
    if limits:
        between = finding.low is not None and finding.high is not None
        limits = f"good {'from ' if between else ''}{limits}"
    if not measured:
        return f"{limits}: " if limits else ""
    return f"{measured}{f' ({limits})' if limits else ''}, "


def _keys(values: Mapping[str, float]) -> str:
    return ", ".join(f"{key} {value:.6g}" for key, value in values.items())
