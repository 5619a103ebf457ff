"""Charges with known figures, each written once."""

from pathlib import Path

import pytest
from ended_charges import charge_with_trip, ended_charge, record_of

from supervisor.report.record import Record
from supervisor.settings.model import SupervisorSettings


@pytest.fixture(scope="package")
def charge_path(tmp_path_factory: pytest.TempPathFactory, hut_settings: SupervisorSettings) -> Path:
    return ended_charge(tmp_path_factory.mktemp("charge"), hut_settings)


@pytest.fixture(scope="package")
def charge(charge_path: Path) -> Record:
    return record_of(charge_path)


@pytest.fixture(scope="package")
def trip_path(tmp_path_factory: pytest.TempPathFactory, hut_settings: SupervisorSettings) -> Path:
    return charge_with_trip(tmp_path_factory.mktemp("trip"), hut_settings)


@pytest.fixture(scope="package")
def tripped(trip_path: Path) -> Record:
    return record_of(trip_path)
