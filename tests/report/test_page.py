"""The page: alone in one file, everything escaped, a simulation unmistakable."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from ended_charges import ended_charge, record_of
from pages import rows_of, silent, words

from supervisor.report.compare import comparison_page
from supervisor.report.page import session_page
from supervisor.report.record import Curve, Event, Record
from supervisor.report.series import Band
from supervisor.report.timeline import Stamp, Timeline
from supervisor.settings.model import SupervisorSettings

ELSEWHERE = re.compile(r"""(?:src|href)\s*=\s*["'](?!#)|url\((?!["']?#)|@import""")
NASTY = '<script>alert(1)</script> $\\frac{1}{0}$ & "x" 電池'


@pytest.fixture(scope="module")
def page(charge: Record) -> str:
    return session_page(charge, silent)


@pytest.fixture(scope="module")
def simulated(tmp_path_factory: pytest.TempPathFactory, hut_settings: SupervisorSettings) -> Record:
    """With a bank whose name means harm."""
    bank = hut_settings.bank.model_copy(update={"name": NASTY})
    settings = hut_settings.model_copy(update={"bank": bank})
    folder = tmp_path_factory.mktemp("simulated")
    return record_of(ended_charge(folder, settings, is_simulated=True))


@pytest.fixture(scope="module")
def simulated_page(simulated: Record) -> str:
    return session_page(simulated, silent)


def drawings(page: str) -> list[str]:
    return re.findall(r"<svg.*?</svg>", page, re.DOTALL)


def figures(page: str) -> int:
    """Each may be drawn for several widths."""
    return page.count("<figure>")


def test_the_summary_says_what_a_buyer_wants_to_know(page: str) -> None:
    said = words(page)
    assert "Is the bank full? FULL held at 3.540 V with 5.4 A" in said
    assert "Charge put in 1.921 ± 0.020 Ah of 8960 Ah rated, in 7 min closed" in said
    assert "Highest voltage of a measured cell 3.612 V 38 mV below the maker's limit" in said
    assert "Rest check passed" in said
    assert "Trips none" in said


def test_it_begins_in_plain_words(page: str) -> None:
    said = words(page)
    assert said.index("In plain words") < said.index("Is the bank full?")
    assert "1.921 ± 0.020 Ah went in within 7 min with the contactor closed." in said
    assert "The supervisor found the bank full: held at 3.540 V with 5.4 A" in said
    assert "is 3.612 V, 38 mV below the maker's limit of 3.650 V." in said
    assert "No protection rule tripped." in said


def test_limits_have_words_a_unit_and_a_small_key(page: str) -> None:
    said = words(page)
    assert "too high a voltage ruins the cell. 3.6 V .trip_ volts" in said
    assert "(IEEE C37.2: function 59) Value protection.overvoltage " in said
    assert "`" not in said


def test_what_does_not_fit_a_phone_says_that_it_moves(page: str) -> None:
    assert page.count("push it sideways") == len(
        re.findall('<div class="wide[^>]*><table><thead>', page)
    )


def test_no_zero_has_a_minus(page: str) -> None:
    assert "front minus far 0 mV" in words(page)


def test_it_needs_nothing_from_elsewhere(page: str) -> None:
    assert ELSEWHERE.search(page) is None
    assert "<script" not in page


def test_every_plot_is_sound_and_shares_no_ids_with_another(page: str) -> None:
    plots = drawings(page)
    assert figures(page) == 3
    ids = [set(re.findall(r'\bid="(p[0-9a-f]{10})"', plot)) for plot in plots]
    assert ids[0]
    assert not ids[0] & ids[1]
    for plot in plots:
        assert ET.fromstring(plot).tag.endswith("svg")


def test_limits_stand_in_the_plot(page: str) -> None:
    plot = drawings(page)[0]
    assert "the maker&#x27;s limit 3.650 V" in plot or "the maker's limit 3.650 V" in plot
    assert "overvoltage trips 3.600 V" in plot
    assert "minutes since the session began" in plot
    assert "UTC, " in plot


def test_a_real_session_does_not_say_simulated(page: str) -> None:
    assert "SIMULATED" not in page


def test_a_simulated_one_says_so_everywhere(simulated_page: str) -> None:
    assert re.search(r"<title>SIMULATED", simulated_page)
    assert 'class="banner"' in simulated_page
    assert re.search(r"@page\s*{\s*@top-center\s*{\s*content:\s*\"SIMULATED", simulated_page)
    for plot in drawings(simulated_page):
        assert ">SIMULATED<" in plot


def test_a_name_that_means_harm_is_only_text(simulated_page: str) -> None:
    assert "<script" not in simulated_page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in simulated_page
    texts = ["".join(ET.fromstring(plot).itertext()) for plot in drawings(simulated_page)]
    assert all("$\\frac{1}{0}$" in text and "電池" in text for text in texts)


def test_signatures_cautions_and_origin_are_there(page: str) -> None:
    said = words(page)
    assert "Builder" in said
    assert said.index("Signatures") < said.index("Appendix: limits in force")
    assert "Witness" in said
    assert "It is no certificate" in said
    assert "Local codes" in said
    assert "When it was done is not recorded." in said
    assert re.search(r"SHA-256 [0-9a-f]{64}", said)


def test_the_trip_is_told_with_its_minute(tripped: Record) -> None:
    page = session_page(tripped, silent)
    said = words(page)
    assert "Trip 1: overvoltage, minute 1.7" in said
    assert "Every reading that was kept, 30 s before and after" in said
    assert "NOT FULL ended by a trip: overvoltage: too high (minute 1.7)" in said
    assert figures(page) == 3


def test_a_comparison_has_every_session_in_both_plots(charge: Record, tripped: Record) -> None:
    page = comparison_page([charge, tripped], silent)
    assert figures(page) == 2
    assert "minutes before (-) and after the end of charging" in drawings(page)[-1]
    assert "FULL: held at 3.540 V" in words(page)
    assert "overvoltage (minute 1.7)" in words(page)
    assert ELSEWHERE.search(page) is None


def test_a_comparison_with_a_simulated_one_says_which(charge: Record, simulated: Record) -> None:
    page = comparison_page([charge, simulated], silent)
    assert "<title>SIMULATED: session 1" in page
    said = words(page)
    assert "SIMULATED: session 1 There no battery was charged. Measured: session 1." in said
    assert "These figures come from a simulator" not in said
    (heads,) = (row for row in rows_of(page) if "Change" in row)
    assert heads[1:3] == ["session 1", "SIMULATED session 1"]
    assert all(">SIMULATED<" in plot for plot in drawings(page))
    assert "<script" not in page


def test_settings_that_no_version_knows_still_make_a_page(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    record = record_of(ended_charge(tmp_path, hut_settings))
    record = replace(record, session=replace(record.session, settings={"a": 1}))
    said = words(session_page(record, silent))
    assert "the maker's limit is not known" in said
    assert "does not know all of these settings" in said


def test_nothing_good_and_no_far_cell_still_make_a_page(charge: Record) -> None:
    """All that was read was bad: the page says what is not known."""
    unknown = np.full(len(charge.seconds), np.nan)
    nothing = Band(unknown, unknown, unknown)
    seconds = replace(charge.seconds, front_v=nothing, far_v=nothing, current_a=nothing)
    seconds = replace(seconds, good=np.zeros(len(seconds)))
    empty = charge.minutes[:0]
    record = replace(charge, seconds=seconds, minutes=empty, close_ups=empty)
    said = words(session_page(record, silent))
    assert "Highest voltage of a measured cell not known" in said
    assert "The contactor was closed for 7 min without good samples" in said


def test_what_no_page_can_show_is_replaced(charge: Record) -> None:
    events = (*charge.events, replace(charge.events[-1], text="bell \x07 and escape \x1b"))
    page = session_page(replace(charge, events=events), silent)
    assert "\x07" not in page
    assert "bell \N{REPLACEMENT CHARACTER} and escape" in page


def test_a_damaged_journal_is_told_at_the_top_and_where_the_record_is_judged(
    charge: Record,
) -> None:
    said = words(session_page(replace(charge, damage="page 7: never used"), silent))
    assert "The journal's file is damaged: what is said here may be wrong" in said
    assert "The journal's file is damaged: page 7: never used." in said.replace(" :", ":")


def test_a_count_that_the_samples_do_not_bear_out_is_told_three_times(charge: Record) -> None:
    """In plain words, beside the charge, and with both figures."""
    more = tuple(
        replace(p, row=p.row._replace(charged_ah=2 * (p.row.charged_ah or 0.0)))
        for p in charge.progress
    )
    said = words(session_page(replace(charge, progress=more), silent))
    assert "The counted charge and the samples do not agree" in said
    assert (
        "Charge put in 3.843 ± 0.020 Ah of 8960 Ah rated, in 7 min closed; NOT what the samples say"
        in said
    )
    assert "it is 3.843 Ah, and by the samples 1.921 Ah" in said


def test_what_nobody_saw_is_a_gap(charge: Record) -> None:
    """A run that ended while closed, found 100 s after its last sign of life."""
    dead = Stamp(1, 200.0, 1_780_000_000.0)
    found = Stamp(2, 1.0, dead.wall_s + 100.0)
    first = Stamp(1, 0.0, dead.wall_s - 200.0)
    at_start = Event(300.0, found.wall_s, 2, "locked_out_at_start", "the last run ended: cut", {})
    rows = charge.seconds[charge.seconds.at_s < 200]
    record = replace(
        charge,
        timeline=Timeline([first, dead, found]),
        events=(charge.events[0], at_start),
        progress=charge.progress[:3],
        **dict.fromkeys(("seconds", "minutes", "close_ups"), rows),
    )
    said = words(session_page(record, silent))
    assert "Gaps in the record 100 s" in said
    assert "3.3 5.0 100 s a run ended without a word while closed" in said
    assert "Trip 1: ended without a word, minute 3.3" in said
    assert "Nobody knows when it opened" in said


def test_two_sessions_are_set_against_each_other(charge: Record, tripped: Record) -> None:
    curve = Curve("sink", np.array([60.0]), np.array([50.0]))
    warm = replace(charge, temperatures=(curve,))
    warmer = replace(tripped, temperatures=(replace(curve, celsius=np.array([62.5])),))
    rows = {row[0]: row[1:] for row in rows_of(comparison_page([warm, warmer], silent)) if row}
    assert rows["Highest voltage of a measured cell"][2:] == ["+0.0000 V", "+0.0 %"]
    assert rows["Charge from the samples"] == ["1.921 Ah", "0.874 Ah", "-1.047 Ah", "-54.5 %"]
    assert rows["Highest temperature, probe sink"][2:] == ["+12.5 K", ""]
    assert rows["Cues"] == ["1", "0", "-1", "-100.0 %"]


def test_three_sessions_have_no_difference(charge: Record) -> None:
    page = comparison_page([charge, charge, charge], silent)
    assert "Relative" not in words(page)
    assert {len(row) for row in rows_of(page) if row} == {4}
