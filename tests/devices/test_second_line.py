"""The second line's self-check on the simulated chip: what it proves, and what it finds out.

Margins and times are the project's own choice (no source); the chip after its data sheet.
"""

from typing import Any

import pytest
from second_lines import CHECK_EVERY_S, LIMITS, SecondLineBench, with_second_line

from supervisor.devices.second_line import CHECK_AGAIN_S
from supervisor.readings import SecondLine
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults_electronic import ChipAbsent, ChipFrozen, ChipSlow
from supervisor.simulator.faults_second_line import AlertWireOpen
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.sensing import ConverterSettings

WIRE_OPEN = AlertWireOpen(kind="alert_wire_open")
ABSENT = ChipAbsent(kind="chip_absent", converter="guard")


def test_verified_within_two_seconds_of_the_start_and_not_before(bench: SecondLineBench) -> None:
    first = bench.cycle()
    assert first == SecondLine(False, "the second line is not verified yet", None)
    seen = bench.run(2.0)
    verified = [one for one in seen if not one.problem]
    assert verified
    at_s = verified[0].verified_at_s
    assert at_s is not None
    assert 1.0 < at_s < 1.5
    assert {one.problem for one in seen} == {"the second line is not verified yet", ""}
    assert not any(one.alert for one in seen)  # it goes low on purpose: that is no alert
    assert bench.has_its_limits
    assert bench.most_transfers <= 2


@pytest.mark.parametrize("samples_per_second", [250, 475, 860])
@pytest.mark.parametrize("clock_error_percent", [-10.0, 10.0])
@pytest.mark.parametrize("state_of_charge", [0.05, 0.6, 0.9985])
def test_verified_at_every_rate_and_voltage_with_the_chips_clock_at_its_limits(
    hut_settings: SupervisorSettings,
    samples_per_second: int,
    clock_error_percent: float,
    state_of_charge: float,
) -> None:
    """2.6 V, 3.3 V, and 3.58 V between release and trip."""
    plant = PlantSettings(
        cells=CellsSettings(state_of_charge=state_of_charge),
        converters=ConverterSettings(clock_error_percent=clock_error_percent),
    )
    settings = with_second_line(hut_settings, samples_per_second=samples_per_second)
    bench = SecondLineBench(settings, plant).verified()
    assert bench.codes == LIMITS
    assert bench.seen.alert is False


def test_through_a_divider(hut_settings: SupervisorSettings) -> None:
    settings = with_second_line(hut_settings, gain=2.0, range_volts=2.048)
    bench = SecondLineBench(settings).verified()
    assert bench.codes == LIMITS


def test_low_is_never_above_high(bench: SecondLineBench) -> None:
    """The data sheet forbids it. The line goes low and high again once on the way."""
    write = bench.chip.write
    pairs, levels = [], []

    def spied(data: bytes, at_s: float) -> None:
        write(data, at_s)
        pairs.append(bench.codes)

    bench.chip.write = spied  # type: ignore[method-assign]
    bench.chip.on_alert = lambda level, _at_s: levels.append(level)
    bench.verified()
    programmed = [pair for pair in pairs if pair[0] < 0x8000]
    assert len(set(programmed)) == 7  # three pairs of limits, and those on the way to each
    assert all(low < high for low, high in programmed)
    assert levels == [False, True]


def test_a_broken_wire_is_found_and_the_limit_put_back(bench: SecondLineBench) -> None:
    bench.fault(WIRE_OPEN)
    bench.run(2.0)
    assert "its ALERT line did not go low with the limit 20 mV below" in bench.seen.problem
    assert bench.seen.verified_at_s is None
    assert bench.has_its_limits


def test_a_line_held_low_is_found(bench: SecondLineBench) -> None:
    """A short of the ALERT wire: the converter itself says that it should be high."""
    pin = bench.world.settings.second_line
    assert pin is not None
    bench.world.pin_factory.contacts[pin.pin] = lambda: True
    bench.run(2.0)
    assert "its converter reads 3.29" in bench.seen.problem
    assert "V, and its ALERT line is low" in bench.seen.problem
    assert bench.seen.alert is True


def test_a_line_that_does_not_come_back_is_found(bench: SecondLineBench) -> None:
    """Between release and trip either level is right: only the moved limit shows the short."""
    bench.cell_at(3.5)
    pin = bench.world.settings.second_line
    assert pin is not None
    bench.world.pin_factory.contacts[pin.pin] = lambda: True
    bench.run(2.0)
    assert "its ALERT line did not go high with the limit 20 mV above" in bench.seen.problem


