"""Voltage limits among themselves, and within what the converters can show."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.wiring import cell_blocks
from supervisor.settings.hardware import CellChannel
from supervisor.settings.model import SupervisorSettings

LEAST_PLAUSIBLE_V = 0.5
HEAD_ROOM = 0.97  # of the range: beyond, offset and gain errors may clip the code

_LATE = "The limit would act only after the cells are harmed."


def voltage_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    yield from _against_the_maker(settings)
    yield from _order_of_limits(settings)
    for path, channel in cell_blocks(settings):
        yield from _plausible(settings, path, channel)
        yield from converter_range(settings, path, channel)
        yield from converter_supply(settings, path, channel)


def _against_the_maker(settings: SupervisorSettings) -> Iterator[Contradiction]:
    never = settings.bank.never_above_volts
    for rule in ("overvoltage", "overvoltage_high_set"):
        trip = getattr(settings.protection, rule).trip_volts
        if trip >= never:
            yield Contradiction(
                f"protection.{rule}.trip_volts",
                f"{trip:g} V is not below bank.never_above_volts, {never:g} V.",
                f"{_LATE} Measuring error and the time to open come on top.",
                f"Write a limit well below {never:g}; `holdwatch check` tells how far.",
            )


def _order_of_limits(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rules = settings.protection
    over, high = rules.overvoltage.trip_volts, rules.overvoltage_high_set.trip_volts
    steep, under = rules.rate_of_rise.above_volts, rules.undervoltage.trip_volts
    if high <= over < settings.bank.never_above_volts:
        yield Contradiction(
            "protection.overvoltage_high_set.trip_volts",
            f"{high:g} V is not above overvoltage.trip_volts, {over:g} V.",
            "The high set acts on single conversions: below the mean's limit, ripple trips it "
            "in ordinary use.",
            f"Write a value between {over:g} and {settings.bank.never_above_volts:g}.",
        )
    if steep >= over:
        yield Contradiction(
            "protection.rate_of_rise.above_volts",
            f"{steep:g} V is not below overvoltage.trip_volts, {over:g} V.",
            "The rule would begin to watch the slope only after overvoltage has tripped.",
            f"Write a value below {over:g}: where the voltage begins to run away, such as 3.45.",
        )
    if under >= steep:
        yield Contradiction(
            "protection.undervoltage.trip_volts",
            f"{under:g} V is not below rate_of_rise.above_volts, {steep:g} V.",
            "Ordinary charging lies between the two: there would be nothing in between.",
            "Write the lowest voltage of the maker's data sheet, such as 2.5.",
        )


def _plausible(
    settings: SupervisorSettings, path: str, channel: CellChannel
) -> Iterator[Contradiction]:
    low, high = channel.plausible_volts
    rules = settings.protection
    top = max(rules.overvoltage_high_set.trip_volts, rules.overvoltage.trip_volts)
    bottom = rules.undervoltage.trip_volts
    path = f"{path}.plausible_volts"
    if low >= high:
        yield Contradiction(
            path,
            f"{low:g} is not below {high:g}.",
            "Nothing lies between the two, so no reading would ever be believed.",
            "Write the lower voltage first, like [1.0, 4.05].",
        )
        return
    if high <= top:
        yield Contradiction(
            path,
            f"The upper end, {high:g} V, is not above the highest limit, {top:g} V.",
            "Readings above the limit would count as a wiring fault, not as overvoltage.",
            f"Write an upper end well above {top:g}, such as 4.05.",
        )
    if low < LEAST_PLAUSIBLE_V:
        yield Contradiction(
            path,
            f"The lower end, {low:g} V, is below {LEAST_PLAUSIBLE_V:g} V.",
            "A sense lead that came off reads near 0 V through its bleed resistor. It would be "
            "believed as an empty cell, and no limit would see the real one rise.",
            f"Write at least {LEAST_PLAUSIBLE_V:g}, such as 1.0.",
        )
    if low >= bottom:
        yield Contradiction(
            path,
            f"The lower end, {low:g} V, is not below undervoltage.trip_volts, {bottom:g} V.",
            "Readings below that limit would count as a wiring fault, not as undervoltage.",
            f"Write a lower end well below {bottom:g}, such as 1.0.",
        )


def converter_range(
    settings: SupervisorSettings, path: str, channel: CellChannel
) -> Iterator[Contradiction]:
    """Head room of the range at what the maker forbids."""
    never = settings.bank.never_above_volts
    at_input = (never - channel.offset_volts) / channel.gain
    if at_input > channel.range_volts * HEAD_ROOM:
        yield Contradiction(
            f"{path}.range_volts",
            f"{never:g} V at the cell are {at_input:.3f} V at the converter: too much for its "
            f"range of {channel.range_volts:g} V with {1 - HEAD_ROOM:.0%} to spare.",
            "Near the end of the range the code is clipped: the limit could never be seen.",
            "Write the next larger range_volts, or fit a divider and write its gain.",
        )


def converter_supply(
    settings: SupervisorSettings, path: str, channel: CellChannel
) -> Iterator[Contradiction]:
    """What the maker forbids, at an input that its chip's supply must not be below."""
    converter = settings.converters.get(channel.converter)
    never = settings.bank.never_above_volts
    if converter is None or never / channel.gain <= converter.supply_volts:
        return
    yield Contradiction(
        f"converters.{channel.converter}.supply_volts",
        f"{path.removeprefix('channels.')} puts up to {never / channel.gain:.3f} V on an input of "
        f"{channel.converter}, which has a supply of {converter.supply_volts:g} V.",
        "An input above the supply reads wrong and can destroy the chip, whatever its range.",
        "Supply the converter with 5 V (with level shifting on its bus), or fit a divider and "
        "write its gain.",
    )
