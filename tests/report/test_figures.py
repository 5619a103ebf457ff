"""Figures against closed forms: charge, energy, peak, margin, times."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
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
from journals import WALL_S, closing, left, window, written
from pages import silent, words

from supervisor.journal.records import UNKNOWN, Span, Temperature, Window
from supervisor.report.figures import Figures, figures_of
from supervisor.report.page import session_page
from supervisor.report.quality import ChargeCheck
from supervisor.report.record import Curve, NothingToReport, Record
from supervisor.report.record import Progress as At
from supervisor.report.summary import celsius_words
from supervisor.report.temperatures import Extreme, Warmth
from supervisor.report.verdict import judge
from supervisor.settings.model import SupervisorSettings


@pytest.fixture(scope="module")
def figures(charge: Record) -> Figures:
    return figures_of(charge)


def test_the_charge_from_the_samples_is_the_integral(figures: Figures) -> None:
    """Within what trapezoids of a second leave at a time constant of 200 s."""
    assert figures.charge.sampled_ah.value == pytest.approx(CHARGE_AH, rel=2e-4)
    assert figures.charge.sampled_wh.value == pytest.approx(ENERGY_WH, rel=2e-4)


def test_the_charge_that_was_counted_is_told_as_it_was(figures: Figures) -> None:
    assert figures.charge.ah.value == pytest.approx(CHARGE_AH)
    assert figures.charge.ah.error == 0.02
    assert figures.zero_a == ZERO_A
    assert figures.charge.is_whole


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
    """The zero of the shunt taken out."""
    mean_a = (amperes(LENGTH_S - 60) - amperes(LENGTH_S)) * TAU_S / 60
    assert figures.end is not None
    assert figures.end.amperes == pytest.approx(mean_a, rel=0.01)
    assert figures.end.known_s == pytest.approx(60, abs=1.1)
    assert figures.end.is_net


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
    known_ah = amperes_ah(0, 100) + amperes_ah(150, 200) + amperes_ah(220, 300)
    figures = figures_of(holed(tmp_path, hut_settings))
    assert figures.charge.sampled_ah.value == pytest.approx(known_ah, rel=5e-3)


def test_a_count_that_is_older_than_the_end_is_told(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    figures = figures_of(holed(tmp_path, hut_settings))
    assert figures.charge.lacks == ("the count was kept up to minute 0.0 only",)


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
    assert not figures.charge.is_whole, "what flowed until it opened is not known"
    assert [e.code for e in record.events] == [
        "closed", "locked_out_at_start", "reset", "closed", "session_goes_on", "opened",
    ]  # fmt: skip
    ((from_s, to_s, is_dated),) = figures.unseen
    assert (from_s, to_s) == pytest.approx((50.0, 190.0), abs=0.2)
    assert is_dated


def test_a_run_that_ended_with_words_is_nowhere_told_to_have_ended_without(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    """It tripped; the latch kept that, the journal did not."""
    lockout = told(
        1.0, "locked_out_at_start", "overvoltage: 3.612 V", ended_unseen=False, remedy="look"
    )
    path = written(
        tmp_path,
        a_run(hut_settings),
        told(CLOSED_S, "closed", "closed, asked by Anna"),
        closing(CLOSED_S),
        progress(CLOSED_S + 0.1),
        *(charge_window(round(CLOSED_S + k / 10, 3)) for k in range(1, 501)),
        *map(after_restart, (a_run(hut_settings, mono_s=1.0), lockout)),
    )
    record = record_of(path)
    figures = figures_of(record)
    (trip,) = figures.trips
    assert trip.is_found_locked
    assert not figures.unseen
    assert figures.charge.lacks[0] == "some of it could not be counted"
    said = words(session_page(record, silent))
    assert "Trip 1: found locked out at a start" in said
    assert "It tripped, or was found locked out, once" in said
    assert "without a word" not in said


def test_a_session_of_which_nothing_was_recorded_says_so(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    path = written(tmp_path, a_run(hut_settings), closing(CLOSED_S))
    with pytest.raises(NothingToReport, match="session 1 has no samples and no events"):
        record_of(path)


# --- what flowed in the end


def flowing(from_s: float, to_s: float, net_a: float) -> list[Window]:
    """So much, and the zero of the shunt beside it."""
    shown_a = net_a + ZERO_A
    span = Span(shown_a, shown_a - 1, shown_a + 1)
    first, last = round(from_s * 10) + 1, round(to_s * 10)
    return [window(round(k / 10, 3), current_a=span) for k in range(first, last + 1)]


def pulsed_hold(folder: Path, settings: SupervisorSettings) -> Path:
    """Closed from 10 to 110 s with 20 A; a pulse from 200 to 212 s with 12 A; full at 500 s."""
    return written(
        folder,
        a_run(settings),
        told(10.0, "closed", "closed, asked by Anna"),
        closing(10.0),
        progress(10.1),
        *flowing(10.0, 110.0, 20.0),
        told(110.0, "paused", "opened, pulsed hold: 3.556 V is above 3.555 V"),
        *flowing(110.0, 200.0, 0.0),
        told(200.0, "resumed", "closed again, by the pulsed hold"),
        *flowing(200.0, 212.0, 12.0),
        told(212.0, "paused", "opened, pulsed hold: 3.556 V is above 3.555 V"),
        *flowing(212.0, 500.0, 0.0),
        told(500.0, "finished", "full: pulsed hold: next to nothing flows on the average"),
        *flowing(500.0, 510.0, 0.0),
    )


def test_of_a_last_closing_that_was_short_no_minute_is_claimed(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    end = figures_of(record_of(pulsed_hold(tmp_path, hut_settings))).end
    assert end is not None
    assert end.amperes == pytest.approx(12.0, abs=0.01)
    assert end.known_s == pytest.approx(12.0, abs=1.1)
    assert end.words.startswith("mean of the last 11 s closed, minute 3.18 to 3.37")
    assert "the zero of the shunt taken out" in end.words


def test_the_mean_that_decided_a_pulsed_hold_is_told(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    """12 A for 12 s, over the 300 s since that pulse began."""
    record = record_of(pulsed_hold(tmp_path, hut_settings))
    figures = figures_of(record)
    assert figures.pulse_mean is not None
    assert figures.pulse_mean.amperes == pytest.approx(12 * 12 / 300, rel=0.02)
    why = judge(record, figures).why
    assert "0.48 A over the 5 min since the last pulse of 12 s began" in why
    assert "less than the end current of 8 A" in why
    assert "opened for the last time at minute 3.4, declared full at minute 8.2" in why
    assert "opened by itself" not in why


def test_a_charge_that_opens_by_itself_has_no_pulse(figures: Figures) -> None:
    assert figures.pulse_mean is None


@pytest.mark.parametrize("has_close_ups", [True, False])
def test_a_thinned_session_has_an_end_current(charge: Record, has_close_ups: bool) -> None:
    """By what is left of it: the windows around the end, else the last whole minute."""
    thin = replace(charge, seconds=charge.seconds[:0])
    thin = thin if has_close_ups else replace(thin, close_ups=charge.close_ups[:0])
    end = figures_of(thin).end
    assert end is not None
    from_s, to_s = end.spell
    assert to_s <= LENGTH_S + 0.1
    mean_a = (amperes(from_s) - amperes(to_s)) * TAU_S / (to_s - from_s)
    assert end.amperes == pytest.approx(mean_a, rel=0.01)


def test_nothing_closed_has_no_end_current(charge: Record) -> None:
    assert figures_of(replace(charge, events=())).end is None


# --- temperatures


def warm(folder: Path, settings: SupervisorSettings) -> Record:
    """A heat sink up to 71 °C, limit 80; a probe that never answers; one that nobody set."""
    probes = {"sink": {"chip": "lm75", "place": "heat_sink", "address": 76}}
    known = settings.model_dump(mode="json") | {"probes": probes}
    known["protection"]["temperature"] = {"heat_sink_above_celsius": 80.0}
    record = written(
        folder,
        a_run(settings)._replace(settings=json.dumps(known)),
        told(CLOSED_S, "closed", "closed, asked by Anna"),
        closing(CLOSED_S),
        progress(CLOSED_S + 0.1),
        *flowing(CLOSED_S, CLOSED_S + 60, 20.0),
        *(
            Temperature(CLOSED_S + s, WALL_S + s, probe, celsius)
            for s, sink_c in ((10, 30.0), (30, 71.0), (50, None))
            for probe, celsius in (("sink", sink_c), ("dead", None), ("spare", 90.0))
        ),
    )
    return record_of(record)


def test_the_highest_temperature_of_every_probe_has_its_limit_and_minute(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    sink, spare = figures_of(warm(tmp_path, hut_settings)).warmth
    assert (sink.name, sink.hottest.celsius) == ("heat sink (probe sink)", 71.0)
    assert sink.hottest.at_s == pytest.approx(30.0, abs=0.2)
    assert sink.hottest.limit_c == 80.0
    assert celsius_words(sink) == "71.0 °C at minute 0.5, limit 80.0 °C"
    assert celsius_words(spare) == "90.0 °C at minute 0.2, no limit was set"


def test_cold_is_told_where_it_has_a_limit(charge: Record) -> None:
    settings = {
        "probes": {"cell": {"place": "cells"}},
        "protection": {"temperature": {"cells_above_celsius": 45.0, "cells_below_celsius": 5.0}},
    }
    curve = Curve("cell", np.array([0.0, 60.0]), np.array([7.5, 21.0]))
    record = replace(
        charge, temperatures=(curve,), session=replace(charge.session, settings=settings)
    )
    (warmth,) = figures_of(record).warmth
    assert celsius_words(warmth) == (
        "21.0 °C at minute 1.0, limit 45.0 °C; lowest 7.5 °C, limit 5.0 °C"
    )


@pytest.mark.parametrize(
    ("hot", "cold", "words"),
    [
        (84.8, 21.0, "84.8 °C at minute 2.0, ABOVE its limit of 80.0 °C; lowest 21.0 °C"),
        (80.0, 3.0, "80.0 °C at minute 2.0, limit 80.0 °C; lowest 3.0 °C, BELOW its limit of 5.0"),
    ],
)
def test_a_temperature_beyond_its_limit_says_so(hot: float, cold: float, words: str) -> None:
    warmth = Warmth("cell", "cells", Extreme(hot, 120.0, 80.0), Extreme(cold, 0.0, 5.0))
    assert celsius_words(warmth).startswith(words)


# --- what the record does not tell


def test_a_change_of_profile_explains_the_hole(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    text = "profile final_hold comes into force: nothing more is measured for this session"
    path = written(
        tmp_path,
        a_run(hut_settings),
        told(10.0, "closed", "closed, asked by Anna"),
        closing(10.0),
        progress(10.1),
        *flowing(10.0, 60.0, 20.0),
        told(60.0, "opened", "opened, asked by Anna"),
        *flowing(60.0, 80.0, 0.0),
        told(80.0, "session_left", text, profile="final_hold"),
        left(80.0),
        told(130.0, "closed", "closed, asked by Anna"),
        closing(130.0, is_new=False),
        *flowing(130.0, 160.0, 5.0),
    )
    figures = figures_of(record_of(path))
    (hole,) = figures.holes
    assert (hole.from_s, hole.to_s) == pytest.approx((70.0, 120.0), abs=1.1)
    assert hole.why.startswith(text)
    assert "Until the closing at minute 2.0 the circuit was open" in hole.why
    assert figures.gaps.whole == ()


def test_a_hole_without_a_reason_says_so(charge: Record) -> None:
    """Open, and rows are missing: nothing in the record tells why."""
    seen = charge.seconds[charge.seconds.at_s < LENGTH_S + 5]
    minutes = charge.minutes[charge.minutes.at_s < LENGTH_S + 5]
    (hole,) = figures_of(replace(charge, seconds=seen, minutes=minutes)).holes
    assert hole.why == "no reason is recorded"


def test_a_whole_charge_has_no_holes(figures: Figures) -> None:
    assert figures.holes == ()
    assert figures.unseen == ()


# --- the counted charge against the samples


def counted(charge: Record, factor: float) -> ChargeCheck:
    def scaled(p: At) -> At:
        return replace(p, row=p.row._replace(charged_ah=factor * (p.row.charged_ah or 0.0)))

    check = figures_of(replace(charge, progress=tuple(map(scaled, charge.progress)))).check
    assert check is not None
    return check


@pytest.mark.parametrize(("factor", "is_sound"), [(1.0, True), (1.1, False), (0.9, False)])
def test_a_count_that_the_samples_do_not_bear_out_is_noticed(
    charge: Record, factor: float, is_sound: bool
) -> None:
    """1.92 Ah, +- 0.02; the edges of the rows explain 0.01 more."""
    assert counted(charge, factor).is_sound == is_sound


def test_a_gap_explains_what_may_have_flowed_in_it(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    """70 s of 300 are missing in the samples, and counted by the supervisor."""
    record = holed(tmp_path, hut_settings)
    last = record.progress[-1]
    row = last.row._replace(charged_ah=amperes_ah(0, 300))
    record = replace(record, progress=(*record.progress, replace(last, at_s=305.0, row=row)))
    check = figures_of(record).check
    assert check is not None
    assert check.differs_ah > 0.3
    assert check.is_sound


def amperes_ah(from_s: float, to_s: float) -> float:
    return (amperes(from_s) - amperes(to_s)) * TAU_S / 3600


def test_nothing_counted_cannot_be_checked(charge: Record) -> None:
    assert figures_of(replace(charge, progress=())).check is None
