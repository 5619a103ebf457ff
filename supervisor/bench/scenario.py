"""Scenario files: a plant, a timeline of acts and faults, and what must come of it."""

from collections.abc import Iterator
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from supervisor.bench.operators import OperatorSettings
from supervisor.protection.rulebook import BY_PRIORITY
from supervisor.settings.base import Amperes, Seconds, Settings, Volts
from supervisor.settings.document import Document, KeyPath
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.load import read_document, validate
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults import Fault as SimulatedFault
from supervisor.simulator.faults import kinds
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.supply import AnySupplySettings
from supervisor.sizing.fitness import examine_document, fit

CHEMISTRY = ("plant", "cells", "chemistry")
EXTERNAL = "external"  # stop button, or the last run's end: a trip by no rule
PER_CELL = ("state_of_charge_offsets", "capacity_factors")

AtSeconds = Annotated[float, Field(ge=0, le=1e6)]


class Knob(Settings):
    """The knob of the supply, 0 to 1, turned evenly over some seconds."""

    to: Annotated[float, Field(ge=0, le=1)]
    over_seconds: Annotated[float, Field(ge=0, le=86400)] = 0.0


class Kill(Settings):
    """The daemon's process is killed, wherever it is just then, and started anew."""

    down_seconds: Annotated[float, Field(ge=0, le=86400)] = Field(
        default=1.0, description="Until it is started again."
    )


class ShuntPlate(Settings):
    """Another shunt in the place of the one in the settings."""

    rated_amperes: Amperes
    rated_millivolts: Annotated[float, Field(ge=10, le=250)]

    @property
    def ohms(self) -> float:
        return self.rated_millivolts / 1000 / self.rated_amperes


class Refit(Settings):
    """What hands do to the build while the circuit is open: another supply, another shunt."""

    supply: AnySupplySettings | None = Field(
        default=None, description="as plant.supply; left out: the same"
    )
    shunt: ShuntPlate | None = Field(default=None, description="left out: the same")


class Seen(Settings):
    """What the status must say at this moment; each is optional."""

    circuit: Literal["open", "closed", "locked out", "unfit", "paused", "finished"] | None = None
    stage: Literal["none", "bulk", "taper", "hold", "rest"] | None = None
    cue: str | None = Field(default=None, description="a cue that is among those shown")
    tripped_by: str | None = None
    cell_above_volts: Volts | None = None
    current_above_amperes: Amperes | None = None
    current_below_amperes: Amperes | None = None


class Act(Settings):
    """One act of the timeline: exactly one of the keys beside ``at_seconds``."""

    at_seconds: AtSeconds
    close: Literal[True] | None = Field(default=None, description="true: ask to close")
    open: Literal[True] | None = Field(default=None, description="true: ask to open")
    reset: str | None = Field(default=None, description="reset the lockout, for this reason")
    knob: Knob | None = None
    kill: Kill | None = Field(
        default=None, description="the process dies and is started anew; drill and demo only"
    )
    profile: str | None = Field(default=None, description="ask for this profile of the settings")
    silence: Literal[True] | None = Field(default=None, description="true: silence the buzzer")
    refit: Refit | None = None
    fault: SimulatedFault | None = Field(default=None, description="strikes; the kinds are below")
    clear: str | None = Field(default=None, description="kind of the fault that ends")
    expect: Seen | None = None
    say: str | None = Field(default=None, description="what the operator does, for the demo")

    @model_validator(mode="after")
    def _one_act(self) -> "Act":
        acts = sorted(self.model_fields_set - {"at_seconds", "say"})
        if len(acts) > 1 or not (acts or self.say):
            raise ValueError(f"one act at a time, not {' and '.join(acts) or 'none'}")
        return self


class Expected(Settings):
    """What must come of it.

    ``within_seconds`` bounds the response: from the newest fault before the trip, or else from
    the moment a true cell voltage or the true current passed the limit of the rule that tripped,
    to the main contact open.
    """

    outcome: Literal["tripped", "open", "closed", "refused", "finished"]
    tripped_by: str | None = None
    within_seconds: Seconds | None = None
    peak_below_volts: Volts | None = None
    failed_to_open: bool = False


