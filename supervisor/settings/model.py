"""The whole settings file as one frozen object."""

from typing import Annotated, Literal

from pydantic import Field

from supervisor.settings.base import Settings, Volts
from supervisor.settings.charge import Charge
from supervisor.settings.hardware import (
    Bus,
    Channels,
    Contactor,
    Converter,
    Gpio,
    MainsContactor,
    Panel,
    Probe,
    SecondLine,
)
from supervisor.settings.profiles import Profile
from supervisor.settings.protection import Protection


class Bank(Settings):
    """The cells, and what their maker forbids."""

    name: Annotated[str, Field(min_length=1, max_length=60)] = Field(
        description="Shown on the page, in records and in messages."
    )
    cells_in_parallel: Annotated[int, Field(ge=1, le=1000)] = Field(
        description="How many cells are bolted in parallel."
    )
    cell_ampere_hours: Annotated[float, Field(gt=0, le=2000)] = Field(
        description="Rated capacity of one cell, from the maker's data sheet."
    )
    never_above_volts: Volts = Field(
        description="The maker's absolute maximum for a cell. Every limit must stop short of it."
    )
    fastest_rise_volts_per_second: Annotated[float, Field(gt=0, le=1)] = Field(
        default=0.02,
        description="Fastest credible rise of a cell at the limit: knob turned, link opened.",
    )

    @property
    def rating_ah(self) -> float:
        """Of the whole bank."""
        return self.cells_in_parallel * self.cell_ampere_hours


class Loop(Settings):
    """Timing of the polling loop."""

    window_milliseconds: Literal[100, 200] = Field(
        default=100, description="Averaging window: whole cycles of 50 and of 60 Hz mains."
    )
    scans_per_window: Annotated[int, Field(ge=4, le=40)] = Field(
        default=7,
        description="Passes over all channels in a window. Must not beat with the mains ripple.",
    )
    lease_milliseconds: Annotated[float, Field(ge=50, le=2000)] = Field(
        default=400,
        description="Permission to be closed lasts so long; each good cycle renews it.",
    )

    @property
    def window_s(self) -> float:
        return self.window_milliseconds / 1000

    @property
    def cycle_s(self) -> float:
        """Period of the loop: one scan."""
        return self.window_s / self.scans_per_window

    @property
    def lease_s(self) -> float:
        return self.lease_milliseconds / 1000


class Session(Settings):
    """What belongs together as one charge."""

    new_after_open_hours: Annotated[float, Field(ge=1, le=1000)] = Field(
        default=6.0,
        description="Closing after the circuit was open for so long begins a new session.",
    )


class Journal(Settings):
    """The record of every session, kept with the lockout."""

    most_megabytes: Annotated[float, Field(ge=10, le=100_000)] = Field(
        default=500,
        description="Kept below this: of the oldest sessions the rows of a second are given up "
        "first, then those without a trip.",
    )


FilePath = Annotated[str, Field(min_length=1, max_length=4096)]


class Web(Settings):
    """Where `holdwatch web` listens, and whether the page may open the circuit."""

    listen: str = Field(default="127.0.0.1", description="Address; 0.0.0.0 for the whole network.")
    port: Annotated[int, Field(ge=1, le=65535)] = Field(default=8462, description="TCP port.")
    token_file: FilePath | None = Field(
        default=None,
        description="Whole path. Who knows the word in it may open from the page; absent: nobody.",
    )
    certificate_file: FilePath | None = Field(
        default=None,
        description="Whole path of a PEM file; with it the page is served by https only.",
    )
    key_file: FilePath | None = Field(
        default=None,
        description="Whole path of the certificate's private key, PEM, without a password.",
    )


class SupervisorSettings(Settings):
    """Everything a supervised circuit needs to know. Raises nothing; see ``settings.load``."""

    bank: Bank
    uncommissioned: Literal["accepted"] | None = Field(
        default=None,
        description="accepted: may close although no commissioning record exists. Says so.",
    )
    uncommissioned_reason: Annotated[str, Field(min_length=8, max_length=200)] | None = Field(
        default=None, description="Why nobody tested this build; shown wherever its state is shown."
    )
    bus: Bus = Bus()
    gpio: Gpio = Gpio()
    converters: dict[str, Converter] = Field(
        description="The converters by name; the channels refer to these names."
    )
    channels: Channels
    probes: dict[str, Probe] = Field(
        default_factory=dict, description="The temperature probes, by names of your own."
    )
    second_line: SecondLine | None = Field(
        default=None, description="Hard limit by the chip itself, if fitted."
    )
    contactor: Contactor
    mains_contactor: MainsContactor | None = None
    panel: Panel = Panel()
    loop: Loop = Loop()
    session: Session = Session()
    profile: Annotated[str, Field(min_length=1, max_length=60)] = Field(
        default="bank", description="What these settings are for, shown everywhere."
    )
    profiles: dict[str, Profile] = Field(
        default_factory=dict, description="Other jobs with the same build, by names of your own."
    )
    charge: Charge | None = Field(
        default=None, description="The charge as it should go: stage, forecast, cues, its end."
    )
    protection: Protection
    journal: Journal = Journal()
    web: Web = Web()

    @property
    def is_of_profile(self) -> bool:
        """Of one of the file's profiles, not the file's own."""
        return self.profile in self.profiles

    @property
    def lease_s(self) -> float:
        """How long permission to be closed lasts, from the renewal that last fed the driver.

        Always shorter than a pulse driver holds, by a cycle: it would let go, and pull in again
        at the next edge, while the loop believes the circuit closed all the time.
        """
        dropout_milliseconds = self.contactor.dropout_milliseconds
        if self.contactor.drive == "pulse" and dropout_milliseconds:
            return min(self.loop.lease_s, dropout_milliseconds / 1000 - self.loop.cycle_s)
        return self.loop.lease_s
