"""Each way in which a single answer cannot be true: what it says, why, and what to do about it."""

from collections.abc import Mapping
from typing import NamedTuple

from supervisor.readings import Quality
from supervisor.settings.hardware import CellChannel, ShuntChannel


class Flaw(NamedTuple):
    """``says`` comes after the channel's name, ``cause`` after a colon."""

    says: str
    cause: str
    remedy: str


OPEN_OR_SHORTED = Flaw(
    "has an open lead",
    "it reads near 0 V, as a lead does that is off, broken or shorted; which of them, only a bias "
    "resistor could tell (open_lead_volts)",
    "look at the sense lead at both ends, at its fuse, and for a place where its wires touch; "
    "measure at the converter's input with a meter: it must show the cell's voltage",
)

FLAWS: Mapping[Quality, Flaw] = {
    Quality.CLIPPED: Flaw(
        "is clipped",
        "it is beyond the converter's range",
        "look for a sense lead on the wrong terminal, a broken divider, or range_volts set too "
        "small",
    ),
    Quality.OUT_OF_RANGE: Flaw(
        "is out of range",
        "no live cell reads so, and no lead that is plainly off or shorted",
        "measure at the cell's terminals and at the converter's input with a meter: if the two "
        "differ, look for a bad joint, a broken divider, a lead on the wrong part or, a little "
        "below zero, one the wrong way round",
    ),
    Quality.FROZEN: Flaw(
        "is frozen",
        "the very same code for too long, while a live converter has noise",
        "switch the converter's supply off and on; if it comes again, replace the converter",
    ),
    Quality.NOT_READY: Flaw(
        "is not ready",
        "the converter does not finish its conversions in time",
        "look at the converter's supply, and for a bus wire held low",
    ),
    Quality.CONFIG_CHANGED: Flaw(
        "came with its configuration changed",
        "the converter reads back other settings than were written, though it has kept them before",
        "look at the bus wires and their pull-ups, keep them short and away from coil and power "
        "leads; then at the converter's ground",
    ),
    Quality.CHIP_RESET: Flaw(
        "was lost to a reset",
        "the converter is back at its power-on values, so its supply broke down",
        "look at the converter's supply and ground: joints, regulator, and whether the contactor's "
        "coil pulls it down",
    ),
    Quality.WRONG_CHIP: Flaw(
        "is read by the wrong chip",
        "what answers at the converter's address has never once kept what was written to it",
        "compare the address in the settings with the chip's ADDR pin, and look for another chip "
        "at that address; it must be an ADS1115",
    ),
    Quality.TOO_COARSE: Flaw(
        "is too coarse",
        "the converter gives nothing but multiples of 16: a 12-bit part sold as a 16-bit one",
        "replace the converter by a real ADS1115; an ADS1015 looks the same and cannot tell "
        "millivolts",
    ),
    Quality.LEAD_OPEN: Flaw(
        "has an open lead",
        "it reads what its bias resistor holds it at with the lead off",
        "look at the sense lead at both ends, for a break, and at its fuse",
    ),
    Quality.LEAD_SHORTED: Flaw(
        "has a shorted lead",
        "it reads dead zero, where an open one would not",
        "take the sense lead off the cell, look for the place where its wires touch, and whether "
        "its fuse has blown; a lead that is warm has carried the bank's current",
    ),
    Quality.LEAD_REVERSED: Flaw(
        "has a reversed lead",
        "it reads a cell's voltage with the wrong sign",
        "swap the two wires of the sense lead, at the cell or at the converter",
    ),
}


def flaws_of(wiring: CellChannel | ShuntChannel) -> Mapping[Quality, Flaw]:
    """The same for one channel: without a bias resistor an open lead reads like a shorted one."""
    if isinstance(wiring, CellChannel) and wiring.open_lead_volts is None:
        return {**FLAWS, Quality.LEAD_OPEN: OPEN_OR_SHORTED}
    return FLAWS
