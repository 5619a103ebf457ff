"""Every kind of fault: from scenario text to its effect on the rig, and healed again."""

import errno
from collections.abc import Callable
from typing import Any, get_args

import pytest
from fault_bench import PLANT, FaultBench, fault
from pydantic import TypeAdapter, ValidationError

from supervisor.devices.clock import MonotonicClock
from supervisor.readings import Channel, Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.faults import Fault
from supervisor.simulator.world import World


@pytest.fixture
def bench(hut_settings: SupervisorSettings) -> FaultBench:
    return FaultBench(hut_settings)


def true_code(bench: FaultBench, channel: Channel) -> float:
    """What an ideal converter would say now: the current sinks by itself as the cells rise."""
    bench.world.catch_up()
    plant, channels = bench.world.plant, bench.world.settings.channels
    if channel is Channel.SHUNT:
        return plant.current_a * channels.shunt.ohms / channels.shunt.range_volts * 32768
    return plant.cell_v(0 if channel is Channel.FRONT_CELL else -1) / 4.096 * 32768


def kinds() -> set[str]:
    union = get_args(get_args(Fault)[0]) or get_args(Fault)
    members = get_args(union[0]) if len(union) == 1 else union
    return {get_args(member.model_fields["kind"].annotation)[0] for member in members}


def test_every_kind_of_the_union_can_be_written_in_a_scenario() -> None:
    assert kinds() == {
        "bus_error", "bus_stuck_low", "slow_bus", "bus_hang", "shifted_words",
        "chip_absent", "chip_reset", "chip_frozen", "chip_slow",
        "isolated_zeros", "isolated_full_scale",
        "chip_coarse", "chip_foreign",
        "lead_open", "lead_offset", "lead_shorted", "lead_reversed", "lead_elsewhere",
        "lead_resistance", "leads_swapped", "driver_active_low",
        "shunt_reversed", "shunt_silent", "shunt_offset", "shunt_drift",
        "contactor_welded", "contactor_stuck_open", "slow_release", "auxiliary_stuck",
        "coil_open", "contact_bounce", "relay_welded",
        "link_open", "link_poor", "cell_shorted", "cell_dead", "reverse_flow", "mains_sag",
        "alert_wire_open", "second_line_elsewhere",
        "stall", "wall_step", "stop_button",
        "probe_lost", "probe_stuck", "probe_at_power_on", "heat", "cold",
    }  # fmt: skip


