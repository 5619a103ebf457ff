"""Current limits among themselves, and within what shunt and converter can bear and show."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.hardware import CODES_PER_RANGE, ShuntChannel
from supervisor.settings.model import SupervisorSettings

CONTINUOUS = 2 / 3  # of the rating: practice of the trade for shunts in continuous use
READABLE = 1.25  # times the trip must still lie in the range: overcurrent, not a clipped code
LARGEST_SHARE = 0.1  # of overcurrent: what still tells current from none (practice)
FEWEST_CODES = 8  # twice the offset of the data sheet (3 codes) and its noise


def current_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    yield from _shunt_rating(settings)
    yield from _shunt_range(settings)
    yield from _small_limits(settings)


def smallest_amperes(shunt: ShuntChannel) -> float:
    """What shunt and converter can tell from nothing."""
    return FEWEST_CODES * shunt.range_volts / CODES_PER_RANGE / shunt.ohms * shunt.gain


def _shunt_rating(settings: SupervisorSettings) -> Iterator[Contradiction]:
    trip = settings.protection.overcurrent.trip_amperes
    rated = settings.channels.shunt.rated_amperes
    if trip > rated * CONTINUOUS:
        yield Contradiction(
            "protection.overcurrent.trip_amperes",
            f"{trip:g} A is more than two thirds of the shunt's {rated:g} A.",
            "A shunt that carries more for hours overheats, and its resistance changes for good.",
            f"Write at most {int(rated * CONTINUOUS)}, or fit a shunt of at least "
            f"{trip / CONTINUOUS:.0f} A.",
        )


def _shunt_range(settings: SupervisorSettings) -> Iterator[Contradiction]:
    shunt = settings.channels.shunt
    trip = settings.protection.overcurrent.trip_amperes
    highest = (trip * READABLE - shunt.offset_amperes) / shunt.gain * shunt.ohms
    if highest > shunt.range_volts:
        yield Contradiction(
            "channels.shunt.range_volts",
            f"{trip * READABLE:g} A, the overcurrent limit and a quarter more, are "
            f"{highest * 1000:.1f} mV at the shunt: outside the range of "
            f"{shunt.range_volts * 1000:g} mV.",
            "An overcurrent would clip the code and count as a sensing fault.",
            "Write the next larger range_volts, or lower overcurrent.trip_amperes.",
        )


def _small_limits(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rules = settings.protection
    over = rules.overcurrent.trip_amperes
    smallest = smallest_amperes(settings.channels.shunt)
    most = max(LARGEST_SHARE * over, 3 * smallest)
    limits = (
        ("protection.reverse_current.trip_amperes", rules.reverse_current.trip_amperes),
        ("protection.failed_to_open.current_amperes", rules.failed_to_open.current_amperes),
    )
    for path, limit in limits:
        if limit > most:
            yield Contradiction(
                path,
                f"{limit:g} A is more than a tenth of overcurrent.trip_amperes, {over:g} A.",
                "This limit tells current from no current: below it a welded contactor or a failed "
                "rectifier goes unseen.",
                f"Write a few amperes, at most {most:.3g}.",
            )
        if limit < smallest:
            yield Contradiction(
                path,
                f"{limit:g} A is less than shunt and converter can tell from nothing, "
                f"{smallest:.3g} A.",
                "Offset and noise of the converter would trip it without any current.",
                f"Write more than {smallest:.3g}, such as 3; or use a finer range_volts or a shunt "
                "with more millivolts.",
            )
