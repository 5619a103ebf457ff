"""From samples to readings: calibrated, judged for quality, and averaged over mains cycles."""

from collections.abc import Sequence

from supervisor.measurement.calibration import calibration, is_clipped
from supervisor.measurement.frozen import FrozenWatch
from supervisor.measurement.mains_window import OUTLIER_V, MainsWindow, WindowGrid
from supervisor.measurement.resolution import Resolution
from supervisor.readings import Channel, Quality, Reading, Sample
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.hardware import CellChannel, ShuntChannel
from supervisor.settings.model import Loop, SupervisorSettings

# Windows end so long before a scan begins, in cycles: jitter must not put one just behind it.
AHEAD_OF_SCAN_CYCLES = 0.25
LONGEST_STEP_CYCLES = 2.0


class MeasurementChain:
    """Turns each scan's samples into readings, and closes all channels' windows together."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self._loop = settings.loop
        chips = {name: Resolution() for name in settings.converters}
        self._lines = {
            channel: _Line(channel, wiring, settings.loop, chips[wiring.converter])
            for channel, wiring in fitted_channels(settings).items()
        }
        self._grid: WindowGrid | None = None
        self._newest_k = -1
        self._window: dict[Channel, Reading] | None = None
        self._window_is_new = False

    def take(self, samples: Sequence[Sample]) -> dict[Channel, Reading]:
        """One scan: the reading of each sample. Samples of one channel must come in time order.

        A value that cannot be true keeps its channel and time and says why in its quality.
        """
        lines = self._lines
        scan = {sample.channel: lines[sample.channel].read(sample) for sample in samples}
        self._window_is_new = bool(samples) and self._close_window(samples)
        return scan

    def window(self) -> tuple[dict[Channel, Reading] | None, bool]:
        """The newest closed window, None before the first; and whether the last take closed it."""
        return self._window, self._window_is_new

    def _close_window(self, samples: Sequence[Sample]) -> bool:
        """Close the newest window that every channel has left. Older unclosed ones are stale."""
        if self._grid is None:
            ahead_s = AHEAD_OF_SCAN_CYCLES * self._loop.cycle_s
            self._grid = WindowGrid(samples[0].taken_at_s - ahead_s, self._loop.window_s)
        k = self._grid.newest_ended(min(sample.taken_at_s for sample in samples))
        if k <= self._newest_k:
            return False
        self._newest_k = k
        start_s, end_s = self._grid.ends(k)
        self._window = {c: line.close_window(start_s, end_s) for c, line in self._lines.items()}
        return True


class _Line:
    """One channel's way from code to reading."""

    __slots__ = ("_calibration", "_channel", "_expanded", "_frozen", "_resolution", "_window")

    def __init__(
        self,
        channel: Channel,
        wiring: CellChannel | ShuntChannel,
        loop: Loop,
        resolution: Resolution,
    ) -> None:
        self._channel = channel
        self._calibration = calibration(wiring)
        self._expanded = self._calibration.budget.expanded
        self._resolution = resolution
        self._frozen = FrozenWatch(wiring.frozen_seconds, LONGEST_STEP_CYCLES * loop.cycle_s)
        outlier = None if channel is Channel.SHUNT else OUTLIER_V * max(1.0, wiring.gain)
        self._window = MainsWindow(loop.scans_per_window, outlier)

    def read(self, sample: Sample) -> Reading:
        quality, value = self._judge(sample)
        at_s = sample.taken_at_s
        if value is None:
            return Reading(self._channel, None, quality, 0.0, at_s)
        self._window.add(at_s, value)
        return Reading(self._channel, value, quality, self._expanded(value), at_s, value, value)

    def close_window(self, start_s: float, end_s: float) -> Reading:
        """The mean, taken at the window's end."""
        window = self._window.close(start_s, end_s)
        if window is None:
            return Reading(self._channel, None, Quality.TOO_FEW, 0.0, end_s)
        mean, u = window.mean, self._expanded(window.mean)
        return Reading(self._channel, mean, Quality.GOOD, u, end_s, window.low, window.high)

    def _judge(self, sample: Sample) -> tuple[Quality, float | None]:
        """The value when it may be believed, and the quality."""
        code = sample.code
        if sample.quality is not Quality.GOOD or code is None:
            self._frozen.interrupt()
            return (Quality.NOT_READY if sample.quality.is_good else sample.quality), None
        in_own_range = code * sample.ratio
        value = self._calibration.value(in_own_range)
        quality = Quality.CLIPPED if is_clipped(in_own_range) else self._calibration.quality(value)
        if quality.is_good and self._resolution.is_too_coarse(code):
            quality = Quality.TOO_COARSE
        if not quality.is_good:
            self._frozen.interrupt()
            return quality, None
        if not sample.is_probe and self._frozen.is_frozen(code, sample.taken_at_s):
            return Quality.FROZEN, None
        return Quality.GOOD, value
