"""Defects planted in a simulated build: each has to be found at its step, by its name."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults import Fault
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.world import World

DROPS = {"outputs_of_a_dead_owner": "drop"}  # as the service sees to it


@dataclass(frozen=True, slots=True)
class Defect:
    """``found_at``: the step's key; ``named``: what that step calls it. ``really`` makes what is
    there of what the settings say, ``struck`` is done to the world at its start."""

    about: str
    found_at: str
    named: str
    really: dict[str, Any] | None = None
    tried: dict[str, Any] | None = None
    plant: dict[str, Any] | None = None
    struck: Callable[[World], None] = lambda _world: None

    @property
    def tried_words(self) -> str:
        """The settings that are tried instead of the file's; empty when it is these."""
        tried = (self.tried or {}).items()
        return ", ".join(f"{path} {'absent' if value is None else value}" for path, value in tried)

    def built(
        self, settings: SupervisorSettings, plant: PlantSettings
    ) -> tuple[SupervisorSettings, PlantSettings, SupervisorSettings]:
        """What is really there, its plant, and the settings that are tried on it."""
        tried = _with(settings, self.tried or {})
        return _with(tried, self.really or {}), _with(plant, DROPS | (self.plant or {})), tried


def _with(settings: Any, changes: dict[str, Any]) -> Any:
    """A copy with other values at dotted paths."""
    for path, value in changes.items():
        key, _, rest = path.partition(".")
        inner = _with(getattr(settings, key), {rest: value}) if rest else value
        settings = settings.model_copy(update={key: inner})
    return settings


def strikes(**settings: Any) -> Callable[[World], None]:
    """A fault of the simulator, there from the beginning."""
    return lambda world: world.fault(FAULT.validate_python(settings))


def holds_while_high(world: World) -> None:
    """The capacitor before a driver that is fed by edges is bridged: a high pin feeds it too."""
    contactor = world.settings.contactor
    assert contactor.dropout_milliseconds
    every_s = contactor.dropout_milliseconds / 2000

    def feeds() -> None:
        if world.pin_factory.pin(contactor.pin).state:
            world.plant.drive(world.plant.contactor, True, world.now_s())
        world.at(world.now_s() + every_s, feeds)

    feeds()


def follows_the_coil(world: World) -> None:
    """The main contact is broken, the auxiliary one sits on the coil's lever."""
    world.fault(FAULT.validate_python({"kind": "contactor_stuck_open"}))
    contactor, auxiliary = world.plant.contactor, world.settings.contactor.auxiliary
    assert auxiliary
    mirrored = auxiliary.contact == "normally_closed"
    world.pin_factory.contacts[auxiliary.pin] = lambda: contactor.energised is not mirrored


FAULT: TypeAdapter[Any] = TypeAdapter(Fault)
LEVEL = {
    "contactor.drive": "level",
    "contactor.dropout_milliseconds": None,
    "protection.overvoltage_high_set.trip_volts": 3.62,  # an end without a word is slower then
}
SOUND = Defect("nothing is wrong", "", "")
DEFECTS = {
    "gain-off": Defect(
        "the front cell's channel shows 3 % too much",
        "front_cell",
        "the gain is off by more than parts explain",
        really={"channels.front_cell.gain": 0.97},
    ),
    "shunt-off": Defect(
        "another shunt than its plate says: 3 % less",
        "current",
        "the gain is off by more than parts explain",
        really={"channels.shunt.gain": 1.03},
    ),
    "leads-swapped": Defect(
        "front and far cell's leads have changed places",
        "leads",
        "swapped leads",
        struck=strikes(kind="leads_swapped"),
    ),
    "lead-reversed": Defect(
        "the far cell's lead is the wrong way round",
        "leads",
        "reversed lead",
        struck=strikes(kind="lead_reversed", channel="far_cell"),
    ),
    "shunt-reversed": Defect(
        "the shunt's sense wires are the wrong way round",
        "leads",
        "reversed lead",
        struck=strikes(kind="shunt_reversed"),
    ),
    "contactor-welded": Defect(
        "the main contact stays closed once it was",
        "drive",
        "the contact does not open again",
        struck=strikes(kind="contactor_welded"),
    ),
    "slow-release": Defect(
        "a bare diode across the coil",
        "release",
        "slow release",
        tried={**LEVEL, "contactor.release_milliseconds": 20},
        plant={"switches.coil.suppression": "diode"},
    ),
    "active-low": Defect(
        "a driver that acts on a low level",
        "drive",
        "the driver is active-low",
        tried=LEVEL,
        struck=strikes(kind="driver_active_low"),
    ),
    "level-kept": Defect(
        "the pin keeps its level when the daemon is killed, and nobody clears up",
        "kill",
        "the pin keeps its level after the daemon's death",
        tried=LEVEL,
        plant={"outputs_of_a_dead_owner": "keep_level"},
    ),
    "steady-high": Defect(
        "a driver that is to be fed by edges stays on with a pin that stays high",
        "drive",
        "the driver holds with a steady high",
        struck=holds_while_high,
    ),
    "never-closed": Defect(
        "the main contact does not close, and there is no auxiliary contact to say so",
        "kill",
        "the contact was not closed before the kill",
        tried={"contactor.auxiliary": None},
        struck=strikes(kind="contactor_stuck_open"),
    ),
    "auxiliary-follows-coil": Defect(
        "the auxiliary contact follows the coil, the main contact stays open",
        "auxiliary",
        "the main contact does not close",
        struck=follows_the_coil,
    ),
    "auxiliary-stuck": Defect(
        "the auxiliary contact always says open",
        "auxiliary",
        "auxiliary contact does not change",
        struck=strikes(kind="auxiliary_stuck", shows="open"),
    ),
    "converter-absent": Defect(
        "a converter does not answer",
        "parts",
        "no answer",
        struck=strikes(kind="chip_absent", converter="current"),
    ),
    "stop-wire-broken": Defect(
        "the stop button's wire is broken",
        "stop_button",
        "the stop button is not seen",
        struck=strikes(kind="stop_button"),
    ),
}
