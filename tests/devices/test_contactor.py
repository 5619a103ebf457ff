"""The contactor: closed only within a lease, whatever is asked in whatever order."""

from typing import Any

import pytest
from gpiozero.pins.mock import MockFactory
from hypothesis import example, given
from hypothesis import strategies as st

from supervisor.devices.contactor import Contactor, LeaseExpired
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.pins import PlantFactory
from supervisor.simulator.switch import Switch

LEASE_S = 0.4


def with_drive(settings: SupervisorSettings, drive: str, **mains: Any) -> SupervisorSettings:
    contactor = settings.contactor.model_copy(update={"drive": drive})
    return settings.model_copy(update={"contactor": contactor, **mains})


class Rig:
    def __init__(self, settings: SupervisorSettings) -> None:
        self.clock = SimulatedClock()
        self.factory = PlantFactory(self.clock.now_s)
        self.contactor = Contactor(settings, self.factory, self.clock)
        self.settings = settings

    def level(self, pin: int) -> bool:
        return bool(self.factory.pin(pin).state)

    @property
    def coil(self) -> bool:
        return self.level(self.settings.contactor.pin)


@pytest.fixture
def rig(hut_settings: SupervisorSettings) -> Rig:
    return Rig(with_drive(hut_settings, "level"))


def test_starts_open_and_never_blips(hut_settings: SupervisorSettings) -> None:
    for drive in ("level", "pulse"):
        rig = Rig(with_drive(hut_settings, drive))
        rig.contactor.close()
        assert [change for change in rig.factory.levels if change.level] == []


def test_a_stock_pin_factory_sees_no_high_level_either(hut_settings: SupervisorSettings) -> None:
    factory = MockFactory()
    contactor = Contactor(hut_settings, factory, SimulatedClock())
    contactor.close()
    states = factory.pin(hut_settings.contactor.pin).states
    assert not any(state.state for state in states)


def test_the_lease_ends_by_itself(rig: Rig) -> None:
    rig.contactor.close_for(LEASE_S)
    rig.clock.sleep_until(LEASE_S - 0.001)
    assert rig.coil
    rig.clock.sleep_until(LEASE_S + 0.001)
    assert not rig.coil
    assert rig.contactor.lease_ran_out


def test_a_renewal_that_comes_too_late_revives_nothing(rig: Rig) -> None:
    rig.contactor.close_for(LEASE_S)
    rig.clock.sleep_until(LEASE_S + 0.001)
    with pytest.raises(LeaseExpired):
        rig.contactor.renew(LEASE_S)
    assert not rig.coil


def test_renewing_what_was_never_closed_is_refused(rig: Rig) -> None:
    with pytest.raises(LeaseExpired):
        rig.contactor.renew(LEASE_S)
    assert not rig.coil


def test_pulse_drive_makes_one_edge_a_renewal_and_ends_low(
    hut_settings: SupervisorSettings,
) -> None:
    rig = Rig(with_drive(hut_settings, "pulse"))
    rig.contactor.close_for(LEASE_S)
    for cycle in range(1, 8):
        rig.clock.sleep_until(cycle * 0.01)
        rig.contactor.renew(LEASE_S)
    edges = [c.level for c in rig.factory.levels if c.pin == hut_settings.contactor.pin]
    assert edges == [True, False] * 4
    rig.contactor.renew(LEASE_S)
    rig.contactor.open()
    assert not rig.coil


def test_the_mains_side_follows_as_told(hut_settings: SupervisorSettings) -> None:
    assert hut_settings.mains_contactor
    for opens, stays in (("every_opening", False), ("failed_opening", True)):
        mains = hut_settings.mains_contactor.model_copy(update={"opens": opens})
        rig = Rig(with_drive(hut_settings, "level", mains_contactor=mains))
        rig.contactor.close_for(LEASE_S)
        assert rig.level(mains.pin)
        rig.contactor.open()
        assert rig.level(mains.pin) is stays
        rig.contactor.drop_mains()
        assert not rig.level(mains.pin)


