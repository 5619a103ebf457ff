"""The steps between a fault and an open contactor, each with the longest it can take."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from math import floor

from supervisor.settings.cross_checks.timing import CLOCK_TOLERANCE, scan_s
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.hardware import CellChannel, ShuntChannel
from supervisor.settings.model import SupervisorSettings


class Stage(Enum):
    """What the time is spent on."""

    SEE = "see"  # until a reading shows the fault
    DELAY = "delay"  # until the rule believes it
    LATE = "late"  # the loop may be late
    OPEN = "open"  # from the decision to no current


@dataclass(frozen=True, slots=True)
class Part:
    """One step of a response, and the longest it can take."""

    stage: Stage
    name: str
    seconds: float


def seconds(parts: Iterable[Part]) -> float:
    """What these parts take in all."""
    return sum(part.seconds for part in parts)


def conversion_s(settings: SupervisorSettings, channel: CellChannel | ShuntChannel) -> float:
    """Longest conversion: the chip's clock at its slowest."""
    return CLOCK_TOLERANCE / settings.converters[channel.converter].samples_per_second


class Steps:
    """Chains of steps, ready to be added up."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self._settings = settings
        self.window_s = settings.loop.window_s
        self.cycle_s = settings.loop.cycle_s

    def conversions(self, of: int) -> tuple[Part, ...]:
        """Single conversions, until the contactor is open: the fault begins just after the
        channel's turn."""
        return (*self.conversions_until_known(of), *self.act())

    def conversions_until_known(self, of: int) -> tuple[Part, ...]:
        """As ``conversions``, until the rule knows. All may be needed, as some may be bad."""
        return (
            Part(Stage.SEE, "wait for the next scan", self.cycle_s),
            *_if_any(Stage.DELAY, f"confirmation, up to {of} scans", (of - 1) * self.cycle_s),
            *self._scan(),
        )

    def windows(self, of: int, delay_s: float) -> tuple[Part, ...]:
        """Means of windows, until the contactor is open: the fault begins just after one began."""
        return (*self.windows_until_known(of, delay_s), *self.act())

    def windows_until_known(self, of: int, delay_s: float) -> tuple[Part, ...]:
        """As ``windows``, until the rule knows. All ``of`` windows may be needed."""
        count_s = (of - 1) * self.window_s
        wait_s = _whole(delay_s, self.window_s)
        more = (
            _if_any(Stage.DELAY, f"delay of {delay_s:g} s in whole windows", wait_s)
            if wait_s > count_s
            else _if_any(Stage.DELAY, f"confirmation, up to {of} windows", count_s)
        )
        return (
            Part(Stage.SEE, "wait for a fresh window", self.window_s),
            Part(Stage.SEE, "window", self.window_s),
            *more,
            Part(Stage.SEE, "close of the window", self.cycle_s),
            *self._scan(),
        )

    def answers(self, every_s: float, of: int, delay_s: float) -> tuple[Part, ...]:
        """Answers that come so often, each as old as that when it comes: slow probes, looked at
        when a window closes.
        """
        count_s = (of - 1) * every_s
        wait_s = _whole(delay_s, every_s)
        more = (
            _if_any(Stage.DELAY, f"delay of {delay_s:g} s in whole answers", wait_s)
            if wait_s > count_s
            else _if_any(Stage.DELAY, f"confirmation, up to {of} answers", count_s)
        )
        return (
            Part(Stage.SEE, "wait for a fresh answer", every_s),
            *more,
            Part(Stage.SEE, "age of the answer", every_s),
            *self.next_look(),
            *self._scan(),
            *self.act(),
        )

    def next_look(self) -> tuple[Part, ...]:
        """Until a rule that looks once a window looks again."""
        return (
            Part(Stage.SEE, "wait for a window to close", self.window_s),
            Part(Stage.SEE, "close of the window", self.cycle_s),
        )

    def blind(self, what: str, after_s: float) -> tuple[Part, ...]:
        """Nothing to be seen for so long, found out by the next scan."""
        return (Part(Stage.DELAY, what, after_s), *self.late())

    def late(self) -> tuple[Part, ...]:
        """A cycle so late that it trips by itself."""
        return (Part(Stage.SEE, "next scan", self.cycle_s), *self._scan(), *self.act())

    def act(self) -> tuple[Part, ...]:
        """A cycle later than tolerated trips by itself, or lets the lease run out."""
        return (self.lateness(), *self.release())

    def lateness(self) -> Part:
        """How late the loop may be in all, in one cycle or in many, before something else acts.

        Cycles keep their grid: what is late and no missed deadline does not add up. The last
        delay may be longer than what trips, as the trip comes only after it; with level drive the
        lease ends it, with pulse drive the drop-out, which counts anyhow.
        """
        overrun = self._settings.protection.loop_overrun
        once_s = min(overrun.trip_late_seconds, self._settings.lease_s)
        in_all_s = (overrun.trip_misses + 1) * self.cycle_s
        if self._settings.contactor.drive == "level":
            return Part(
                Stage.LATE, "lateness of the loop, lease", in_all_s + self._settings.lease_s
            )
        return Part(Stage.LATE, "lateness of the loop", max(once_s, in_all_s))

    def expiry(self) -> tuple[Part, ...]:
        """From the last renewal to no current. With pulse drive no more edges come, and the driver
        lets go before the lease ends."""
        pulse = self._settings.contactor.drive == "pulse"
        lease = Part(Stage.DELAY, "lease", self._settings.lease_s)
        return self.release() if pulse else (lease, *self.release())

    def release(self) -> tuple[Part, ...]:
        """From "open" to no current."""
        contactor = self._settings.contactor
        dropout_ms = contactor.dropout_milliseconds if contactor.drive == "pulse" else None
        return (
            *_if_any(Stage.OPEN, "pulse drop-out", (dropout_ms or 0.0) / 1000),
            Part(Stage.OPEN, "contactor release", contactor.release_milliseconds / 1000),
        )

    def _scan(self) -> tuple[Part, ...]:
        """A channel's own conversion, and the others' before the rules are asked."""
        longest_s = max(
            conversion_s(self._settings, c) for c in fitted_channels(self._settings).values()
        )
        return (
            Part(Stage.SEE, "conversion", longest_s),
            Part(Stage.SEE, "other channels, bus", scan_s(self._settings) - longest_s),
        )


def _whole(delay_s: float, period_s: float) -> float:
    """A delay ends with a window or answer; when that comes a moment too early, with the next."""
    if delay_s == 0:
        return 0.0
    return (floor(round(delay_s / period_s, 6)) + 1) * period_s


def _if_any(stage: Stage, name: str, for_s: float) -> tuple[Part, ...]:
    return (Part(stage, name, for_s),) if for_s > 0 else ()
