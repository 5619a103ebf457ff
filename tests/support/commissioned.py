"""A simulated build that is commissioned, with or without a defect."""

from pathlib import Path

from build_samples import step_done

from supervisor.bench.commissioning.build import SimulatedBuild
from supervisor.bench.commissioning.defects import SOUND, Defect
from supervisor.bench.commissioning.hands import SimulatedHands
from supervisor.cli.commission_bench import overridden
from supervisor.commissioning.walk import Walk
from supervisor.control.build_record import BuildRecord, StepDone
from supervisor.control.build_steps import BY_KEY
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.parts.plant import PlantSettings


def walk(settings: SupervisorSettings, folder: Path, defect: Defect = SOUND) -> Walk:
    """On a simulated build; what it writes into settings stays in memory."""
    there, plant, tried = defect.built(settings, PlantSettings())
    build = SimulatedBuild(there, plant, folder)
    defect.struck(build.world)
    one = Walk(
        tried,
        build,
        SimulatedHands(build),
        BuildRecord(folder),
        adopt=lambda changes: overridden(one.settings, changes),
    )
    return one


def behind(one: Walk, *keys: str) -> Walk:
    """With all that these steps need on record as passed."""
    for need in dict.fromkeys(need for key in keys for need in BY_KEY[key].needs):
        if need not in keys and BY_KEY[need].is_needed(one.settings):
            one._record.add(step_done(one.settings, need, simulated=True))
    return one


def told(done: tuple[StepDone, ...]) -> list[str]:
    return [
        f"{one.step}: {finding.what}: {finding.defect or finding.words} {finding.measured}"
        for one in done
        for finding in one.findings
        if not finding.passed
    ]