def test_a_pin_that_cannot_be_written_drops_the_other_output(
    hut_settings: SupervisorSettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert hut_settings.mains_contactor
    mains = hut_settings.mains_contactor.model_copy(update={"opens": "failed_opening"})
    rig = Rig(with_drive(hut_settings, "level", mains_contactor=mains))
    rig.contactor.close_for(LEASE_S)

    def fails() -> None:
        raise OSError("GPIO gone")

    monkeypatch.setattr(rig.contactor._drive, "drop", fails)
    rig.contactor.open()
    assert not rig.level(mains.pin)


@given(
    acts=st.lists(
        st.tuples(
            st.sampled_from(["close_for", "renew", "open", "drop_mains", "wait"]),
            st.floats(0, 0.6),
        ),
        max_size=60,
    ),
    drive=st.sampled_from(["level", "pulse"]),
)
def test_never_on_past_its_lease(
    hut_settings: SupervisorSettings, acts: list[tuple[str, float]], drive: str
) -> None:
    """The invariant of the whole project, at its lowest level."""
    rig = Rig(with_drive(hut_settings, drive))
    permitted_until_s = float("-inf")
    for act, wait_s in acts:
        now_s = rig.clock.now_s()
        if act == "close_for":
            rig.contactor.open()
            rig.contactor.close_for(LEASE_S)
            permitted_until_s = now_s + LEASE_S
        elif act == "renew":
            try:
                rig.contactor.renew(LEASE_S)
            except LeaseExpired:
                assert now_s >= permitted_until_s
            else:
                assert now_s < permitted_until_s
                if rig.coil:  # a falling edge extends nothing
                    permitted_until_s = now_s + LEASE_S
        elif act in ("open", "drop_mains"):
            getattr(rig.contactor, act)()
            permitted_until_s = float("-inf")
        rig.clock.sleep_until(now_s + wait_s)
        if rig.clock.now_s() > permitted_until_s:
            assert not rig.coil
            assert not rig.contactor.state().told_to_close


@given(
    gaps_s=st.lists(st.floats(0.0143, 0.3), max_size=60),
    preempted_s=st.lists(st.floats(0, 0.0142), min_size=60, max_size=60),
)
@example(gaps_s=[0.0143, 0.17, 0.19], preempted_s=[0.0] * 60)
def test_a_pulse_driver_is_never_pulled_in_again_by_a_renewal(
    hut_settings: SupervisorSettings, gaps_s: list[float], preempted_s: list[float]
) -> None:
    """However the cycles fall, and with up to a cycle between the decision and the edge."""
    rig = Rig(with_drive(hut_settings, "pulse"))
    dropout_ms = hut_settings.contactor.dropout_milliseconds
    assert dropout_ms
    driver = Switch(0.025, 0.012, dropout_ms / 1000)
    pulled_in: list[float] = []
    held_up_s = [0.0]  # between the decision and the edge, now

    def feel(pin: int, level: bool) -> None:
        if pin != hut_settings.contactor.pin:
            return
        at_s = rig.clock.now_s() + held_up_s[0]
        while driver.due_s <= at_s:
            driver.move()
        was_driven = driver.driven
        driver.input_changes(level, at_s)
        if driver.driven and not was_driven:
            pulled_in.append(at_s)

    rig.factory.listener = feel
    rig.contactor.close_for(hut_settings.lease_s)
    for gap_s, held_up_s[0] in zip(gaps_s, preempted_s, strict=False):
        rig.clock.sleep_until(rig.clock.now_s() + gap_s)
        try:
            rig.contactor.renew(hut_settings.lease_s)
        except LeaseExpired:
            break
    assert len(pulled_in) == 1


def test_frozen_between_the_look_at_the_clock_and_the_edge(
    hut_settings: SupervisorSettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The edge comes all the same; it is taken back at once, and the lease is over."""
    for drive in ("level", "pulse"):
        rig = Rig(with_drive(hut_settings, drive))
        rig.contactor.close_for(LEASE_S)
        rig.clock.sleep_until(0.01)
        rig.contactor.renew(LEASE_S)
        hold = rig.contactor._drive.hold

        def freezes(rig: Rig = rig, hold: Any = hold) -> bool:
            rig.clock.stall(LEASE_S, alarms_too=True)
            rig.clock.sleep_until(rig.clock.now_s())
            return bool(hold())

        monkeypatch.setattr(rig.contactor._drive, "hold", freezes)
        rig.clock.sleep_until(0.02)
        with pytest.raises(LeaseExpired):
            rig.contactor.renew(LEASE_S)
        assert not rig.coil
        assert rig.contactor.lease_ran_out
        assert not rig.contactor.state().told_to_close


def test_a_loop_that_stands_still_drops_the_mains_side_too(
    hut_settings: SupervisorSettings,
) -> None:
    """Nobody is there to see whether the main contact opened: a welded one would go on."""
    assert hut_settings.mains_contactor
    mains = hut_settings.mains_contactor.model_copy(update={"opens": "failed_opening"})
    for drive in ("level", "pulse"):
        rig = Rig(with_drive(hut_settings, drive, mains_contactor=mains))
        rig.contactor.close_for(LEASE_S)
        rig.clock.sleep_until(LEASE_S - 0.001)
        assert rig.level(mains.pin)
        rig.clock.sleep_until(LEASE_S + 0.001)
        assert not rig.level(mains.pin)