@pytest.mark.parametrize(
    ("off_v", "passes"),
    [
        (0.019, True), (-0.019, True), (0.021, False), (-0.021, False), (-0.2, False),
        (-3.3, False),
    ],
)  # fmt: skip
def test_its_leads_must_see_what_the_front_channel_sees(
    hut_settings: SupervisorSettings, off_v: float, passes: bool
) -> None:
    """Within 20 mV. Noise off: the boundary is 20 mV and one step of 0.125 mV."""
    plant = PlantSettings(converters=ConverterSettings(noise_factor=0))
    bench = SecondLineBench(with_second_line(hut_settings), plant)
    bench.move_lead(3.3 + off_v)
    bench.front_reads = 3.3
    bench.run(2.0)
    assert (bench.seen.problem == "") is passes
    if not passes:
        words = f"its converter reads {3.3 + off_v:.3f} V where the front cell reads 3.300 V"
        assert words in bench.seen.problem
    assert bench.codes == LIMITS


def test_a_chip_that_is_absent_is_found_and_verified_when_it_is_back(
    bench: SecondLineBench,
) -> None:
    bench.fault(ABSENT)
    bench.run(2.0)
    assert "its converter does not answer ([Errno 121]" in bench.seen.problem
    bench.world.clear("chip_absent")
    seen = bench.run(CHECK_AGAIN_S + 0.5)
    assert seen[-1].problem == ""
    gone = [one for one in seen if one.problem]
    assert len(gone) * bench.cycle_s > CHECK_AGAIN_S - 1.5  # not asked again before its time


@pytest.mark.parametrize("fault", [
    ChipFrozen(kind="chip_frozen", converter="guard"),
    ChipSlow(kind="chip_slow", converter="guard", factor=50),
])  # fmt: skip
def test_a_chip_that_does_not_convert_is_found(bench: SecondLineBench, fault: Any) -> None:
    """With the very voltage of the front cell in its register: only ALERT shows it."""
    bench.verified()
    bench.fault(fault)
    bench.tell(closed=True)
    bench.tell(closed=False)
    bench.run(2.0)
    assert "its ALERT line did not go low" in bench.seen.problem


def test_verified_again_after_an_opening_and_from_time_to_time(bench: SecondLineBench) -> None:
    bench.verified()
    bench.tell(closed=True)
    closed = bench.run(2.0)
    assert {one.problem for one in closed} == {""}
    bench.tell(closed=False)
    opened_s = bench.clock.now_s()
    seen = bench.run(2.0)
    assert seen[0].problem == "the second line is not verified since the circuit was opened"
    assert [one.problem for one in seen][-1] == ""
    under_way = [one for one in seen if "under way" in one.problem]
    assert 5 <= len(under_way) <= 30
    assert not any(one.alert for one in under_way)
    again_s = bench.seen.verified_at_s
    assert again_s is not None
    assert opened_s + 1.0 < again_s < opened_s + 1.6
    bench.run(CHECK_EVERY_S - 5)
    assert bench.seen == SecondLine(False, "", again_s)
    bench.run(6)
    assert bench.seen.problem == ""
    assert bench.seen.verified_at_s == pytest.approx(again_s + CHECK_EVERY_S, abs=0.5)


def test_without_the_front_cell_the_limit_is_set_but_not_verified(bench: SecondLineBench) -> None:
    bench.front_is_blind = True
    bench.run(2.0)
    assert "the front cell could not be read during the self-check" in bench.seen.problem
    assert bench.has_its_limits
    bench.front_is_blind = False
    bench.run(CHECK_AGAIN_S)
    assert bench.seen.problem == ""


def test_the_front_cell_lost_during_the_check(bench: SecondLineBench) -> None:
    while bench.world.wire.transfers < 4:
        bench.cycle()
    bench.front_is_blind = True
    bench.run(0.5)
    assert "the front cell could not be read during the self-check" in bench.seen.problem
    assert bench.has_its_limits


def test_a_check_is_cut_short_by_closing(bench: SecondLineBench) -> None:
    """No rule lets that happen. If it does: not to be relied on, and nothing more is moved."""
    while bench.world.wire.transfers < 12:
        bench.cycle()
    bench.tell(closed=True)
    before = bench.world.wire.transfers
    assert "its self-check was cut short" in bench.cycle().problem
    bench.run(1.0)
    assert bench.world.wire.transfers == before
    assert "its self-check was cut short" in bench.seen.problem
    bench.tell(closed=False)
    bench.run(2.0)
    assert bench.seen.problem == ""
