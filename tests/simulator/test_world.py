"""The simulated world under the real drivers: right values, right order, the same run again."""

from collections.abc import Callable

import pytest
from samplers import sampler_on

from supervisor.devices.clock import MonotonicClock
from supervisor.devices.contactor import Contactor
from supervisor.devices.converter import ConfigChanged, Converter, NotReady
from supervisor.readings import Channel, Quality, Sample
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.faults_contactor import ContactorWelded
from supervisor.simulator.faults_electric import MainsSag
from supervisor.simulator.faults_electronic import ChipReset
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.sensing import ConverterSettings
from supervisor.simulator.parts.supply import SupplySettings
from supervisor.simulator.world import World

WorldMaker = Callable[..., World]


@pytest.fixture
def make_world(hut_settings: SupervisorSettings) -> WorldMaker:
    def make(*, seed: int = 1, start_s: float = 0.0, **plant: object) -> World:
        settings = PlantSettings.model_validate(plant)
        return World(hut_settings, settings, SimulatedClock(start_s), seed=seed)

    return make


def run(world: World, until_s: float) -> list[Sample]:
    """A bare loop: close, renew in every cycle, sample every channel."""
    clock = world.clock
    contactor = Contactor(world.settings, world.pin_factory, clock)
    sampler = sampler_on(world.settings, world.open_bus, clock)
    contactor.close_for(world.settings.loop.lease_s)
    samples = []
    due_s = clock.now_s()
    while clock.now_s() < until_s:
        clock.sleep_until(due_s)
        due_s += world.settings.loop.cycle_s
        contactor.renew(world.settings.loop.lease_s)
        samples += [sampler.sample(channel) for channel in Channel]
    contactor.close()
    return samples


def test_the_real_drivers_read_the_plant(make_world: WorldMaker) -> None:
    world = make_world(
        cells=CellsSettings(state_of_charge=0.6),
        supply=SupplySettings(knob=1.0, capacitor_farads=50),
    )
    samples = run(world, 2.0)[-3:]
    world.catch_up()
    front, far, shunt = (sample.code or 0 for sample in samples)
    assert front * 125e-6 == pytest.approx(world.plant.cell_v(0), abs=5e-4)
    assert far * 125e-6 == pytest.approx(world.plant.cell_v(-1), abs=5e-4)
    assert shunt * 7.8125e-6 / 250e-6 == pytest.approx(world.plant.current_a, abs=0.3)


def test_calibration_in_the_settings_is_undone_by_the_plant(
    hut_settings: SupervisorSettings,
) -> None:
    """A half divider and an offset: the chip sees what this build would give it."""
    front = hut_settings.channels.front_cell.model_copy(
        update={"gain": 2.0, "offset_volts": 0.01, "range_volts": 2.048}
    )
    channels = hut_settings.channels.model_copy(update={"front_cell": front})
    settings = hut_settings.model_copy(update={"channels": channels})
    world = World(settings, PlantSettings(), SimulatedClock())
    code = run(world, 0.1)[-3].code or 0
    assert code * 62.5e-6 * 2.0 + 0.01 == pytest.approx(world.plant.cell_v(0), abs=5e-4)


def test_the_same_seed_is_the_same_run_to_the_bit(make_world: WorldMaker) -> None:
    def samples(seed: int) -> list[Sample]:
        world = make_world(seed=seed)
        world.at(0.5, lambda: world.knob(0.9, over_s=1.0))
        world.at(2.0, lambda: world.fault(MainsSag(kind="mains_sag", factor=0.9)))
        return run(world, 4.0)

    assert samples(7) == samples(7)
    assert samples(7) != samples(8)


def test_acts_happen_in_time_order_with_the_plant_at_their_time(make_world: WorldMaker) -> None:
    world = make_world()
    seen: list[tuple[str, float]] = []
    for name, at_s in (("c", 3.0), ("a", 1.0), ("b", 2.0), ("b again", 2.0)):
        world.at(at_s, lambda name=name: seen.append((name, world.now_s())))  # type: ignore[misc]  # mypy cannot infer a lambda with a default
    world.clock.sleep_until(2.5)
    assert seen == []
    world.catch_up()
    assert seen == [("a", 1.0), ("b", 2.0), ("b again", 2.0)]
    world.clock.sleep_until(10.0)
    world.catch_up()
    assert seen[-1] == ("c", 3.0)
    assert world.now_s() == 10.0


def test_an_act_may_schedule_another_one(make_world: WorldMaker) -> None:
    world = make_world()
    seen: list[float] = []

    def again() -> None:
        seen.append(world.now_s())
        if len(seen) < 4:
            world.at(world.now_s() + 1.0, again)

    world.at(1.0, again)
    world.clock.sleep_until(100.0)
    world.catch_up()
    assert seen == [1.0, 2.0, 3.0, 4.0]


def test_a_knob_turned_in_the_past_is_turned_at_its_time(make_world: WorldMaker) -> None:
    world = make_world(supply=SupplySettings(knob=0.0))
    world.at(1.0, lambda: world.knob(1.0, over_s=10.0))
    world.clock.sleep_until(6.0)
    world.catch_up()
    assert world.plant.supply.knob(6.0) == pytest.approx(0.5)


