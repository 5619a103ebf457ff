"""What builders, buyers and assessors stumbled over: each is said once, and in plain words."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from ended_charges import AMPERES, CLOSED_S, TAU_S
from pages import rows_of, silent, words

from supervisor.journal.writer import COMMIT_EVERY_S
from supervisor.report import page as page_room
from supervisor.report.compare import comparison_page
from supervisor.report.cues import cues_told
from supervisor.report.figures import figures_of
from supervisor.report.marks import marks_of
from supervisor.report.page import session_page
from supervisor.report.record import Event, Record
from supervisor.report.timeline import Stamp, Timeline
from supervisor.report.unknown_told import gap_clause, gap_words
from supervisor.report.verdict import judge
from supervisor.report.words import number, reckoned

CUT = "the last run ended without a word: process or power was lost"


@pytest.fixture(autouse=True)
def unplotted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_room, "plots_of", lambda *_: [])
    monkeypatch.setattr(page_room, "trip_plot", lambda *_: None)


def said_of(record: Record) -> str:
    return words(session_page(record, silent))


def table(records: list[Record]) -> Mapping[str, list[str]]:
    return {row[0]: row[1:] for row in rows_of(comparison_page(records, silent)) if row}


def set_to(record: Record, **changes: Any) -> Record:
    """Of ``charge.full``."""
    known = record.session.settings
    charge = known["charge"] | {"full": known["charge"]["full"] | changes}
    return replace(record, session=replace(record.session, settings=known | {"charge": charge}))


def up_to(record: Record, to_s: float, *events: Event) -> Record:
    """The charge as it was by then, and what happened after."""
    return replace(
        record,
        timeline=Timeline(
            [record.timeline.stretches[0].first, Stamp(1, CLOSED_S + to_s, _wall_s(record, to_s))]
        ),
        events=(*(e for e in record.events if e.at_s < to_s), *events),
        progress=tuple(p for p in record.progress if p.at_s < to_s),
        seconds=record.seconds[record.seconds.at_s <= to_s],
        minutes=record.minutes[:0],
        close_ups=record.close_ups[:0],
    )


def _wall_s(record: Record, at_s: float) -> float:
    return record.timeline.wall_s(at_s)


def an_event(at_s: float, code: str, text: str, run: int = 1, **data: Any) -> Event:
    return Event(at_s, 0.0, run, code, text, data)


@pytest.fixture
def cut_off(charge: Record) -> Record:
    """Killed after 200 s closed; its next start is 39 s after its last sign of life."""
    begins = charge.timeline.stretches[0].first
    dead = begins._replace(mono_s=begins.mono_s + 200.0, wall_s=begins.wall_s + 200.0)
    killed = up_to(
        charge,
        200.0,
        an_event(200.0, "unseen_end", CUT),
        an_event(239.0, "locked_out_at_start", CUT, run=2, ended_unseen=True),
    )
    found = Stamp(2, 1.0, dead.wall_s + 39.0)
    return replace(killed, timeline=Timeline([begins, dead, found]))


@pytest.fixture
def opened(charge: Record) -> Record:
    return up_to(charge, 100.0, an_event(100.0, "opened", "opened, asked by Anna"))


@pytest.fixture
def under_way(charge: Record) -> Record:
    return up_to(charge, 100.0)


# --- an end that nobody saw


def test_after_a_kill_it_says_that_the_last_half_minute_was_not_kept(cut_off: Record) -> None:
    said = said_of(cut_off)
    assert f"in up to {COMMIT_EVERY_S:.0f} s before the end was not kept" in said
    assert "Nothing was measured" not in said


def test_the_report_and_the_comparison_say_the_same_of_gaps(
    charge: Record, cut_off: Record
) -> None:
    said, row = said_of(cut_off), table([charge, cut_off])["Gaps while closed, or perhaps closed"]
    clause = "the contactor was perhaps closed for 39 s after an end that nobody saw"
    assert row == [
        "none: good samples are there for all the time that the contactor was closed",
        f"39 s: {clause}",
        *row[2:],
    ]
    assert f"Gaps in the record 39 s {clause}" in said
    assert (
        said.count(f"{clause[0].upper()}{clause[1:]}.") == 2
    )  # in plain words, and of its quality
    assert "good samples are there" not in said


def test_a_gap_that_was_seen_and_one_that_was_not_are_added(cut_off: Record) -> None:
    rows = cut_off.seconds[(cut_off.seconds.at_s < 50) | (cut_off.seconds.at_s > 71)]
    figures = figures_of(replace(cut_off, seconds=rows))
    seen_s = figures.gaps.total_s
    assert gap_words(figures) == f"{seen_s + 39:.0f} s"
    assert gap_clause(figures) == (
        f"the contactor was closed for {seen_s:.0f} s without good samples; perhaps closed for 39 s"
        " after an end that nobody saw"
    )


def test_of_an_end_that_the_clock_cannot_date_no_length_is_claimed(cut_off: Record) -> None:
    figures = figures_of(cut_off)
    undated = replace(figures, unseen=tuple(u._replace(is_dated=False) for u in figures.unseen))
    assert gap_words(undated) == "not known"
    assert "perhaps closed for a time that is not known after an end" in gap_clause(undated)


def test_a_power_cut_is_told_once_among_the_events(cut_off: Record) -> None:
    ended, found = marks_of(cut_off.events)[-2:]
    assert ended.words == f"last sign of life that was kept: {CUT}"
    assert found.words == f"found at the next start: see No. {ended.number}"


def test_a_lockout_that_has_no_end_beside_it_keeps_its_reason() -> None:
    (mark,) = marks_of([an_event(5.0, "locked_out_at_start", CUT)])
    assert mark.words == f"found at a start: {CUT}"


# --- the current in the end


def test_what_was_not_full_has_no_end_current(opened: Record, charge: Record) -> None:
    """The mean of its last 10 s, in closed form; rows that are not wholly within are left out."""
    end = figures_of(opened).end
    assert end is not None
    from_s, to_s = end.spell
    assert (from_s, to_s) == pytest.approx((90, 100), abs=1.1)
    mean_a = AMPERES * TAU_S / (to_s - from_s) * (np.exp(-from_s / TAU_S) - np.exp(-to_s / TAU_S))
    assert end.amperes == pytest.approx(mean_a, rel=0.01)
    assert end.label == "Current when it opened"
    assert end.words.startswith(f"mean of the last {end.known_s:.0f} s closed")
    assert "End current" not in said_of(opened)
    full, other, *change = table([charge, opened])["End current"]
    assert full.endswith(" A")
    assert other.startswith("none: not full. Current when it opened: ")
    assert change == ["", ""]


def test_a_full_bank_says_why_the_verdict_tells_another_figure(charge: Record) -> None:
    end = figures_of(charge).end
    assert end is not None
    assert end.label == "End current"
    assert "The verdict names the last second alone, with the zero of the shunt in it." in end.words


def test_nothing_has_no_minus_and_no_mean_takes_no_time(opened: Record) -> None:
    assert number(-0.001, 2, "A") == "0.00 A"
    assert reckoned(-1e-9, "Ah") == "0.000 Ah"
    end = figures_of(opened).end
    assert end is not None
    assert "mean of the last 0.3 s" in replace(end, known_s=0.3).words


def test_a_zero_that_is_not_known_is_not_said_to_be_taken_out(charge: Record) -> None:
    unknown = tuple(replace(p, row=p.row._replace(zero_a=None)) for p in charge.progress)
    record = replace(charge, progress=unknown)
    said = said_of(record)
    assert "Zero of the shunt not known, so it was not taken out" in said
    assert "read while open" not in said
    assert table([record])["Zero of the shunt"] == ["not known, not taken out"]


# --- under way


def test_a_session_under_way_does_not_read_as_ended(under_way: Record) -> None:
    said = said_of(under_way)
    assert "; still under way when this report was made." in said
    assert "charging ended" not in said
    assert "NOT FULL YET" in said
    assert "Newest current" in said
    assert "are being charged" in said


def test_an_ended_one_is_not_under_way(opened: Record, cut_off: Record) -> None:
    for record in (opened, cut_off):
        said = said_of(record)
        assert "under way" not in said
        assert "charging ended at minute" in said


# --- full of what


@pytest.mark.parametrize(
    ("least_percent", "ends"),
    [
        (0, "and the check that enough went in is off (charge.full.least_percent is 0)."),
        (60.0, "is not known. By the settings, less than 60 % is no full charge."),
    ],
)
def test_full_says_of_how_much(charge: Record, least_percent: float, ends: str) -> None:
    record = set_to(charge, least_percent=least_percent)
    beside = judge(record, figures_of(record)).beside
    assert beside.startswith(
        "1.921 ± 0.020 Ah of 8960 Ah rated went in; how full the cells came is not known"
    )
    assert beside.endswith(ends)
    assert said_of(record).count(beside) == 2
    assert beside in table([record])["Full?"][0]


def test_what_is_not_full_has_the_rating_too(opened: Record) -> None:
    assert "of 280 Ah, 8960 Ah rated together, in parallel" in said_of(opened)
    assert judge(opened, figures_of(opened)).beside == ""


# --- cues


def test_a_cue_that_changed_has_its_last_words() -> None:
    first, second = (
        an_event(at_s, "cue", f"Raise it to {at_s:.0f} A.", cue="raise") for at_s in (10.0, 90.0)
    )
    events = [
        first,
        an_event(20.0, "cue", "Stay.", cue="stay"),
        an_event(50.0, "cue_ended", "Raise it to 40 A.", cue="raise"),
        an_event(60.0, "cue_ended", "Stay.", cue="stay"),
        second,
        an_event(95.0, "cue_ended", "Raise it.", run=2, cue="raise"),
    ]
    told = cues_told(events)
    assert [cue.last_words for cue in told] == ["Raise it to 40 A.", "", ""]
    assert told[2].event is second


def test_last_words_stand_beside_the_first(charge: Record) -> None:
    ended = an_event(350.0, "cue_ended", "Ease down further.", cue="ease_down")
    rows = rows_of(session_page(replace(charge, events=(*charge.events, ended)), silent))
    (row,) = (row for row in rows if row[-1:] == ["Ease down further."])
    assert row[2] == "Ease down."


# --- words for those who do not build such things


def test_trips_of_one_kind_are_counted(tripped: Record) -> None:
    trip = next(e for e in tripped.events if e.code == "trip")
    again = replace(trip, at_s=trip.at_s + 120)
    said = said_of(replace(tripped, events=(*tripped.events, again)))
    assert "Trips 2 2 × overvoltage" in said


def test_terms_stand_in_small_behind_plain_words(charge: Record, tripped: Record) -> None:
    pages = [session_page(charge, silent), session_page(tripped, silent)]
    for page in pages:
        plain = " ".join(words(part.split("</small>")[-1]) for part in page.split("<small>"))
        for term in (
            "single value",
            "k = 2",
            "windows of the loop",
            "window of the loop",
            "IEEE C37.2: function",
        ):
            assert term not in plain
    assert "about 95 of 100 cases" in words(pages[0])
    assert "IEEE C37.2: function 59" in words(pages[1])


def test_a_column_that_says_nothing_is_left_out(charge: Record) -> None:
    (heads,) = (row for row in rows_of(session_page(charge, silent)) if row[:1] == ["Channel"])
    assert heads == ["Channel", "Gain", "Offset", "Uncertainty of the gain"]
