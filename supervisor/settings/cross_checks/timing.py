"""Times of loop, lease, driver and rules among themselves."""

from collections.abc import Iterator
from math import ceil
from typing import NamedTuple

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.wiring import channel_blocks
from supervisor.settings.model import SupervisorSettings

CLOCK_TOLERANCE = 1.15  # conversion time allowed, over the nominal one: the chip's clock is +-10 %
TRANSFERS = 4  # a conversion
TRANSFER_S = {100: 1.9e-3, 400: 0.5e-3}  # all four of them, by bus speed in kHz
PROBE_TRANSFERS = 1  # in one cycle, for all probes
SECOND_LINE_TRANSFERS = 2  # in one cycle
FULL = 0.9  # of a cycle may go to the scan
RIPPLE_HZ = (100, 120)  # full-wave rectified 50 and 60 Hz
FEWEST_CYCLES = 3
SCANS = range(4, 41)
WINDOWS_MS = (100, 200)


def timing_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    yield from _beat(settings)
    yield from _scan_time(settings)
    yield from _drive(settings)
    yield from _hold_times(settings)
    yield from _rule_times(settings)
    yield from _failed_to_open(settings)
    yield from _counts(settings)


def _beats(window_ms: int, scans: int) -> int | None:
    """The ripple frequency that falls on the same phase in every scan, in hertz."""
    cycles = {hz: hz * window_ms // 1000 for hz in RIPPLE_HZ}
    return next((hz for hz, count in cycles.items() if count % scans == 0), None)


def _beat(settings: SupervisorSettings) -> Iterator[Contradiction]:
    loop = settings.loop
    hz = _beats(loop.window_milliseconds, loop.scans_per_window)
    if hz is None:
        return
    yield Contradiction(
        "loop.scans_per_window",
        f"{loop.scans_per_window} scans in {loop.window_milliseconds} ms meet the ripple of "
        f"{hz // 2} Hz mains ({hz} Hz) always at the same point of its wave.",
        "The mean would then hold the crest or the trough of the ripple instead of the mean.",
        f"Write {_good_scans(settings)}.",
    )


def scan_s(settings: SupervisorSettings) -> float:
    """Time to read all channels once, and for what else goes over the bus in a cycle."""
    converters = [
        settings.converters[channel.converter]
        for _, channel in channel_blocks(settings)
        if channel.converter in settings.converters
    ]
    transfers_s = TRANSFER_S[settings.bus.kilohertz]
    probes = PROBE_TRANSFERS * any(probe.chip == "lm75" for probe in settings.probes.values())
    second_line = SECOND_LINE_TRANSFERS * (settings.second_line is not None)
    beside_s = (probes + second_line) * transfers_s / TRANSFERS
    return beside_s + sum(CLOCK_TOLERANCE / c.samples_per_second + transfers_s for c in converters)


def _scan_time(settings: SupervisorSettings) -> Iterator[Contradiction]:
    takes_s, cycle_s = scan_s(settings), settings.loop.cycle_s
    if takes_s > cycle_s * FULL:
        yield Contradiction(
            "loop.scans_per_window",
            f"One scan takes {takes_s * 1000:.1f} ms, but a cycle is only {cycle_s * 1000:.1f} ms "
            "and a tenth of it must be free.",
            "The loop would be late in every cycle, and loop_overrun would trip.",
            f"Write {_good_scans(settings)}; or samples_per_second: 860, or a bus of 400 kHz.",
        )


def _good_scans(settings: SupervisorSettings) -> str:
    """The most scans in the shortest window that neither beat nor are too many."""
    for window_ms in WINDOWS_MS:
        for scans in reversed(SCANS):
            if scans <= _most(settings.loop.scans_per_window) and _fits(settings, window_ms, scans):
                window = f" with window_milliseconds: {window_ms}"
                same = window_ms == settings.loop.window_milliseconds
                return f"scans_per_window: {scans}{'' if same else window}"
    return "fewer scans_per_window"


def _most(scans: int) -> int:
    """Proposals stay near what was asked for, and at 7 or more."""
    return max(scans + 1, 7)


def _fits(settings: SupervisorSettings, window_ms: int, scans: int) -> bool:
    free_s = window_ms / 1000 / scans * FULL
    return _beats(window_ms, scans) is None and scan_s(settings) <= free_s


def _drive(settings: SupervisorSettings) -> Iterator[Contradiction]:
    contactor, loop = settings.contactor, settings.loop
    dropout_ms = contactor.dropout_milliseconds
    if contactor.drive == "pulse" and dropout_ms is None:
        yield Contradiction(
            "contactor.dropout_milliseconds",
            "drive is pulse, but dropout_milliseconds is missing.",
            "The time to open is counted from the last edge: without it no limit can be checked.",
            "Measure how long the driver holds after the last edge and write that.",
        )
    if contactor.drive == "level" and dropout_ms is not None:
        yield Contradiction(
            "contactor.dropout_milliseconds",
            "drive is level, but dropout_milliseconds belongs to pulse.",
            "It is not clear which driver is fitted, and the two open differently.",
            "Take dropout_milliseconds out, or write drive: pulse.",
        )
    if contactor.drive == "pulse" and dropout_ms and dropout_ms > loop.lease_milliseconds:
        yield Contradiction(
            "contactor.dropout_milliseconds",
            f"The driver holds for {dropout_ms:g} ms, longer than the lease of "
            f"{loop.lease_milliseconds:g} ms.",
            "A driver that outlasts the permission keeps the contactor closed without it.",
            f"Choose the driver's timing for at most {loop.lease_milliseconds:g} ms.",
        )


class _Hold(NamedTuple):
    """What lets the contactor go without a renewal; of its time ``reserve_s`` does not count."""

    path: str
    name: str
    whole_s: float
    reserve_s: float

    @property
    def hold_s(self) -> float:
        return self.whole_s - self.reserve_s


def _holds(settings: SupervisorSettings) -> Iterator[_Hold]:
    yield _Hold("loop.lease_milliseconds", "lease", settings.loop.lease_s, 0.0)
    contactor = settings.contactor
    if contactor.drive == "pulse" and contactor.dropout_milliseconds is not None:
        # The lease is shorter by a cycle, and every second edge falls and feeds nothing.
        yield _Hold(
            "contactor.dropout_milliseconds",
            "driver's dropout, less two cycles,",
            contactor.dropout_milliseconds / 1000,
            2 * settings.loop.cycle_s,
        )


def _hold_times(settings: SupervisorSettings) -> Iterator[Contradiction]:
    cycle_s, rules = settings.loop.cycle_s, settings.protection
    causes = (
        ("sensing.trip_after_seconds", rules.sensing.trip_after_seconds),
        ("stale.trip_after_seconds", rules.stale.trip_after_seconds),
        ("loop_overrun.trip_late_seconds", rules.loop_overrun.trip_late_seconds),
    )
    for hold in _holds(settings):
        path, name, hold_s = hold.path, hold.name, hold.hold_s
        if hold_s < FEWEST_CYCLES * cycle_s:
            yield Contradiction(
                path,
                f"The {name} of {hold_s * 1000:.4g} ms is shorter than {FEWEST_CYCLES} cycles of "
                f"{cycle_s * 1000:.1f} ms.",
                "One late cycle would open the contactor.",
                f"Write at least {ceil((FEWEST_CYCLES * cycle_s + hold.reserve_s) * 1000)}.",
            )
        slowest, after_s = max(causes, key=lambda cause: cause[1])
        if hold_s <= after_s + cycle_s:
            yield Contradiction(
                path,
                f"The {name} of {hold_s * 1000:.4g} ms is not longer than {slowest} "
                f"({after_s * 1000:g} ms) and one cycle.",
                "The contactor would let go before the rule can name the cause, and pull in again "
                "with the next good reading.",
                f"Write more than {ceil((after_s + cycle_s + hold.reserve_s) * 1000)}, "
                f"or lower {slowest}.",
            )


def _rule_times(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rules, cycle_s = settings.protection, settings.loop.cycle_s
    for rule in ("sensing", "stale"):
        after_s = getattr(rules, rule).trip_after_seconds
        if after_s < FEWEST_CYCLES * cycle_s:
            yield Contradiction(
                f"protection.{rule}.trip_after_seconds",
                f"{after_s:g} s is shorter than {FEWEST_CYCLES} cycles of {cycle_s * 1000:.1f} ms.",
                "A single bad reading would trip and lock out.",
                f"Write at least {FEWEST_CYCLES * cycle_s:.3f}.",
            )
    overrun = rules.loop_overrun
    if overrun.trip_misses * cycle_s > overrun.in_seconds:
        yield Contradiction(
            "protection.loop_overrun.trip_misses",
            f"There are fewer than {overrun.trip_misses} cycles in {overrun.in_seconds:g} s.",
            "So many deadlines cannot be missed in that time: the rule could never trip.",
            f"Write fewer than {int(overrun.in_seconds / cycle_s)}, or a longer in_seconds.",
        )


def _failed_to_open(settings: SupervisorSettings) -> Iterator[Contradiction]:
    contactor, rule = settings.contactor, settings.protection.failed_to_open
    dropout_ms = contactor.dropout_milliseconds or 0.0
    slowest_s = (contactor.release_milliseconds + dropout_ms) / 1000 + 2 * settings.loop.window_s
    if rule.within_seconds < slowest_s:
        yield Contradiction(
            "protection.failed_to_open.within_seconds",
            f"{rule.within_seconds:g} s is shorter than release, dropout and two windows together, "
            f"{slowest_s:.3g} s.",
            "Every ordinary opening would look like a welded contactor.",
            f"Write at least {slowest_s:.3g}, or use a faster contactor.",
        )


def _counts(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rules = settings.protection
    for name in type(rules).model_fields:
        rule = getattr(rules, name)
        confirm, of = getattr(rule, "confirm", 0), getattr(rule, "of", 0)
        if confirm > of:
            yield Contradiction(
                f"protection.{name}.confirm",
                f"{confirm} out of {of} can never be reached.",
                "The rule would never trip.",
                f"Write at most {of}, or raise `of`.",
            )
