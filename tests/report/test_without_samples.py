"""Nothing measured was kept, by a journal that began late or a disk that was full: events and trips
still make a report."""

import pytest
from ended_charges import a_run, progress, record_of, told
from journals import closing, written
from pages import silent, words

from supervisor.report.compare import comparison_page
from supervisor.report.page import session_page
from supervisor.report.record import Record
from supervisor.settings.model import SupervisorSettings


@pytest.fixture(scope="module", params=[True, False], ids=["counted", "not counted"])
def bare(
    request: pytest.FixtureRequest,
    tmp_path_factory: pytest.TempPathFactory,
    hut_settings: SupervisorSettings,
) -> Record:
    return record_of(
        written(
            tmp_path_factory.mktemp("bare"),
            a_run(hut_settings),
            told(10.0, "closed", "closed, asked by Anna"),
            closing(10.0),
            *([progress(70.0)] if request.param else []),
            told(110.0, "trip", "overvoltage: too high", rule="overvoltage", measured=3.6004,
                 limit=3.6, unit="V"),
        )
    )  # fmt: skip


def test_its_trips_are_told_and_that_no_samples_were_kept(bare: Record) -> None:
    page = session_page(bare, silent)
    said = words(page)
    assert "<figure>" not in page
    assert "Trip 1: overvoltage, minute 1.7" in said
    assert "NOT FULL ended by a trip: overvoltage: too high" in said
    assert "No samples of this session were kept, so nothing is drawn." in said
    assert "No samples of it were kept: this report has its events and trips only." in said


def test_no_charge_is_made_up(bare: Record) -> None:
    said = words(session_page(bare, silent))
    told_of = bool(bare.progress)
    assert ("Charge put in at least" if told_of else "Charge put in not known") in said
    assert "by the samples" not in said
    assert "does not agree with the samples" not in said


def test_it_can_be_compared(bare: Record, charge: Record) -> None:
    page = comparison_page([charge, bare], silent)
    assert page.count("<figure>") == 2
    assert comparison_page([bare, bare], silent).count("<figure>") == 0
