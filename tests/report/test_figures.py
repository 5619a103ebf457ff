"""Figures against closed forms: charge, energy, peak, margin, times."""

from pathlib import Path
from typing import Any

import pytest
from ended_charges import (
    CHARGE_AH,
    CLOSED_S,
    ENERGY_WH,
    FINISHED_S,
    HOLD_S,
    LENGTH_S,
    PEAK_S,
    PEAK_V,
    TAU_S,
    ZERO_A,
    a_run,
    amperes,
    charge_window,
    progress,
    record_of,
    told,
)
from journals import WALL_S, closing, written

from supervisor.journal.records import UNKNOWN
from supervisor.report.figures import Figures, figures_of
from supervisor.report.record import NothingToReport, Record
from supervisor.settings.model import SupervisorSettings


@pytest.fixture(scope="module")
def figures(charge: Record) -> Figures:
    return figures_of(charge)


def test_the_charge_from_the_samples_is_the_integral(figures: Figures) -> None:
    """Within what trapezoids of a second leave at a time constant of 200 s."""
    assert figures.recorded_ah == pytest.approx(CHARGE_AH, rel=2e-4)
    assert figures.recorded_wh == pytest.approx(ENERGY_WH, rel=2e-4)


def test_the_charge_that_was_counted_is_told_as_it_was(figures: Figures) -> None:
    assert figures.charged_ah == pytest.approx(CHARGE_AH)
    assert figures.charged_u_ah == 0.02
    assert figures.zero_a == ZERO_A
    assert figures.is_counted_to_end


def test_the_peak_is_the_highest_single_value(figures: Figures) -> None:
    assert figures.peak is not None
    assert figures.peak.volts == PEAK_V
    assert figures.peak.cell == "front cell"
    assert figures.peak.at_s == pytest.approx(PEAK_S - CLOSED_S, abs=1.0)


def test_the_margin_is_to_the_makers_limit(
    figures: Figures, hut_settings: SupervisorSettings
) -> None:
    assert figures.margin_v == pytest.approx(hut_settings.bank.never_above_volts - PEAK_V)


def test_times_closed_and_in_the_hold(figures: Figures) -> None:
    assert figures.closed_s == pytest.approx(LENGTH_S)
    assert figures.hold_s == pytest.approx(FINISHED_S - HOLD_S)


def test_the_end_current_is_the_mean_of_the_last_minute(figures: Figures) -> None:
    mean_a = (amperes(LENGTH_S - 60) - amperes(LENGTH_S)) * TAU_S / 60
    assert figures.end_a == pytest.approx(mean_a + ZERO_A, rel=0.01)


def test_a_whole_record_has_no_gaps(figures: Figures) -> None:
    assert figures.gaps.whole == ()
    assert figures.gaps.total_s == 0.0


def test_cues_are_counted_by_name(figures: Figures) -> None:
    assert figures.cue_counts() == [("ease_down", 1)]


def holed(folder: Path, settings: SupervisorSettings) -> Record:
    """Closed for 300 s; no rows from 100 to 150 s, nothing good from 200 to 220 s."""
    mono_s = (round(CLOSED_S + k / 10, 3) for k in range(1, 3001))
    windows = [charge_window(s) for s in mono_s if not 110 < s <= 160]
    bad = {"front_v": UNKNOWN, "far_v": UNKNOWN, "current_a": UNKNOWN, "is_good": False}
    windows = [w._replace(**bad) if 210 < w.mono_s < 230 else w for w in windows]  # type: ignore[arg-type]
    path = written(
        folder,
        a_run(settings),
        told(CLOSED_S, "closed", "closed, asked by Anna"),
        closing(CLOSED_S),
        progress(CLOSED_S + 0.1),
        *windows,
        told(CLOSED_S + 300, "opened", "opened, asked by Anna"),
    )
    return record_of(path)


def test_gaps_while_closed_are_found(tmp_path: Path, hut_settings: SupervisorSettings) -> None:
    gaps = figures_of(holed(tmp_path, hut_settings)).gaps
    assert [gap.from_s for gap in gaps.whole] == pytest.approx([100.0, 200.0], abs=1.1)
    assert gaps.total_s == pytest.approx(70.0, abs=1.5)


def test_no_charge_is_made_up_for_a_gap(tmp_path: Path, hut_settings: SupervisorSettings) -> None:
    def charge_ah(from_s: float, to_s: float) -> float:
        return (amperes(from_s) - amperes(to_s)) * TAU_S / 3600

    known_ah = charge_ah(0, 100) + charge_ah(150, 200) + charge_ah(220, 300)
    figures = figures_of(holed(tmp_path, hut_settings))
    assert figures.recorded_ah == pytest.approx(known_ah, rel=5e-3)


def test_a_count_that_is_older_than_the_end_is_told(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    figures = figures_of(holed(tmp_path, hut_settings))
    assert figures.counted_to_s == pytest.approx(0.1)
    assert not figures.is_counted_to_end


def after_restart(record: Any) -> Any:
    """In the wall clock; the monotonic one began anew."""
    return record._replace(wall_s=WALL_S + 199.0 + record.mono_s)


def test_a_session_goes_on_over_a_restart(tmp_path: Path, hut_settings: SupervisorSettings) -> None:
    """Killed after 50 s closed, found again, reset, and closed for 30 s more."""
    path = written(
        tmp_path,
        a_run(hut_settings),
        told(CLOSED_S, "closed", "closed, asked by Anna"),
        closing(CLOSED_S),
        progress(CLOSED_S + 0.1),
        *(charge_window(round(CLOSED_S + k / 10, 3)) for k in range(1, 501)),
        *map(
            after_restart,
            (
                a_run(hut_settings, mono_s=1.0),
                told(1.0, "locked_out_at_start", "the last run ended without a word"),
                told(3.0, "reset", "reset by Anna: power cut", who="Anna", reason="power cut"),
                told(5.0, "closed", "closed, asked by Anna"),
                closing(5.0, is_new=False),
                progress(5.1),
                *(charge_window(round(k / 10, 3)) for k in range(51, 351)),
                told(35.0, "opened", "opened, asked by Anna"),
            ),
        ),
    )
    record = record_of(path)
    figures = figures_of(record)
    assert [s.length_s for s in figures.closed] == pytest.approx([50.0, 30.0], abs=0.2)
    assert figures.closed[1].from_s == pytest.approx(194.0)  # 204 against 10, by the wall clock
    (trip,) = figures.trips
    assert trip.is_unseen_end
    assert trip.reset is not None
    assert figures.has_unseen_end
    assert not figures.is_whole, "what flowed until it opened is not known"
    assert [e.code for e in record.events] == [
        "closed", "locked_out_at_start", "reset", "closed", "opened",
    ]  # fmt: skip


def test_a_session_without_samples_says_so(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    path = written(tmp_path, a_run(hut_settings), closing(CLOSED_S), progress(CLOSED_S))
    with pytest.raises(NothingToReport, match="session 1 has no samples"):
        record_of(path)
