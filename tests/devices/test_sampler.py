"""The sampler: bounded retries, then reopen, then "cannot tell"; it never raises."""

import errno
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from samplers import sampler_on

from supervisor.devices.errors import HardwareMissing
from supervisor.devices.protocols import I2CBus
from supervisor.readings import Channel, Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.ads1115 import ADS1115
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import SimulatedI2C, Wire

BUS_ERRORS = (errno.EREMOTEIO, errno.EIO, errno.ETIMEDOUT, errno.ENXIO, errno.EOPNOTSUPP)


class Bench:
    """The example's converters on a wire, counting how often the bus is opened."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self.clock = SimulatedClock()
        self.wire = Wire(self.clock, settings.bus.kilohertz)
        for converter in settings.converters.values():
            self.wire.chips[converter.address] = ADS1115(self._volts, Random(1))
        self.openings = 0
        self.missing = False
        self.sampler = sampler_on(settings, self.open_bus, self.clock)

    def _volts(self, pin: int, _at_s: float, _span_s: float) -> float:
        return (3.3, 0.0, 3.3, 0.0)[pin]

    def open_bus(self) -> I2CBus:
        if self.missing:
            raise HardwareMissing("there is no bus", "plug it in")
        self.openings += 1
        return SimulatedI2C(self.wire)


@pytest.fixture
def bench(hut_settings: SupervisorSettings) -> Bench:
    return Bench(hut_settings)


def test_every_fitted_channel_is_sampled(bench: Bench) -> None:
    for channel in Channel:
        assert bench.sampler.sample(channel).quality is Quality.GOOD
    assert bench.openings == 1
    assert bench.sampler.counters.conversions == 3


@pytest.mark.parametrize("number", BUS_ERRORS)
def test_one_error_is_retried_and_forgotten(bench: Bench, number: int) -> None:
    bench.sampler.sample(Channel.SHUNT)
    bench.wire.trouble.error, bench.wire.trouble.error_transfers = number, 1
    assert bench.sampler.sample(Channel.SHUNT).quality is Quality.GOOD
    assert (bench.sampler.counters.errors, bench.sampler.counters.retries) == (1, 1)
    assert bench.openings == 1


@pytest.mark.parametrize("number", BUS_ERRORS)
def test_a_bus_that_lost_its_state_is_opened_again(bench: Bench, number: int) -> None:
    bench.sampler.sample(Channel.SHUNT)
    bench.wire.trouble.error = number
    bench.wire.trouble.error_until_reopened = True
    qualities = []
    for _ in range(100):
        qualities.append(bench.sampler.sample(Channel.SHUNT).quality)
        bench.clock.sleep_until(bench.clock.now_s() + 0.005)
    assert qualities[0] is Quality.NO_ANSWER
    assert qualities[-1] is Quality.GOOD
    assert bench.openings == 2
    assert bench.sampler.counters.reopenings == 1


def test_an_adapter_that_is_unplugged_and_comes_back(bench: Bench) -> None:
    bench.sampler.sample(Channel.SHUNT)
    bench.wire.trouble.error = errno.ENODEV
    bench.missing = True
    for _ in range(50):
        assert bench.sampler.sample(Channel.SHUNT).quality is Quality.NO_ANSWER
        bench.clock.sleep_until(bench.clock.now_s() + 0.02)
    bench.wire.trouble.error = None
    bench.missing = False
    bench.clock.sleep_until(bench.clock.now_s() + 1)
    assert bench.sampler.sample(Channel.SHUNT).quality is Quality.GOOD


def test_a_chip_that_is_gone_costs_little_time_and_spares_the_other(bench: Bench) -> None:
    cells = bench.sampler.channels[Channel.FRONT_CELL].converter
    bench.wire.absent.add(bench.sampler._settings.converters[cells].address)
    for _ in range(20):
        before_s = bench.clock.now_s()
        assert bench.sampler.sample(Channel.FRONT_CELL).quality is Quality.NO_ANSWER
        assert bench.clock.now_s() - before_s < 0.003
        assert bench.sampler.sample(Channel.SHUNT).quality is Quality.GOOD


def test_a_fault_that_lasts_is_logged_once(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    bench.sampler.sample(Channel.SHUNT)
    bench.wire.trouble.error = errno.EIO
    for _ in range(50):
        bench.sampler.sample(Channel.SHUNT)
    assert len(caplog.records) <= 3


@given(
    faults=st.lists(
        st.sampled_from([*BUS_ERRORS, "zeros", "slow", "reset", "shifted", "none"]), max_size=40
    )
)
def test_whatever_the_bus_does_a_sample_comes_back_in_bounded_time(
    hut_settings: SupervisorSettings, faults: list[int | str]
) -> None:
    bench = Bench(hut_settings)
    for fault in faults:
        trouble = bench.wire.trouble
        trouble.error = fault if isinstance(fault, int) else None
        trouble.stuck_low = fault == "zeros"
        trouble.shift_every = 2 if fault == "shifted" else None
        for chip in bench.wire.chips.values():
            assert isinstance(chip, ADS1115)
            chip.trouble.slow_factor = 3.0 if fault == "slow" else 1.0
            if fault == "reset":
                chip.reset(bench.clock.now_s())
        before_s = bench.clock.now_s()
        sample = bench.sampler.sample(Channel.FRONT_CELL)
        assert (sample.code is None) is (sample.quality is not Quality.GOOD)
        assert bench.clock.now_s() - before_s < 0.02


def test_a_stuck_result_is_found_within_a_window(hut_settings: SupervisorSettings) -> None:
    """By the probe in the next wider range, whatever the noise: at every phase, at any level."""
    scans = hut_settings.loop.scans_per_window
    for phase in range(scans):
        bench = Bench(hut_settings)
        for _ in range(scans + phase):
            assert bench.sampler.sample(Channel.FRONT_CELL).quality is Quality.GOOD
        for chip in bench.wire.chips.values():
            assert isinstance(chip, ADS1115)
            chip.trouble.frozen = True
        qualities = [bench.sampler.sample(Channel.FRONT_CELL).quality for _ in range(scans)]
        assert Quality.FROZEN in qualities
        later = [bench.sampler.sample(Channel.FRONT_CELL).quality for _ in range(3)]
        assert later == [Quality.FROZEN] * 3, "not good again before it lives again"


def test_probes_read_the_same_voltage_as_the_channels_own_range(bench: Bench) -> None:
    scans = bench.sampler._settings.loop.scans_per_window
    samples = [bench.sampler.sample(Channel.FRONT_CELL) for _ in range(20 * scans)]
    probes = [sample for sample in samples if sample.is_probe]
    assert len(probes) in (19, 20)
    assert {sample.ratio for sample in probes} == {6.144 / 4.096}
    codes = [sample.code * sample.ratio for sample in samples if sample.code is not None]
    assert max(codes) - min(codes) < 8


def test_no_probe_is_mistaken_at_no_current_or_at_the_end_of_the_range(
    hut_settings: SupervisorSettings,
) -> None:
    for volts in (0.0, 0.0004, -0.0004, 0.3, -0.3):
        bench = Bench(hut_settings)
        bench._volts = lambda pin, *_, volts=volts: volts if pin == 0 else 0.0  # type: ignore[method-assign]
        bench.wire.chips.clear()
        for converter in hut_settings.converters.values():
            bench.wire.chips[converter.address] = ADS1115(bench._volts, Random(1))
        for _ in range(50):
            assert bench.sampler.sample(Channel.SHUNT).quality is Quality.GOOD


# --- what a chip that does not keep its configuration is called


def chips(bench: Bench) -> list[ADS1115]:
    return [chip for chip in bench.wire.chips.values() if isinstance(chip, ADS1115)]


def make_foreign(bench: Bench, foreign: bool = True) -> None:
    for chip in chips(bench):
        chip.trouble.foreign = foreign


def test_a_foreign_chip_is_the_wrong_one_from_the_start_and_for_ever(bench: Bench) -> None:
    make_foreign(bench)
    for _ in range(20):
        sample = bench.sampler.sample(Channel.SHUNT)
        assert (sample.code, sample.quality) == (None, Quality.WRONG_CHIP)
        bench.clock.sleep_until(bench.clock.now_s() + 0.05)


def test_a_chip_that_has_worked_is_never_called_the_wrong_one(bench: Bench) -> None:
    bench.sampler.sample(Channel.SHUNT)
    make_foreign(bench)
    assert bench.sampler.sample(Channel.SHUNT).quality is Quality.CONFIG_CHANGED
    assert bench.sampler.sample(Channel.FRONT_CELL).quality is Quality.WRONG_CHIP, "the other one"


def test_it_stays_proven_when_the_bus_is_opened_anew(bench: Bench) -> None:
    """The bus went, not the chip: nobody is to replace a good one."""
    bench.sampler.sample(Channel.SHUNT)
    for _ in range(2):
        bench.wire.trouble.error, bench.wire.trouble.error_until_reopened = errno.EIO, True
        openings = bench.openings
        while bench.openings == openings:
            bench.sampler.sample(Channel.SHUNT)
            bench.clock.sleep_until(bench.clock.now_s() + 0.005)
        make_foreign(bench)
        assert bench.sampler.sample(Channel.SHUNT).quality is Quality.CONFIG_CHANGED
        assert bench.sampler.sample(Channel.FAR_CELL).quality is Quality.WRONG_CHIP
        make_foreign(bench, False)
        assert bench.sampler.sample(Channel.SHUNT).quality is Quality.GOOD


def test_one_reset_is_bridged_by_the_second_try(bench: Bench) -> None:
    bench.sampler.sample(Channel.FRONT_CELL)
    for chip in chips(bench):
        chip.trouble.reset_every = 2
    for _ in range(10):
        assert bench.sampler.sample(Channel.FRONT_CELL).quality is Quality.GOOD
    assert bench.sampler.counters.retries >= 9


def test_a_chip_that_resets_in_every_conversion_says_so(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    bench.sampler.sample(Channel.FRONT_CELL)
    for chip in chips(bench):
        chip.trouble.reset_every = 1
    for _ in range(5):
        sample = bench.sampler.sample(Channel.FRONT_CELL)
        assert (sample.code, sample.quality) == (None, Quality.CHIP_RESET)
    assert [record.getMessage() for record in caplog.records] == [
        "front_cell: reset: wrote 81E3h, read 8583h"  # the probe in the wider range
    ]


def test_a_probe_hands_out_the_raw_code_of_the_wider_range(bench: Bench) -> None:
    bench.sampler.sample(Channel.FRONT_CELL)
    probe = bench.sampler.sample(Channel.FRONT_CELL)
    assert (probe.is_probe, probe.ratio) == (True, 1.5)
    assert probe.code == pytest.approx(3.3 / 6.144 * 0x8000, abs=3)


def test_a_range_without_a_wider_one_is_never_probed(hut_settings: SupervisorSettings) -> None:
    front = hut_settings.channels.front_cell.model_copy(update={"range_volts": 6.144})
    channels = hut_settings.channels.model_copy(update={"front_cell": front})
    bench = Bench(hut_settings.model_copy(update={"channels": channels}))
    samples = [bench.sampler.sample(Channel.FRONT_CELL) for _ in range(30)]
    assert {(sample.ratio, sample.is_probe) for sample in samples} == {(1.0, False)}
