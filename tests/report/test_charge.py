"""What went in: exact where all of it was counted, else the least that it can have been."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from ended_charges import a_run, record_of, told
from journals import WALL_S, closing, unseen_end, windows, written
from pages import rows_of, silent, words

from supervisor.journal.records import Progress
from supervisor.journal.records import Record as Told
from supervisor.report.charge import charge_of
from supervisor.report.compare import comparison_page
from supervisor.report.figures import figures_of
from supervisor.report.page import session_page
from supervisor.report.record import Record
from supervisor.settings.model import SupervisorSettings

AMPERES = 50.0  # of each window
FIRST_S, THEN_S = 1200.0, 60.0
FIRST_AH, THEN_AH = AMPERES * FIRST_S / 3600, AMPERES * THEN_S / 3600


def counted(mono_s: float, charged_ah: float, *, is_whole: bool) -> Progress:
    return Progress(
        mono_s, WALL_S + mono_s, "closed", "bulk", charged_ah, 0.01 * charged_ah, 3.4 * charged_ah,
        is_whole, 0.0, None, None,
    )  # fmt: skip


def cut(settings: SupervisorSettings, counted_first_s: float) -> Iterator[Told]:
    """Closed for FIRST_S, when the power fails; found, and closed for THEN_S. The count begins at
    nothing again."""
    again_s = 2 * FIRST_S
    yield a_run(settings)
    yield told(0.9, "closed", "closed, asked by Anna")
    yield closing(1.0)
    yield from windows(1.0, 1.0 + FIRST_S)
    yield counted(1.0 + counted_first_s, AMPERES * counted_first_s / 3600, is_whole=True)
    yield a_run(settings, mono_s=again_s)
    yield told(again_s, "locked_out_at_start", "power cut", ended_unseen=True)
    yield unseen_end(again_s)
    yield told(again_s + 10, "reset", "reset by Anna", who="Anna", reason="power cut")
    yield told(again_s + 100, "closed", "closed, asked by Anna")
    yield closing(again_s + 100, is_new=False)
    yield from windows(again_s + 100, again_s + 100 + THEN_S)
    yield counted(again_s + 100 + THEN_S, THEN_AH, is_whole=False)
    yield told(again_s + 100 + THEN_S, "opened", "opened, asked by Anna")


@pytest.fixture(scope="module")
def cut_off(tmp_path_factory: pytest.TempPathFactory, hut_settings: SupervisorSettings) -> Record:
    return record_of(written(tmp_path_factory.mktemp("cut"), *cut(hut_settings, FIRST_S)))


def test_after_an_end_that_nobody_saw_it_is_at_least_what_the_samples_say(cut_off: Record) -> None:
    ah = figures_of(cut_off).charge.ah
    assert ah.value == pytest.approx(FIRST_AH + THEN_AH, rel=1e-3)
    assert (ah.is_least, ah.is_sampled, ah.error) == (True, True, None)
    assert ah.words.startswith("at least 17.5")
    assert ah.words.endswith(" Ah by the samples")


def test_where_the_samples_say_less_it_is_at_least_the_largest_count(cut_off: Record) -> None:
    """Most rows of the first run were lost."""
    few = replace(cut_off, seconds=cut_off.seconds.between(600.0, 1e9), minutes=cut_off.minutes[:0])
    ah = figures_of(few).charge.ah
    assert ah.value == pytest.approx(FIRST_AH)
    assert (ah.is_least, ah.is_sampled) == (True, False)


def test_no_part_of_the_page_tells_the_newest_count_as_if_it_were_all(cut_off: Record) -> None:
    said = words(session_page(cut_off, silent))
    least = "at least 17.5"
    assert f"A{least[1:]}" in said[said.index("In plain words") : said.index("Is the bank full?")]
    assert least in said[said.index("Charge put in") :][:30]
    assert least in said[said.index(" Charge at least") :][:30]
    assert "Energy at least" in said
    assert f"{THEN_AH:.3f}" not in said
    assert "±" not in said
    assert "The counted charge agrees with the samples: up to minute 20.0" in said


def test_more_than_the_samples_say_is_noticed_of_a_charge_that_is_not_whole(
    cut_off: Record,
) -> None:
    def scaled(factor: float) -> Record:
        *first, last = cut_off.progress
        row = last.row._replace(charged_ah=factor * (last.row.charged_ah or 0.0))
        return replace(cut_off, progress=(*first, replace(last, row=row)))

    check, more = figures_of(scaled(1.0)).check, figures_of(scaled(100.0)).check
    assert check is not None
    assert more is not None
    assert (check.is_sound, more.is_sound) == (True, False)


def test_a_count_that_fell_back_is_not_whole(charge: Record) -> None:
    last = charge.progress[-1]
    fell = replace(last, at_s=last.at_s + 1, row=last.row._replace(charged_ah=0.1))
    again = replace(charge, progress=(*charge.progress, fell))
    figures = figures_of(again)
    assert not charge_of(again, figures.closed, figures.gaps, ()).is_whole


@pytest.mark.parametrize("which", ["one", "other", "both"])
def test_of_at_least_no_difference_is_worked_out(
    charge: Record, cut_off: Record, which: str
) -> None:
    pair = {"one": [cut_off, charge], "other": [charge, cut_off], "both": [cut_off, cut_off]}[which]
    page = comparison_page(pair, silent)
    rows: dict[str, Any] = {row[0]: row[1:] for row in rows_of(page) if row}
    for label in ("Charge", "Energy", "Charge from the samples"):
        assert any("at least" in cell for cell in rows[label][:2])
        assert rows[label][2:] == ["not known", ""]
    assert "Of a value that says “at least” no change is worked out" in words(page)


def test_a_whole_charge_says_nothing_of_least(charge: Record) -> None:
    assert "at least" not in words(comparison_page([charge, charge], silent))
    assert figures_of(charge).charge.ah.words == "1.921 ± 0.020 Ah"
