"""One scan's way from codes to readings, and the windows over it."""

from itertools import pairwise
from math import isfinite, pi, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.measurement.chain import MeasurementChain
from supervisor.measurement.uncertainty import cell_uncertainty_v, current_uncertainty_a
from supervisor.readings import Channel, Quality, Reading, Sample
from supervisor.settings.model import SupervisorSettings

CHANNELS = tuple(Channel)
CELL_LSB_V = 4.096 / 32768  # ADS1115 data sheet
SHUNT_LSB_A = 0.256 / 32768 / (0.050 / 200)
GOOD = Quality.GOOD


def cell_code(volts: float) -> int:
    return round(volts / CELL_LSB_V)


class Scans:
    """Feeds a chain with scans of three channels, 14.3 ms apart, dithered so as not to freeze."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self.chain = MeasurementChain(settings)
        self.cycle_s = settings.loop.cycle_s
        self.k = 0

    @property
    def now_s(self) -> float:
        return 100.0 + self.k * self.cycle_s

    def take(
        self, front: int | Quality = 26400, far: int | Quality = 26400, shunt: int | Quality = 3200
    ) -> dict[Channel, Reading]:
        samples = []
        for i, (channel, what) in enumerate(zip(CHANNELS, (front, far, shunt), strict=True)):
            at_s = self.now_s + i * 0.003
            if isinstance(what, Quality):
                samples.append(Sample(channel, None, what, at_s))
            else:
                samples.append(Sample(channel, what, GOOD, at_s))
        self.k += 1
        return self.chain.take(samples)

    def until_window(self, **codes: int | Quality) -> dict[Channel, Reading]:
        for _ in range(20):
            self.take(**codes)
            window, is_new = self.chain.window()
            if is_new:
                assert window is not None
                return window
        raise AssertionError("no window closed in 20 scans")


def test_calibration_by_the_data_sheet(hut_settings: SupervisorSettings) -> None:
    scan = Scans(hut_settings).take(front=28800, far=26400, shunt=3200)
    front, shunt = scan[Channel.FRONT_CELL], scan[Channel.SHUNT]
    assert front.value == pytest.approx(3.6, abs=1e-12)
    assert shunt.value == pytest.approx(100.0, abs=1e-9)
    wiring = hut_settings.channels
    assert front.uncertainty == pytest.approx(cell_uncertainty_v(wiring.front_cell, 3.6))
    assert shunt.uncertainty == pytest.approx(current_uncertainty_a(wiring.shunt, 100.0))
    assert (front.low, front.high) == (front.value, front.value)
    assert front.taken_at_s == 100.0


def test_gain_and_offset(hut_settings: SupervisorSettings) -> None:
    channels = hut_settings.channels
    front = channels.front_cell.model_copy(update={"gain": 2.0, "offset_volts": 0.01})
    shunt = channels.shunt.model_copy(update={"gain": 1.02, "offset_amperes": -0.5})
    changed = channels.model_copy(update={"front_cell": front, "shunt": shunt})
    scan = Scans(hut_settings.model_copy(update={"channels": changed})).take(14400, 26400, -3200)
    assert scan[Channel.FRONT_CELL].value == pytest.approx(3.61)
    assert scan[Channel.SHUNT].value == pytest.approx(-102.5)


@pytest.mark.parametrize("code", [0x7FFF, -0x8000])
@pytest.mark.parametrize("channel", CHANNELS)
def test_end_codes_are_no_values(
    hut_settings: SupervisorSettings, code: int, channel: Channel
) -> None:
    """Full-scale codes several times an hour, in the field: overload or error, never a value."""
    codes = {"front": 26400, "far": 26400, "shunt": 3200, channel.value.split("_")[0]: code}
    reading = Scans(hut_settings).take(**codes)[channel]
    assert (reading.value, reading.quality) == (None, Quality.CLIPPED)


@pytest.mark.parametrize(
    ("volts", "quality"),
    [
        (0.0, Quality.LEAD_OPEN),
        (0.9, Quality.OUT_OF_RANGE),
        (1.1, GOOD),
        (4.0, GOOD),
        (4.09, Quality.OUT_OF_RANGE),
        (-3.3, Quality.LEAD_REVERSED),
    ],
)
def test_no_live_cell_reads_so(
    hut_settings: SupervisorSettings, volts: float, quality: Quality
) -> None:
    reading = Scans(hut_settings).take(front=cell_code(volts))[Channel.FRONT_CELL]
    assert reading.quality is quality
    assert (reading.value is None) is (quality is not GOOD)


@pytest.mark.parametrize("quality", [Quality.NO_ANSWER, Quality.NOT_READY, Quality.CONFIG_CHANGED])
def test_bad_samples_keep_their_quality(hut_settings: SupervisorSettings, quality: Quality) -> None:
    scan = Scans(hut_settings).take(far=quality)
    assert scan[Channel.FAR_CELL] == Reading(Channel.FAR_CELL, None, quality, 0.0, 100.003)


def test_frozen_after_its_seconds_and_alive_with_the_next_code(
    hut_settings: SupervisorSettings,
) -> None:
    scans = Scans(hut_settings)
    frozen_s = hut_settings.channels.shunt.frozen_seconds
    first_s = None
    while first_s is None:
        scan = scans.take(front=26400 + scans.k % 2, far=26400 + scans.k % 3, shunt=77)
        if scan[Channel.SHUNT].quality is Quality.FROZEN:
            first_s = scan[Channel.SHUNT].taken_at_s - 100.006
        assert scan[Channel.FRONT_CELL].quality is GOOD
    assert first_s == pytest.approx(frozen_s, abs=2 * scans.cycle_s)
    assert scans.take(shunt=78)[Channel.SHUNT].quality is GOOD


def test_isolated_zeros_do_not_make_a_quiet_channel_frozen(
    hut_settings: SupervisorSettings,
) -> None:
    """Only the time between two good ones counts, and here there is none."""
    scans = Scans(hut_settings)
    for k in range(3000):
        scan = scans.take(front=0 if k % 2 else 26400)
        assert scan[Channel.FRONT_CELL].quality is not Quality.FROZEN


def test_a_window_closes_when_every_channel_has_left_it(hut_settings: SupervisorSettings) -> None:
    """Its end falls between two channels of a scan: the mean waits for the next."""
    chain, cycle_s = MeasurementChain(hut_settings), hut_settings.loop.cycle_s
    end_s = -0.25 * cycle_s + hut_settings.loop.window_s
    starts_s = [k * cycle_s for k in range(6)] + [end_s - 0.001, end_s + 0.013]
    closed = []
    for start_s in starts_s:
        chain.take([Sample(c, 26400 + round(1000 * start_s), GOOD, start_s + 0.003 * i)
                    for i, c in enumerate(CHANNELS)])  # fmt: skip
        closed.append(chain.window()[1])
    assert closed == [False] * 7 + [True]


def test_a_window_of_steady_readings(hut_settings: SupervisorSettings) -> None:
    window = Scans(hut_settings).until_window()
    front, shunt = window[Channel.FRONT_CELL], window[Channel.SHUNT]
    assert (front.value, shunt.value) == (pytest.approx(3.3), pytest.approx(100.0))
    assert front.quality is GOOD
    assert front.taken_at_s == shunt.taken_at_s
    wiring = hut_settings.channels.front_cell
    assert front.uncertainty == pytest.approx(cell_uncertainty_v(wiring, 3.3))


def test_windows_close_every_hundred_milliseconds(hut_settings: SupervisorSettings) -> None:
    scans = Scans(hut_settings)
    ends = [scans.until_window()[Channel.SHUNT].taken_at_s for _ in range(50)]
    assert [b - a for a, b in pairwise(ends)] == pytest.approx([0.1] * 49)
    # All but at once: a window is known within a cycle of its end.
    assert scans.now_s - scans.cycle_s - ends[-1] < scans.cycle_s


def test_the_first_window_is_none_before_it_closes(hut_settings: SupervisorSettings) -> None:
    scans = Scans(hut_settings)
    assert scans.chain.window() == (None, False)
    scans.take()
    assert scans.chain.window() == (None, False)


def test_ripple_at_twice_mains_is_averaged_out(hut_settings: SupervisorSettings) -> None:
    scans = Scans(hut_settings)
    means, extremes = [], []
    while len(means) < 20:
        ripple_v = 0.02 * sin(2 * pi * 100 * scans.now_s + 0.7)
        scans.take(front=cell_code(3.3 + ripple_v))
        window, is_new = scans.chain.window()
        if window and is_new:
            means.append(window[Channel.FRONT_CELL].value)
            extremes.append(window[Channel.FRONT_CELL].high)
    assert means[1:] == pytest.approx([3.3] * 19, abs=CELL_LSB_V / 2)
    assert min(extremes) > 3.315


def test_isolated_bad_samples_do_not_spoil_a_window(hut_settings: SupervisorSettings) -> None:
    scans = Scans(hut_settings)
    scans.until_window(front=26401, far=26401, shunt=3201)  # no 12-bit part
    scans.until_window()
    for _ in range(10):
        codes: list[int | Quality] = [26400, 0, 26400, 0x7FFF, 26400, 26400, 26400]
        for code in codes:
            scans.take(front=code)
        window, _ = scans.chain.window()
        assert window is not None
        assert window[Channel.FRONT_CELL].value == pytest.approx(3.3)


def test_every_second_sample_bad_is_too_few(hut_settings: SupervisorSettings) -> None:
    scans = Scans(hut_settings)
    for k in range(40):
        scans.take(front=0 if k % 2 else 26400, far=26401, shunt=3201)
    window, _ = scans.chain.window()
    assert window is not None
    assert window[Channel.FRONT_CELL].quality is Quality.TOO_FEW
    assert window[Channel.FAR_CELL].quality is GOOD


def test_no_burst_of_windows_after_a_stall(hut_settings: SupervisorSettings) -> None:
    scans = Scans(hut_settings)
    before_s = scans.until_window()[Channel.SHUNT].taken_at_s
    scans.k += 70  # ten windows without a scan
    scans.take()
    window, is_new = scans.chain.window()
    assert is_new
    assert window is not None
    assert {reading.quality for reading in window.values()} == {Quality.TOO_FEW}
    assert window[Channel.SHUNT].taken_at_s == pytest.approx(before_s + 1.0)
    later = [scans.until_window() for _ in range(2)]
    assert later[-1][Channel.SHUNT].quality is GOOD
    assert later[-1][Channel.SHUNT].taken_at_s == pytest.approx(before_s + 1.2)


def test_a_channel_that_is_silent_holds_up_no_other(hut_settings: SupervisorSettings) -> None:
    scans = Scans(hut_settings)
    window = scans.until_window(far=Quality.NO_ANSWER)
    assert window[Channel.FAR_CELL].quality is Quality.TOO_FEW
    assert window[Channel.FRONT_CELL].quality is GOOD


def test_nothing_taken_is_nothing_read(hut_settings: SupervisorSettings) -> None:
    chain = MeasurementChain(hut_settings)
    assert chain.take([]) == {}
    assert chain.window() == (None, False)


def test_far_cell_need_not_be_fitted(hut_settings: SupervisorSettings) -> None:
    channels = hut_settings.channels.model_copy(update={"far_cell": None})
    chain = MeasurementChain(hut_settings.model_copy(update={"channels": channels}))
    for k in range(12):
        for_scan = [Channel.FRONT_CELL, Channel.SHUNT]
        chain.take([Sample(c, 26400 + k % 2, GOOD, k / 70 + 0.003 * i)
                    for i, c in enumerate(for_scan)])  # fmt: skip
    window, _ = chain.window()
    assert window is not None
    assert set(window) == {Channel.FRONT_CELL, Channel.SHUNT}


codes = st.one_of(
    st.integers(-0x8000, 0x7FFF), st.sampled_from([0, 0x7FFF, -0x8000, 26400, *Quality])
)
scans = st.lists(st.tuples(codes, codes, codes, st.floats(-0.05, 0.5)), max_size=40)


@given(scans)
def test_every_reading_is_a_good_number_or_none(
    hut_settings: SupervisorSettings, scans: list[tuple[int, int, int, float]]
) -> None:
    chain, t = MeasurementChain(hut_settings), 0.0
    newest_s = -1.0
    for *taken, step_s in scans:
        t += step_s  # now and then backwards
        samples = [
            Sample(channel, None, code, t) if isinstance(code, Quality)
            else Sample(channel, code, GOOD, t)
            for channel, code in zip(CHANNELS, taken, strict=True)
        ]  # fmt: skip
        readings = list(chain.take(samples).values())
        window, is_new = chain.window()
        if window and is_new:
            readings += window.values()
            assert window[Channel.SHUNT].taken_at_s > newest_s
            newest_s = window[Channel.SHUNT].taken_at_s
            assert newest_s <= t
        for reading in readings:
            assert (reading.value is None) is not reading.quality.is_good
            assert isfinite(reading.uncertainty)
            if reading.value is not None:
                assert isfinite(reading.value)
                assert reading.low is not None
                assert reading.high is not None
                assert reading.low <= reading.high
