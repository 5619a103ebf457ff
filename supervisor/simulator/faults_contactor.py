"""Faults of the contactor, its coil and its auxiliary contact, and of the mains relay."""

from typing import Annotated, Literal

from pydantic import Field

from supervisor.simulator.contactors import build_contactor
from supervisor.simulator.fault import FaultSettings, set_on
from supervisor.simulator.rig import Rig
from supervisor.simulator.switch import Switch


class ContactorWelded(FaultSettings):
    """The main contact, once closed, stays closed whatever the coil does."""

    kind: Literal["contactor_welded"]

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.plant.contactor, "welded", True)

    def heal(self, rig: Rig) -> None:
        rig.change(rig.plant.contactor.mend)


class ContactorStuckOpen(FaultSettings):
    """The main contact does not close."""

    kind: Literal["contactor_stuck_open"]

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.plant.contactor, "stuck_open", True)

    def heal(self, rig: Rig) -> None:
        rig.change(rig.plant.contactor.mend)


class SlowRelease(FaultSettings):
    """The contactor opens late: a bare diode across the coil, sticky grease."""

    kind: Literal["slow_release"]
    milliseconds: Annotated[float, Field(gt=0, le=60000)]

    def strike(self, rig: Rig) -> None:
        rig.plant.contactor.release_s = self.milliseconds / 1000

    def heal(self, rig: Rig) -> None:
        usual = build_contactor(rig.settings, rig.plant_settings)
        rig.plant.contactor.release_s = usual.release_s


class DriverActiveLow(FaultSettings):
    """The coil's driver acts on a low level: on while the Pi starts, and when nobody is there."""

    kind: Literal["driver_active_low"]

    def strike(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.contactor.invert(True, rig.now_s()))

    def heal(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.contactor.invert(False, rig.now_s()))


class CoilOpen(FaultSettings):
    """The coil's wire breaks: whatever the driver does, the contactor lets go."""

    kind: Literal["coil_open"]

    def strike(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.contactor.open_coil(True, rig.now_s()))

    def heal(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.contactor.open_coil(False, rig.now_s()))


class ContactBounce(FaultSettings):
    """The main contact chatters when it makes: worn springs, a weak coil supply."""

    kind: Literal["contact_bounce"]
    bounces: Annotated[int, Field(ge=1, le=20)]
    milliseconds: Annotated[float, Field(gt=0, le=200)] = Field(
        description="The first lasts so long, each other half of the one before."
    )

    def strike(self, rig: Rig) -> None:
        self._set(rig, self.bounces, self.milliseconds)

    def heal(self, rig: Rig) -> None:
        usual = rig.plant_settings.switches
        self._set(rig, usual.bounces, usual.bounce_milliseconds)

    def _set(self, rig: Rig, bounces: int, milliseconds: float) -> None:
        rig.plant.contactor.bounces = bounces
        rig.plant.contactor.bounce_s = milliseconds / 1000


class RelayWelded(FaultSettings):
    """The mains relay, once closed, stays closed: after an inrush, say."""

    kind: Literal["relay_welded"]

    def strike(self, rig: Rig) -> None:
        set_on(rig, _relay(rig), "welded", True)

    def heal(self, rig: Rig) -> None:
        rig.change(_relay(rig).mend)


class AuxiliaryStuck(FaultSettings):
    """The auxiliary contact says one thing whatever the main contact does."""

    kind: Literal["auxiliary_stuck"]
    shows: Literal["closed", "open"] = Field(description="State of the main contact it claims.")

    def strike(self, rig: Rig) -> None:
        rig.auxiliary_shows = self.shows == "closed"

    def heal(self, rig: Rig) -> None:
        rig.auxiliary_shows = None


def _relay(rig: Rig) -> Switch:
    if rig.plant.mains is None:
        raise ValueError("these settings have no mains_contactor, so there is no mains relay")
    return rig.plant.mains