@pytest.mark.parametrize(
    "data",
    [
        {"kind": "no_such_fault"},
        {"kind": "bus_error", "errno": 7},
        {"kind": "lead_open", "channel": "middle_cell"},
        {"kind": "mains_sag"},
        {"kind": "mains_sag", "factor": "0.9"},
        {"kind": "stop_button", "colour": "red"},
    ],
)
def test_wrong_faults_are_refused(data: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        TypeAdapter(Fault).validate_python(data)


@pytest.mark.parametrize(
    ("kind", "fields", "quality"),
    [
        ("bus_error", {}, Quality.NO_ANSWER),
        ("bus_error", {"errno": 5}, Quality.NO_ANSWER),
        ("bus_hang", {"seconds": 0.5}, Quality.NO_ANSWER),
        ("chip_absent", {}, Quality.NO_ANSWER),
        ("chip_absent", {"converter": "cells", "errno": 6}, Quality.NO_ANSWER),
        ("bus_stuck_low", {}, Quality.NOT_READY),
        ("shifted_words", {"every": 1}, Quality.CONFIG_CHANGED),
        ("chip_slow", {"factor": 10.0}, Quality.NOT_READY),
    ],
)
def test_faults_of_bus_and_chip_give_no_value(
    bench: FaultBench, kind: str, fields: dict[str, object], quality: Quality
) -> None:
    assert bench.sample().quality is Quality.GOOD
    bench.world.fault(fault(kind, **fields))
    sample = bench.sample()
    if quality is Quality.CONFIG_CHANGED or kind == "bus_stuck_low":
        assert sample.quality in (Quality.CONFIG_CHANGED, Quality.NOT_READY)
    else:
        assert sample.quality is quality
    assert sample.code is None
    bench.world.clear(kind)
    bench.wait(1.0)
    bench.sample()
    bench.wait(1.0)
    assert bench.sample().quality is Quality.GOOD


def test_a_bus_error_for_one_transfer_is_bridged_by_a_retry(bench: FaultBench) -> None:
    bench.world.fault(fault("bus_error", errno=errno.ETIMEDOUT, transfers=1))
    assert bench.sample().quality is Quality.GOOD
    assert bench.sampler.counters.errors == 1


def test_a_lost_bus_state_is_healed_by_the_samplers_reopening(bench: FaultBench) -> None:
    bench.world.fault(fault("bus_error", errno=errno.EIO, until_reopened=True))
    qualities = []
    for _ in range(10):
        qualities.append(bench.sample().quality)
        bench.wait(0.05)
    assert qualities[0] is Quality.NO_ANSWER
    assert qualities[-1] is Quality.GOOD
    assert bench.sampler.counters.reopenings == 1


def test_a_slow_bus_still_answers_late(bench: FaultBench) -> None:
    start_s = bench.clock.now_s()
    bench.code()
    usual_s = bench.clock.now_s() - start_s
    bench.world.fault(fault("slow_bus", factor=5.0))
    start_s = bench.clock.now_s()
    bench.code()
    assert bench.clock.now_s() - start_s > 2 * usual_s


def test_a_frozen_chip_gives_the_very_same_code(bench: FaultBench) -> None:
    assert len({bench.code(Channel.SHUNT) for _ in range(20)}) > 1
    bench.world.fault(fault("chip_frozen", converter="current"))
    qualities = {bench.sampler.sample(Channel.SHUNT).quality for _ in range(20)}
    assert Quality.FROZEN in qualities
    assert len({bench.code(Channel.FRONT_CELL) for _ in range(40)}) > 1
    bench.world.clear("chip_frozen")
    assert len({bench.code(Channel.SHUNT) for _ in range(20)}) > 1


@pytest.mark.parametrize(
    ("kind", "wrong"), [("isolated_zeros", 0), ("isolated_full_scale", 0x7FFF)]
)
def test_isolated_wrong_codes(bench: FaultBench, kind: str, wrong: int) -> None:
    bench.world.fault(fault(kind, every=5))
    codes = [bench.code() for _ in range(20)]
    assert codes.count(wrong) == 4
    bench.world.clear(kind)
    assert wrong not in [bench.code() for _ in range(20)]


@pytest.mark.parametrize("channel", ["front_cell", "far_cell", "shunt"])
def test_an_open_lead_reads_near_zero(bench: FaultBench, channel: str) -> None:
    bench.world.fault(fault("lead_open", channel=channel))
    bench.wait(0.5)
    assert abs(bench.code(Channel(channel))) < 12
    bench.world.clear("lead_open")
    bench.wait(0.5)
    shown = bench.code(Channel(channel))
    assert shown == pytest.approx(true_code(bench, Channel(channel)), abs=15)


def test_a_lead_with_an_offset_reads_wrong_without_looking_broken(bench: FaultBench) -> None:
    before = bench.code()
    bench.world.fault(fault("lead_offset", channel="front_cell", volts=-0.05))
    bench.wait(0.5)
    assert bench.code() == pytest.approx(before - 400, abs=10)


def test_a_corroded_joint_divides_with_the_resistor_at_the_input(bench: FaultBench) -> None:
    before = bench.code()
    bench.world.fault(fault("lead_resistance", channel="front_cell", kilohms=100.0))
    bench.wait(0.5)
    assert bench.code() == pytest.approx(before / 1.1, abs=10)
    bench.world.clear("lead_resistance")
    bench.wait(0.5)
    assert bench.code() == pytest.approx(before, abs=10)


@pytest.mark.parametrize("percent", [-5.0, 5.0])
def test_a_shunt_that_has_drifted(bench: FaultBench, percent: float) -> None:
    bench.world.fault(fault("shunt_drift", percent=percent))
    bench.wait(0.5)
    shown = bench.code(Channel.SHUNT)
    assert shown == pytest.approx(true_code(bench, Channel.SHUNT) * (1 + percent / 100), abs=15)
    bench.world.clear("shunt_drift")
    bench.wait(0.5)
    shown = bench.code(Channel.SHUNT)
    assert shown == pytest.approx(true_code(bench, Channel.SHUNT), abs=15)


def test_a_reversed_shunt_reads_negative(bench: FaultBench) -> None:
    assert bench.code(Channel.SHUNT) > 1000
    bench.world.fault(fault("shunt_reversed"))
    bench.wait(0.5)
    shown = bench.code(Channel.SHUNT)
    assert shown == pytest.approx(-true_code(bench, Channel.SHUNT), abs=30)


def test_a_welded_contactor_stays_closed(bench: FaultBench) -> None:
    bench.world.fault(fault("contactor_welded"))
    bench.contactor.open()
    bench.wait(2.0)
    assert bench.contactor.state().auxiliary_closed is True
    bench.world.clear("contactor_welded")
    assert bench.contactor.state().auxiliary_closed is False


def test_a_stuck_contactor_carries_nothing(bench: FaultBench) -> None:
    bench.world.fault(fault("contactor_stuck_open"))
    bench.wait(0.5)
    assert bench.contactor.state().auxiliary_closed is False
    assert abs(bench.code(Channel.SHUNT)) < 12


def test_a_slow_release(bench: FaultBench) -> None:
    bench.world.fault(fault("slow_release", milliseconds=800.0))
    bench.contactor.open()
    dropout_s = 0.25
    bench.wait(dropout_s + 0.7)
    assert bench.world.plant.contactor_closed
    bench.wait(0.2)
    bench.world.catch_up()
    assert not bench.world.plant.contactor_closed

    bench.world.clear("slow_release")
    assert bench.world.plant.contactor.release_s == pytest.approx(0.012, abs=1e-4)


def test_an_open_coil_lets_the_contactor_go_whatever_it_is_told(bench: FaultBench) -> None:
    bench.world.fault(fault("coil_open"))
    bench.wait(0.5)
    assert bench.contactor.state().told_to_close is True
    assert bench.contactor.state().auxiliary_closed is False
    assert abs(bench.code(Channel.SHUNT)) < 12
    bench.world.clear("coil_open")
    bench.wait(0.5)
    assert bench.contactor.state().auxiliary_closed is True


def test_a_chattering_contact_carries_in_between(bench: FaultBench) -> None:
    def close_again() -> set[bool]:
        bench.contactor.open()
        bench.wait(1.0)
        bench.contactor.close_for(0.4)
        made_s, carried = bench.clock.now_s(), set()
        for k in range(100):
            at_s = made_s + 0.026 + k / 1000
            bench.world.at(at_s, lambda: carried.add(bench.world.plant.contactor_closed))
        bench.wait(0.3)
        bench.world.catch_up()
        assert bench.world.plant.contactor_closed
        return carried

    assert close_again() == {True}
    bench.world.fault(fault("contact_bounce", bounces=3, milliseconds=40.0))
    assert close_again() == {True, False}
    bench.world.clear("contact_bounce")
    assert close_again() == {True}


def test_a_welded_mains_relay_stays_closed(bench: FaultBench) -> None:
    plant = bench.world.plant
    assert plant.mains is not None
    bench.world.fault(fault("relay_welded"))
    assert plant.mains_on
    plant.drive(plant.mains, False, bench.clock.now_s())
    bench.wait(1.0)
    bench.world.catch_up()
    assert plant.mains_on
    bench.world.clear("relay_welded")
    assert not plant.mains_on


@pytest.mark.parametrize("shows", ["closed", "open"])
def test_a_stuck_auxiliary_contact(bench: FaultBench, shows: str) -> None:
    bench.world.fault(fault("auxiliary_stuck", shows=shows))
    for _ in range(2):
        assert bench.contactor.state().auxiliary_closed is (shows == "closed")
        bench.contactor.open()
        bench.wait(1.0)
    bench.world.clear("auxiliary_stuck")
    assert bench.contactor.state().auxiliary_closed is False


def test_an_open_link_and_the_cell_behind_it(bench: FaultBench) -> None:
    before_a = bench.world.plant.bank.amperes[-1]
    bench.world.fault(fault("link_open", behind_cell=1))
    bench.world.catch_up()
    assert abs(bench.world.plant.bank.amperes[-1]) < before_a / 100
    assert bench.world.plant.bank.amperes[0] == pytest.approx(bench.world.plant.current_a)
    bench.world.clear("link_open")
    assert bench.world.plant.bank.amperes[-1] == pytest.approx(before_a, rel=0.05)


def test_reverse_flow_in_a_power_cut(bench: FaultBench) -> None:
    bench.world.fault(fault("mains_sag", factor=0.0))
    bench.wait(0.5)
    assert abs(bench.code(Channel.SHUNT)) < 12
    bench.world.fault(fault("reverse_flow", ohms=0.1))
    bench.wait(0.5)
    assert bench.code(Channel.SHUNT) < -500


def test_a_mains_sag_lowers_the_current(bench: FaultBench) -> None:
    before = bench.code(Channel.SHUNT)
    bench.world.fault(fault("mains_sag", factor=0.9))
    bench.wait(0.5)
    assert 500 < bench.code(Channel.SHUNT) < before - 500
    bench.world.clear("mains_sag")
    bench.wait(0.5)
    shown = bench.code(Channel.SHUNT)
    assert shown == pytest.approx(true_code(bench, Channel.SHUNT), abs=30)


def test_a_stall_of_the_loop_lets_the_lease_run_out(bench: FaultBench) -> None:
    bench.world.fault(fault("stall", seconds=1.0))
    bench.clock.sleep_until(bench.clock.now_s() + 0.01)
    assert bench.contactor.lease_ran_out
    assert bench.contactor.state().told_to_close is False


def test_a_stalled_process_is_caught_by_the_pulse_fed_driver_alone(bench: FaultBench) -> None:
    opened_s: list[float] = []
    stalled_at_s = bench.clock.now_s()
    bench.contactor._alarm.close()  # nothing of the process runs: only hardware is left
    bench.world.fault(fault("stall", seconds=1.0, whole_process=True))
    for at_s in (0.2, 0.3):
        bench.world.at(
            stalled_at_s + at_s, lambda: opened_s.append(bench.world.plant.contactor_closed)
        )
    bench.clock.sleep_until(stalled_at_s + 0.01)
    bench.world.catch_up()
    assert opened_s == [True, False]


def test_a_wall_step_moves_the_wall_clock_only(bench: FaultBench) -> None:
    wall, now_s = bench.clock.wall(), bench.clock.now_s()
    bench.world.fault(fault("wall_step", seconds=3600.0))
    assert (bench.clock.wall() - wall).total_seconds() == 3600
    assert bench.clock.now_s() == now_s


def test_stop_and_reset_buttons(bench: FaultBench) -> None:
    assert not bench.panel.stop_pressed()
    bench.world.fault(fault("stop_button"))
    assert bench.panel.stop_pressed()
    bench.world.clear("stop_button")
    assert not bench.panel.stop_pressed()
    assert not bench.panel.reset_held(9.0)
    bench.world.press_reset(True)
    assert not bench.panel.reset_held(10.0)
    assert bench.panel.reset_held(14.0)
    bench.world.press_reset(False)
    assert not bench.panel.reset_held(18.0)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: fault("chip_reset", converter="spare"), "no converter is named 'spare'"),
        (lambda: fault("link_open", behind_cell=32), "no link behind cell 32"),
    ],
)
def test_a_fault_of_a_part_that_is_not_there(
    bench: FaultBench, make: Callable[[], FaultSettings], words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        bench.world.fault(make())


def test_real_time_cannot_be_made_to_stall(hut_settings: SupervisorSettings) -> None:
    world = World(hut_settings, PLANT, MonotonicClock())
    with pytest.raises(ValueError, match="needs the simulated clock"):
        world.fault(fault("stall", seconds=1.0))