def test_the_contactor_follows_its_pin(make_world: WorldMaker) -> None:
    world = make_world(supply=SupplySettings(knob=1.0))
    contactor = Contactor(world.settings, world.pin_factory, world.clock)
    lease_s = world.settings.loop.lease_s
    assert contactor.state().auxiliary_closed is False
    contactor.close_for(lease_s)
    world.clock.sleep_until(0.2)
    assert contactor.state().auxiliary_closed is True
    assert world.plant.current_a > 100
    world.clock.sleep_until(0.25 + 0.0119)  # the driver drops out 250 ms after its last edge
    world.catch_up()
    assert world.plant.contactor_closed
    world.clock.sleep_until(0.25 + 0.0121)
    world.catch_up()
    assert not world.plant.contactor_closed
    world.clock.sleep_until(0.25 + 0.0121 + 0.002)  # the auxiliary contact follows
    assert contactor.state().auxiliary_closed is False


def test_mains_relay_follows_its_pin(make_world: WorldMaker) -> None:
    world = make_world(supply=SupplySettings(knob=1.0))
    contactor = Contactor(world.settings, world.pin_factory, world.clock)
    world.fault(ContactorWelded(kind="contactor_welded"))
    contactor.close_for(1.0)
    world.clock.sleep_until(0.2)
    world.catch_up()
    assert world.plant.current_a > 100
    contactor.open()
    world.clock.sleep_until(1.0)
    world.catch_up()
    assert world.plant.contactor_closed
    assert not world.plant.mains_on
    assert world.plant.current_a == 0.0


def test_killed_owner_keeps_the_level_but_a_pulse_drive_lets_go(make_world: WorldMaker) -> None:
    world = make_world()
    contactor = Contactor(world.settings, world.pin_factory, world.clock)
    contactor.close_for(0.4)
    world.clock.sleep_until(0.1)
    world.catch_up()
    assert world.plant.contactor_closed
    world.pin_factory.owner_dies()
    contactor._alarm.close()  # a dead process has no alarms
    pin = world.settings.contactor.pin
    assert [change.level for change in world.pin_factory.levels if change.pin == pin] == [True]
    world.clock.sleep_until(10.0)
    world.catch_up()
    assert not world.plant.contactor_closed


def test_on_the_real_clock_the_world_runs_in_real_time(hut_settings: SupervisorSettings) -> None:
    world = World(hut_settings, PlantSettings(), MonotonicClock())
    sample = sampler_on(hut_settings, world.open_bus, world.clock).sample(Channel.FRONT_CELL)
    assert (sample.code or 0) * 125e-6 == pytest.approx(world.plant.cell_v(0), abs=1e-3)


def test_clearing_what_never_struck_is_an_error(make_world: WorldMaker) -> None:
    world = make_world()
    with pytest.raises(ValueError, match="no fault mains_sag to clear; present: none"):
        world.clear("mains_sag")


# --- what people met in the field


@pytest.mark.parametrize("clock_error_percent", [-10.0, 0.0, 10.0])
def test_no_value_ever_carries_another_channels_tag(
    make_world: WorldMaker, clock_error_percent: float
) -> None:
    """First read after a channel change is the old channel's: chip 10 % slow, 10 % fast."""
    world = make_world(
        cells=CellsSettings(
            state_of_charge=0.05,
            state_of_charge_offsets=(0.85,),
            link_microohms=1e6,
        ),
        converters=ConverterSettings(clock_error_percent=clock_error_percent),
    )
    samples = run(world, 3.0)
    assert all(sample.quality is Quality.GOOD for sample in samples)
    own = {
        Channel.FRONT_CELL: world.plant.cell_v(0) / 125e-6,
        Channel.FAR_CELL: world.plant.cell_v(-1) / 125e-6,
        Channel.SHUNT: 0.0,
    }
    assert own[Channel.FRONT_CELL] - own[Channel.FAR_CELL] > 1000
    for sample in samples:
        assert sample.code * sample.ratio == pytest.approx(own[sample.channel], abs=12)


def test_the_first_value_from_cold_is_right(make_world: WorldMaker) -> None:
    """Result register read before the first conversion ended: 50 cold starts."""
    for seed in range(50):
        world = make_world(seed=seed)
        sampler = sampler_on(world.settings, world.open_bus, world.clock)
        code = sampler.sample(Channel.FRONT_CELL).code or 0
        assert code == pytest.approx(world.plant.cell_v(0) / 125e-6, abs=2)


@pytest.mark.parametrize("phase", range(60))
def test_a_chip_reset_at_any_phase_never_gives_a_plausible_wrong_value(
    make_world: WorldMaker, phase: int
) -> None:
    """Brown-out: other range, other inputs. Refused, or right; nothing between."""
    world = make_world(converters=ConverterSettings(noise_factor=0.0))
    bus = world.open_bus()
    converter = Converter(bus, world.settings.converters["cells"], world.clock)
    right = round(world.plant.cell_v(-1) / 125e-6)
    converter.convert("2-3", 4.096)
    start_s = world.clock.now_s()
    world.at(start_s + phase * 60e-6, lambda: world.fault(ChipReset(kind="chip_reset")))
    codes = []
    for _ in range(3):
        try:
            codes.append(converter.convert("2-3", 4.096)[0])
        except (ConfigChanged, NotReady):
            continue
    assert codes
    assert all(abs(code - right) <= 2 for code in codes)