class Scenario(Settings):
    """One scenario file."""

    name: Annotated[str, Field(min_length=3, max_length=60)]
    about: str = ""
    settings: str = Field(description="Path of the settings file, relative to this file.")
    overrides: dict[str, Any] = Field(
        default_factory=dict,
        description="Other values at dotted paths of the settings. The example's profiles are left "
        "out, unless the timeline chooses one: they need not fit another bank.",
    )
    seed: int = 1
    seconds: Seconds = Field(description="Simulated length.")
    plant: PlantSettings = PlantSettings()
    operator: OperatorSettings | None = Field(
        default=None, description="Somebody at the page and the knob, beside the timeline."
    )
    invariants: Literal["faulty", "clean"] | None = Field(
        default=None,
        description="Fails as well when an invariant of the campaign does; clean: or when it "
        "trips at all.",
    )
    timeline: tuple[Act, ...] = ()
    expect: Expected


def load_scenario(path: Path) -> tuple[Scenario, SupervisorSettings]:
    """The scenario and the settings it runs on. Raises SettingsFaults for either."""
    document = _beside(path.parent, read_document(path))
    scenario = validate(Scenario, document)
    return scenario, settings_of(scenario, document, read_document(path.parent / scenario.settings))


def settings_of(scenario: Scenario, document: Document, example: Document) -> SupervisorSettings:
    """The example's settings with the scenario's overrides. Raises SettingsFaults."""
    lines = {key: document.line(("overrides", key)) for key in scenario.overrides}
    overrides = scenario.overrides
    if not any(act.profile for act in scenario.timeline):
        overrides = {"profiles": {}} | overrides  # of the example; they need not fit another bank
    overridden = example.with_overrides(overrides, file=document.file, lines=lines)
    settings = fit(examine_document(overridden))
    if found := list(_misfits(scenario, settings, document)):
        raise SettingsFaults(found)
    return settings


def _beside(folder: Path, document: Document) -> Document:
    """A chemistry of one's own is looked for beside the scenario, like the settings."""
    block: Any = document.data
    for key in CHEMISTRY:
        block = block.get(key) if isinstance(block, dict) else None
    if not isinstance(block, str) or not block.endswith(".yaml"):
        return document
    key = ".".join(CHEMISTRY)
    line = document.line(CHEMISTRY)
    return document.with_overrides(
        {key: str(folder / block)}, file=document.file, lines={key: line}
    )


def _misfits(
    scenario: Scenario, settings: SupervisorSettings, document: Document
) -> Iterator[Fault]:
    """What no single value shows."""
    yield from _beyond_the_end(scenario, document)
    yield from _unknown_names(scenario, document)
    cells, in_bank = scenario.plant.cells, settings.bank.cells_in_parallel
    for name in PER_CELL:
        count = len(getattr(cells, name))
        if count > in_bank:
            yield document.fault(
                f"plant.cells.{name}",
                f"{count} values for {in_bank} cells.",
                "Each value belongs to one cell, the front one first.",
                "Leave some out, or raise bank.cells_in_parallel.",
            )
    for k, act in enumerate(scenario.timeline):
        for key, most in (("cell", in_bank), ("behind_cell", in_bank - 1)):
            if getattr(act.fault, key, 0) > most:
                yield document.fault(
                    ("timeline", k, "fault", key),
                    f"{getattr(act.fault, key)} is beyond the bank's {in_bank} cells.",
                    "It counts from the front cell, which is 1.",
                    f"Write 1 to {most}, or raise bank.cells_in_parallel.",
                )


def _beyond_the_end(scenario: Scenario, document: Document) -> Iterator[Fault]:
    for k, act in enumerate(scenario.timeline):
        if act.at_seconds > scenario.seconds:
            yield document.fault(
                ("timeline", k, "at_seconds"),
                f"{act.at_seconds:g} s is after the end, {scenario.seconds:g} s.",
                "It would never be played, and nothing would say so.",
                "Raise seconds, or take the act out.",
            )


def _unknown_names(scenario: Scenario, document: Document) -> Iterator[Fault]:
    """Rules and kinds of faults that there are not."""
    named: list[tuple[KeyPath, str | None]] = [
        (("expect", "tripped_by"), scenario.expect.tripped_by)
    ]
    named += [
        (("timeline", k, "expect", "tripped_by"), act.expect.tripped_by)
        for k, act in enumerate(scenario.timeline)
        if act.expect
    ]
    cleared: list[tuple[KeyPath, str | None]] = [
        (("timeline", k, "clear"), act.clear) for k, act in enumerate(scenario.timeline)
    ]
    rules = [*(rule.key for rule in BY_PRIORITY), EXTERNAL]
    for places, known, what in ((named, rules, "rule"), (cleared, [*kinds()], "kind of fault")):
        for path, name in places:
            if name is not None and name not in known:
                alike = get_close_matches(name, known) or known
                yield document.fault(
                    path,
                    f"There is no {what} {name!r}.",
                    "It would be found only when the scenario has been played.",
                    f"Write {' or '.join(alike)}.",
                )
