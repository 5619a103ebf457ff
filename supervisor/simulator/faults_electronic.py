"""Faults of the I2C wire and of the converter chips."""

from typing import Annotated, Any, Literal

from pydantic import Field

from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.i2c import WireTrouble
from supervisor.simulator.rig import Rig

EveryNth = Annotated[int, Field(ge=2, le=1_000_000)]


# --- the wire


class _WireFault(FaultSettings):
    def trouble(self) -> dict[str, Any]:
        """Attributes of ``WireTrouble`` while it lasts."""
        raise NotImplementedError

    def strike(self, rig: Rig) -> None:
        for name, value in self.trouble().items():
            setattr(rig.wire.trouble, name, value)

    def heal(self, rig: Rig) -> None:
        healthy = WireTrouble()
        for name in self.trouble():
            setattr(rig.wire.trouble, name, getattr(healthy, name))


class BusError(_WireFault):
    """Transfers fail at once."""

    kind: Literal["bus_error"]
    errno: Literal[5, 6, 110, 121] = Field(
        default=121, description="What the kernel says: 121 no acknowledge, 5, 6, 110."
    )
    transfers: Annotated[int, Field(ge=1)] | None = Field(
        default=None, description="So many of them; left out: until cleared."
    )
    until_reopened: bool = Field(
        default=False, description="The bus state is lost until the bus is closed and opened."
    )

    def trouble(self) -> dict[str, Any]:
        return {
            "error": self.errno,
            "error_transfers": self.transfers,
            "error_until_reopened": self.until_reopened,
        }


class BusStuckLow(_WireFault):
    """The data line is held low: reads give 0000h, writes are acknowledged and lost."""

    kind: Literal["bus_stuck_low"]

    def trouble(self) -> dict[str, Any]:
        return {"stuck_low": True}


class SlowBus(_WireFault):
    """Every transfer takes longer."""

    kind: Literal["slow_bus"]
    factor: Annotated[float, Field(gt=1, le=1000)]

    def trouble(self) -> dict[str, Any]:
        return {"slow_factor": self.factor}


class BusHang(_WireFault):
    """Every transfer blocks in the driver, past any deadline, and then times out."""

    kind: Literal["bus_hang"]
    seconds: Annotated[float, Field(gt=0, le=3600)]

    def trouble(self) -> dict[str, Any]:
        return {"hang_s": self.seconds}


class ShiftedWords(_WireFault):
    """Words read arrive shifted by one bit."""

    kind: Literal["shifted_words"]
    every: Annotated[int, Field(ge=1, le=1_000_000)] = Field(
        description="Every Nth read; 1 is all of them."
    )

    def trouble(self) -> dict[str, Any]:
        return {"shift_every": self.every}


# --- the converter chips


class _ChipFault(FaultSettings):
    converter: str | None = Field(default=None, description="Its name; left out: all of them.")

    def _set(self, rig: Rig, trouble: str, value: object) -> None:
        for chip in rig.chips_named(self.converter):
            setattr(chip.trouble, trouble, value)


class ChipAbsent(_ChipFault):
    """No answer: unpowered, or a wire is off."""

    kind: Literal["chip_absent"]
    errno: Literal[6, 121] = 121

    def strike(self, rig: Rig) -> None:
        rig.wire.absent_errno = self.errno
        rig.wire.absent |= self._addresses(rig)

    def heal(self, rig: Rig) -> None:
        """Power is back, so the chip starts from its defaults."""
        rig.wire.absent -= self._addresses(rig)
        for chip in rig.chips_named(self.converter):
            chip.reset(rig.now_s())

    def _addresses(self, rig: Rig) -> set[int]:
        names = rig.chips if self.converter is None else [self.converter]
        return {rig.address_of(name) for name in names}


class ChipReset(_ChipFault):
    """A brown-out: the chip is back at its defaults, a running conversion is lost."""

    kind: Literal["chip_reset"]
    every: Annotated[int, Field(ge=1, le=1_000_000)] | None = Field(
        default=None, description="In every Nth conversion, until cleared; left out: once, now."
    )

    def strike(self, rig: Rig) -> None:
        self._set(rig, "reset_every", self.every)
        if self.every is None:
            for chip in rig.chips_named(self.converter):
                chip.reset(rig.now_s())

    def heal(self, rig: Rig) -> None:
        self._set(rig, "reset_every", None)


class ChipCoarse(_ChipFault):
    """A 12-bit part sold as a 16-bit one: the last four bits of every code are zero."""

    kind: Literal["chip_coarse"]

    def strike(self, rig: Rig) -> None:
        self._set(rig, "coarse", True)

    def heal(self, rig: Rig) -> None:
        self._set(rig, "coarse", False)


class ChipForeign(_ChipFault):
    """Another chip at the address: it answers, and keeps only some bits of what is written."""

    kind: Literal["chip_foreign"]

    def strike(self, rig: Rig) -> None:
        self._set(rig, "foreign", True)

    def heal(self, rig: Rig) -> None:
        self._set(rig, "foreign", False)


class ChipFrozen(_ChipFault):
    """Conversions end, but the result never changes again."""

    kind: Literal["chip_frozen"]

    def strike(self, rig: Rig) -> None:
        self._set(rig, "frozen", True)

    def heal(self, rig: Rig) -> None:
        self._set(rig, "frozen", False)


class ChipSlow(_ChipFault):
    """Conversions take longer than the data sheet allows."""

    kind: Literal["chip_slow"]
    factor: Annotated[float, Field(gt=0, le=1000)]

    def strike(self, rig: Rig) -> None:
        self._set(rig, "slow_factor", self.factor)

    def heal(self, rig: Rig) -> None:
        self._set(rig, "slow_factor", 1.0)


class IsolatedZeros(_ChipFault):
    """Every Nth conversion ends as 0000h."""

    kind: Literal["isolated_zeros"]
    every: EveryNth

    def strike(self, rig: Rig) -> None:
        self._set(rig, "zero_every", self.every)

    def heal(self, rig: Rig) -> None:
        self._set(rig, "zero_every", None)


class IsolatedFullScale(_ChipFault):
    """Every Nth conversion ends as 7FFFh."""

    kind: Literal["isolated_full_scale"]
    every: EveryNth

    def strike(self, rig: Rig) -> None:
        self._set(rig, "full_scale_every", self.every)

    def heal(self, rig: Rig) -> None:
        self._set(rig, "full_scale_every", None)
