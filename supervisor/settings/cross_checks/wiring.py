"""Converters and their inputs: each exists, is used, and is used once."""

import difflib
from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.hardware import CellChannel, ShuntChannel
from supervisor.settings.model import SupervisorSettings

SHARED_NEGATIVE = "3"  # AIN3 is the negative input of three pairs


def channel_blocks(settings: SupervisorSettings) -> list[tuple[str, CellChannel | ShuntChannel]]:
    """The wired channels, each with its path."""
    return [(f"channels.{c.value}", wiring) for c, wiring in fitted_channels(settings).items()]


def cell_blocks(settings: SupervisorSettings) -> list[tuple[str, CellChannel]]:
    """The wired channels that sense a cell's voltage, each with its path."""
    return [(path, c) for path, c in channel_blocks(settings) if isinstance(c, CellChannel)]


def wiring_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    yield from _unknown_converters(settings)
    yield from _unused_converters(settings)
    yield from _one_address_twice(settings)
    yield from _one_input_twice(settings)
    yield from _single_ended_shunt(settings)


def _unknown_converters(settings: SupervisorSettings) -> Iterator[Contradiction]:
    for path, channel in channel_blocks(settings):
        yield from unknown_converter(settings, path, channel.converter)


def unknown_converter(
    settings: SupervisorSettings, path: str, name: str
) -> Iterator[Contradiction]:
    """The block at ``path`` names a converter that there is not."""
    names = list(settings.converters)
    if name in names:
        return
    close = difflib.get_close_matches(name, names, n=1)
    remedy = f"Write {close[0]}." if close else "Name one of them, or add it to converters."
    yield Contradiction(
        f"{path}.converter",
        f'There is no converter "{name}".',
        f"Nothing can be read without a converter. Known are: {', '.join(names) or 'none'}.",
        remedy,
    )


def _unused_converters(settings: SupervisorSettings) -> Iterator[Contradiction]:
    used = {channel.converter for _, channel in channel_blocks(settings)}
    if settings.second_line:
        used.add(settings.second_line.converter)
    for name in settings.converters:
        if name not in used:
            yield Contradiction(
                f"converters.{name}",
                f"No channel uses the converter {name}, nor does second_line.",
                "Nothing would read it: either a channel is missing or names the wrong one.",
                f"Take the block out, or name {name} in a channel.",
            )


def _one_address_twice(settings: SupervisorSettings) -> Iterator[Contradiction]:
    owners: dict[int, str] = {}
    for name, converter in settings.converters.items():
        owner = owners.setdefault(converter.address, name)
        if owner != name:
            yield Contradiction(
                f"converters.{name}.address",
                f"{name} and {owner} have the same address 0x{converter.address:X}.",
                "Two chips at one address answer at the same time: both readings are rubbish.",
                "Wire the ADDR pin of one of them elsewhere (GND 0x48, VDD 0x49, SDA 0x4A, "
                "SCL 0x4B) and write its address.",
            )


def _one_input_twice(settings: SupervisorSettings) -> Iterator[Contradiction]:
    owners: dict[tuple[str, str], tuple[str, bool]] = {}
    for path, channel in channel_blocks(settings):
        positive, _, negative = channel.inputs.partition("-")
        for chip_input in filter(None, (positive, negative)):
            may_share = chip_input == negative == SHARED_NEGATIVE
            place = (channel.converter, chip_input)
            if place not in owners:
                owners[place] = (path, may_share)
                continue
            owner, owner_may_share = owners[place]
            if may_share and owner_may_share:
                continue
            yield Contradiction(
                f"{path}.inputs",
                f"Input {chip_input} of converter {channel.converter} is already used by {owner}.",
                "Two channels on one input show the same voltage: the second one would watch "
                "nothing.",
                "Give each channel its own inputs. Only input 3 may serve several pairs, as their "
                "negative: 0-3, 1-3, 2-3.",
            )


def _single_ended_shunt(settings: SupervisorSettings) -> Iterator[Contradiction]:
    inputs = settings.channels.shunt.inputs
    if "-" not in inputs:
        yield Contradiction(
            "channels.shunt.inputs",
            f'"{inputs}" reads the shunt against the ground of the chip.',
            "A current out of the bank would put that input below ground, where it cannot be "
            "read, and the drop of the ground wire would be taken for current.",
            'Wire both sense screws of the shunt to a pair: "0-1", "0-3", "1-3" or "2-3".',
        )
