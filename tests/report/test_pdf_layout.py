"""The report on paper: whose it is on every sheet, no sheet half empty, nothing cut.

WeasyPrint's own boxes are asked: there is no public way to tell where something came to stand.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from drawings import SVG
from ended_charges import charge_with_trip, record_of
from weasyprint import HTML

from supervisor.report.page import session_page
from supervisor.settings.model import SupervisorSettings

LONG_NAME = "Storage bank of the upper hut below the long northern ridge"
MOST_BLANK = 0.4  # of a sheet's height
SLACK_PX = 1.0
PLOT = f"{SVG}svg"


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory, hut_settings: SupervisorSettings) -> list[Any]:
    bank = hut_settings.bank.model_copy(update={"name": LONG_NAME})
    settings = hut_settings.model_copy(update={"bank": bank})
    record = record_of(charge_with_trip(tmp_path_factory.mktemp("paper"), settings))
    record = replace(record, session=replace(record.session, is_simulated=True))
    page = session_page(record, lambda _text: None)
    return [sheet._page_box for sheet in HTML(string=page).render().pages]


def margin_words(sheet: Any, place: str) -> str:
    (box,) = (one for one in sheet.children if getattr(one, "at_keyword", None) == place)
    return " ".join(one.text for one in box.descendants() if hasattr(one, "text"))


def contents(sheet: Any) -> Iterator[Any]:
    """Words and plots, but those in the margins, and the stamp that lies over every sheet."""
    for box in sheet.children[0].descendants():
        is_stamp = getattr(box, "text", "") == "SIMULATED"
        if (hasattr(box, "text") and not is_stamp) or box.element_tag == PLOT:
            yield box


def test_every_sheet_says_whose_it_is_and_that_it_is_simulated(sheets: list[Any]) -> None:
    assert len(sheets) > 3
    for number, sheet in enumerate(sheets, 1):
        assert margin_words(sheet, "@bottom-left") == f"{LONG_NAME}, SIMULATED session 1"
        assert "SIMULATED" in margin_words(sheet, "@top-center")
        assert margin_words(sheet, "@bottom-right") == f"{number} / {len(sheets)}"


def test_no_sheet_is_left_half_empty(sheets: list[Any]) -> None:
    """The second one was, because the plots were too high to stand two on a sheet."""
    for sheet in sheets[:-1]:
        lowest = max(box.position_y + box.height for box in contents(sheet))
        used = (lowest - sheet.content_box_y()) / sheet.height
        assert used > 1 - MOST_BLANK


def test_nothing_goes_over_an_edge(sheets: list[Any]) -> None:
    for sheet in sheets:
        right, bottom = sheet.content_box_x() + sheet.width, sheet.content_box_y() + sheet.height
        for box in contents(sheet):
            assert box.position_x + box.width <= right + SLACK_PX
            assert box.position_y + box.height <= bottom + SLACK_PX


def test_no_row_and_no_plot_goes_on_on_another_sheet(sheets: list[Any]) -> None:
    parts = Counter(
        id(box.element)
        for sheet in sheets
        for box in sheet.children[0].descendants()
        if (box.element_tag == "tr" and box.element.find("td") is not None)
        or box.element_tag == PLOT
    )
    assert len(parts) > 50
    assert set(parts.values()) == {1}


def test_plots_for_phones_are_not_printed(sheets: list[Any]) -> None:
    plots = [box for sheet in sheets for box in contents(sheet) if box.element_tag == PLOT]
    assert {plot.element.get("class") for plot in plots} == {"broad"}
    assert len(plots) == 3
