"""The second line: a converter of its own, limits between the software's and the maker's."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.voltages import converter_range, converter_supply
from supervisor.settings.cross_checks.wiring import channel_blocks, unknown_converter
from supervisor.settings.hardware import SecondLine
from supervisor.settings.model import SupervisorSettings

LEAST_HYSTERESIS_V = 0.05  # ripple and the drop when the current stops must not let it go at once


def second_line_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    line = settings.second_line
    if line is None:
        return
    yield from unknown_converter(settings, "second_line", line.converter)
    yield from _converter_shared(settings, line)
    yield from _trip(settings, line)
    yield from _release(settings, line)
    yield from converter_range(settings, "second_line", line.channel)
    yield from converter_supply(settings, "second_line", line.channel)


def _converter_shared(settings: SupervisorSettings, line: SecondLine) -> Iterator[Contradiction]:
    for path, channel in channel_blocks(settings):
        if channel.converter == line.converter:
            yield Contradiction(
                f"{path}.converter",
                f"{line.converter} is the converter of the second line.",
                "There it converts one input without end; a channel that sets it to another would "
                "take the limit away while nobody sees it.",
                "Give the second line a converter of its own.",
            )


def _trip(settings: SupervisorSettings, line: SecondLine) -> Iterator[Contradiction]:
    software = settings.protection.overvoltage_high_set.trip_volts
    never = settings.bank.never_above_volts
    if line.trip_volts <= software:
        yield Contradiction(
            "second_line.trip_volts",
            f"{line.trip_volts:g} V is not above overvoltage_high_set.trip_volts, {software:g} V.",
            "The second line is for when the software has failed: before it, it would only hide "
            "which limit acted.",
            f"Write a value between {software:g} and {never:g}.",
        )
    if line.trip_volts >= never:
        yield Contradiction(
            "second_line.trip_volts",
            f"{line.trip_volts:g} V is not below bank.never_above_volts, {never:g} V.",
            "It would act only after the cells are harmed. Measuring error comes on top.",
            f"Write a value between {software:g} and {never:g}; `holdwatch check` tells how far.",
        )


def _release(settings: SupervisorSettings, line: SecondLine) -> Iterator[Contradiction]:
    highest = line.trip_volts - LEAST_HYSTERESIS_V
    lowest = settings.protection.undervoltage.trip_volts
    if line.release_volts > round(highest, 6):
        yield Contradiction(
            "second_line.release_volts",
            f"{line.release_volts:g} V is less than {LEAST_HYSTERESIS_V:g} V below "
            f"second_line.trip_volts, {line.trip_volts:g} V.",
            "A cell falls by that much as soon as no current flows: with a level drive whose pin "
            "stays high the coil would pull in again at once, and chatter.",
            f"Write at most {highest:.3f}, better a voltage that a full cell rests at, like 3.4.",
        )
    if line.release_volts <= lowest:
        yield Contradiction(
            "second_line.release_volts",
            f"{line.release_volts:g} V is not above undervoltage.trip_volts, {lowest:g} V.",
            "No healthy cell ever falls so low: once it has acted it would hold the coil off for "
            "good.",
            f"Write a value between {lowest:g} and {highest:.3f}, like 3.4.",
        )
