"""What tells sensing faults from readings: limits that leave room for both."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.currents import smallest_amperes
from supervisor.settings.cross_checks.wiring import cell_blocks
from supervisor.settings.hardware import DEAD_ZERO_VOLTS, OPEN_LEAD_TOLERANCE, CellChannel
from supervisor.settings.model import SupervisorSettings

# Ohmic resistance of one large cell at the least: common practice, no source.
LEAST_CELL_MICROOHM = 100.0


def sensing_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    yield from _zero(settings)
    yield from _step(settings)
    yield from _least_answer(settings)
    for path, channel in cell_blocks(settings):
        if channel.open_lead_volts is not None:
            yield from _open_lead(f"{path}.open_lead_volts", channel, channel.open_lead_volts)


def _zero(settings: SupervisorSettings) -> Iterator[Contradiction]:
    path, zero_a = "protection.sensing.zero_amperes", settings.protection.sensing.zero_amperes
    flows_a = settings.protection.failed_to_open.current_amperes
    smallest_a = smallest_amperes(settings.channels.shunt)
    if zero_a >= flows_a:
        yield Contradiction(
            path,
            f"{zero_a:g} A is not below failed_to_open.current_amperes, {flows_a:g} A.",
            "Beyond that the contactor has not opened; an offset must be told before.",
            f"Write less than {flows_a:g}, such as {0.4 * flows_a:.2g}.",
        )
    if zero_a < smallest_a:
        yield Contradiction(
            path,
            f"{zero_a:g} A is less than shunt and converter can tell from nothing, "
            f"{smallest_a:.3g} A.",
            "The converter's own offset and noise would keep the contactor from closing.",
            f"Write more than {smallest_a:.3g}, or use a shunt with more millivolts.",
        )


def _step(settings: SupervisorSettings) -> Iterator[Contradiction]:
    step_a = settings.protection.sensing.step_amperes
    zero_a = settings.protection.sensing.zero_amperes
    over_a = settings.protection.overcurrent.trip_amperes
    if not zero_a < step_a <= over_a / 2:
        yield Contradiction(
            "protection.sensing.step_amperes",
            f"{step_a:g} A is not between zero_amperes, {zero_a:g} A, and half of "
            f"overcurrent.trip_amperes, {over_a / 2:g} A.",
            "A step so large never comes, and one so small may be noise: the answer of the "
            "voltage would never be looked at, or wrongly.",
            "Write a value between the two: a turn of the knob such as is usual here.",
        )


def _least_answer(settings: SupervisorSettings) -> Iterator[Contradiction]:
    least = settings.protection.sensing.least_answer_microohms
    cells = settings.bank.cells_in_parallel
    bank = LEAST_CELL_MICROOHM / cells
    if least > bank:
        yield Contradiction(
            "protection.sensing.least_answer_microohms",
            f"{least:g} microohms are more than {cells} good cells in parallel may have, "
            f"{bank:.3g}.",
            "A healthy bank would answer with less, and be taken for a sense lead gone astray.",
            f"Write at most {bank:.3g}.",
        )


def _open_lead(path: str, channel: CellChannel, level_v: float) -> Iterator[Contradiction]:
    low_v, high_v = ((1 + way * OPEN_LEAD_TOLERANCE) * level_v for way in (-1, 1))
    live_v, dead_v = channel.plausible_volts[0], channel.offset_volts + DEAD_ZERO_VOLTS
    if high_v >= live_v:
        yield Contradiction(
            path,
            f"{level_v:g} V, give or take {OPEN_LEAD_TOLERANCE:.0%}, come up to the lower end of "
            f"plausible_volts, {live_v:g} V.",
            "A lead that came off would be believed as a cell.",
            f"Write less than {live_v / (1 + OPEN_LEAD_TOLERANCE):.2f}, with a bias resistor to "
            "suit.",
        )
    if low_v <= dead_v:
        yield Contradiction(
            path,
            f"{level_v:g} V, give or take {OPEN_LEAD_TOLERANCE:.0%}, come down to what a shorted "
            f"lead reads, {dead_v:g} V.",
            "An open lead could not be told from a shorted one.",
            f"Write more than {dead_v / (1 - OPEN_LEAD_TOLERANCE):.2f}, with a bias resistor to "
            "suit.",
        )
