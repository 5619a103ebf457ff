"""An open lead is seen as one: what a converter says that fails is no proof of it."""

from pathlib import Path

import pytest
from commissioned import told, walk

from supervisor.bench.commissioning.hands import SimulatedHands
from supervisor.commissioning.deeds import Deed, TakeOff
from supervisor.control.build_steps import BY_KEY
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults_electronic import ChipAbsent


def test_a_converter_that_falls_off_the_bus_proves_no_open_lead(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    does = SimulatedHands.does

    def none_taken_off(hands: SimulatedHands, deed: Deed) -> None:
        if isinstance(deed, TakeOff):
            hands._world.fault(ChipAbsent(kind="chip_absent", converter="cells"))
        else:
            does(hands, deed)

    monkeypatch.setattr(SimulatedHands, "does", none_taken_off)
    one = walk(hut_settings, tmp_path)
    assert not one.go([BY_KEY["leads"]])
    said = told(one.done)
    assert any("an open lead is seen: something else fails" in line for line in said), said


def test_one_that_stays_on_is_not_seen(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    does = SimulatedHands.does
    monkeypatch.setattr(
        SimulatedHands,
        "does",
        lambda hands, deed: None if isinstance(deed, TakeOff) else does(hands, deed),
    )
    one = walk(hut_settings, tmp_path)
    assert not one.go([BY_KEY["leads"]])
    assert any("an open lead is not seen" in line for line in told(one.done))
