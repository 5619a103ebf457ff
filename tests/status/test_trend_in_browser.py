"""The trend, read back from what the browser drew: values, limit, bands, gaps, what is old."""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import samples
from browsing import Browser
from journals import closing, run, windows, written
from records import SESSION, record, with_gap
from standing_in import Page, page_over, saying
from test_story_in_browser import Drawing, read

from supervisor.snapshot import Snapshot

FASTER = "const real = performance.now.bind(performance); window.laterMs = 0;" + (
    "performance.now = () => real() + window.laterMs;"
)

HATCHES = "without a good reading"
HATCHED = "return document.querySelectorAll('#trend-plot .gap').length"


def later(snapshot: Snapshot, seconds: float, **changes: Any) -> Snapshot:
    wall = datetime.fromisoformat(snapshot.wall) + timedelta(seconds=seconds)
    return replace(snapshot, wall=wall.isoformat(), **changes)


def watching(browser: Browser, page: Page, answer: dict[str, Any] | None = None) -> Drawing:
    if answer is not None:
        page.answers["/api/history"] = saying(answer)
    browser.visit(page.url)
    browser.wait_until("document.querySelector('#trend-plot path')")
    return drawing(browser)


def drawing(browser: Browser) -> Drawing:
    return Drawing(browser, "trend-plot")


def words(browser: Browser) -> str:
    return browser.texts("#trend-words")[0].replace("\u00a0", " ")


def note(browser: Browser) -> str:
    return browser.texts("#trend-note")[0].replace("\u00a0", " ")


def extremes(drawn: Drawing, name: str) -> tuple[float, float]:
    """Of a channel's band."""
    heights = [
        float(y) for y in re.findall(r"[ML][\d.]+ (-?[\d.]+)", drawn.paths[f"band {name}"][0])
    ]
    scale = drawn.amperes if name == "shunt" else drawn.volts
    return read(scale, max(heights)), read(scale, min(heights))


def test_the_trend_shows_the_record_and_the_limit(browser: Browser, tmp_path: Path) -> None:
    answer = record(samples.CLOSED)
    with page_over(tmp_path, samples.CLOSED) as page:
        drawn = watching(browser, page)
    for name, column, error in (
        ("front_cell", "front_mean_v", 1e-3),
        ("far_cell", "far_mean_v", 1e-3),
        ("shunt", "current_mean_a", 0.5),
    ):
        times_min, values = zip(*drawn.trace(name), strict=True)
        recorded = answer["columns"][column]
        assert times_min == pytest.approx([s / 60 for s in answer["columns"]["before_s"]], abs=0.05)
        assert values == pytest.approx(recorded, abs=error)
    assert drawn.limits() == ([pytest.approx(3.6)], [])
    assert "limit 3.600\u00a0V" in drawn.words
    assert any(word.startswith("min before ") for word in drawn.words)


def test_the_servers_own_record(browser: Browser, tmp_path: Path) -> None:
    """Five minutes at 3.5 V and 50 A."""
    journal = written(tmp_path, run(), closing(0.0), *windows(0.0, 300.0))
    under_way = replace(samples.CLOSED.journal, session=1)
    snapshot = replace(
        samples.CLOSED,
        bank="Hut bank", simulated=True, wall="2026-05-28T20:31:40+00:00", journal=under_way,
    )  # fmt: skip
    with page_over(tmp_path, snapshot, journal=journal) as page:
        drawn = watching(browser, page)
        assert note(browser) == "Simulated."
        for name, value in (("front_cell", 3.5), ("shunt", 50.0)):
            times_min, values = zip(*drawn.trace(name), strict=True)
            assert max(times_min) == pytest.approx(5.0, abs=0.05)
            assert values == pytest.approx([value] * len(values), rel=0.01)


def test_no_peak_is_lost(browser: Browser, tmp_path: Path) -> None:
    """A second at 3.59 V in a bucket whose mean is 3.4 V, and a moment without current."""
    answer = record(samples.CLOSED)
    answer["columns"]["front_high_v"][40] = 3.59
    answer["columns"]["current_low_a"][41] = -4.0
    with page_over(tmp_path, samples.CLOSED) as page:
        drawn = watching(browser, page, answer)
        assert extremes(drawn, "front_cell")[1] == pytest.approx(3.59, abs=1e-3)
        assert extremes(drawn, "shunt")[0] == pytest.approx(-4.0, abs=0.5)
        assert "3.590 V at the most" in words(browser)
        assert "−4.0 A at the least" in words(browser)


def test_a_gap_is_a_gap(browser: Browser, tmp_path: Path) -> None:
    answer = with_gap(record(samples.CLOSED), 30, 54)
    with page_over(tmp_path, samples.CLOSED) as page:
        drawn = watching(browser, page, answer)
        for name in ("front_cell", "far_cell", "shunt", "band front_cell"):
            assert drawn.paths[name][0].count("M") == 2, name
        assert not [t for t, _ in drawn.trace("front_cell") if 5.45 < t < 7.4]
        place = "return [...document.querySelectorAll('#trend-plot .gap')].map(n => +n.getAttribute"
        (left,) = browser.run(place + "('x'))")
        (width,) = browser.run(place + "('width'))")
        from_min, to_min = (read(drawn.times, x) for x in (left, left + width))
        assert (from_min, to_min) == (pytest.approx(7.42, abs=0.1), pytest.approx(5.42, abs=0.1))
        assert "1 gap without a good reading, 2 min in all" in words(browser).replace(
            "120 s", "2 min"
        )


@pytest.mark.parametrize(
    ("window", "length_s", "unit"),
    [("minutes=10", 600, "min"), ("minutes=120", 7200, "min"), ("whole=1", 86_400, "h")],
)
def test_the_window_that_is_chosen(
    browser: Browser, tmp_path: Path, window: str, length_s: int, unit: str
) -> None:
    """The whole: 24 h."""
    answer = record(samples.CLOSED, length_s=length_s, points=500)
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        page.answers["/api/history"] = saying(answer)
        browser.click(f"#windows [data-window='{window}']")
        per_unit = {"min": 60, "h": 3600}[unit]
        browser.wait_until(
            f"[...document.querySelectorAll('#trend-plot text')]"
            f".some(n => n.textContent.startsWith('{unit} before '))"
            f" && document.querySelector('[aria-pressed=true]').dataset.window === '{window}'"
            f" && document.querySelector('#trend-plot path.front_cell')"
        )
        drawn = drawing(browser)
        longest = max(t for t, _ in drawn.trace("front_cell")) * per_unit
        assert longest == pytest.approx(length_s, rel=0.02)
        paths = [path for _, path, *_ in page.asked if path.startswith("/api/history?")]
        assert re.fullmatch(rf"/api/history\?{window}&points=\d+", paths[-1])
        assert browser.run("return document.getElementById('csv').getAttribute('href')") == (
            f"api/history.csv?{window}"
        )


@pytest.mark.parametrize(
    ("window", "every_s"), [("minutes=10", 5), ("minutes=120", 30), ("whole=1", 60)]
)
def test_the_record_is_asked_for_again(
    browser: Browser, tmp_path: Path, window: str, every_s: int
) -> None:
    browser.before_each_page(FASTER)
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        page.answers["/api/history"] = saying(record(samples.CLOSED) | {"note": "first"})
        browser.click("#windows [data-window='minutes=120']")
        browser.click(f"#windows [data-window='{window}']")
        browser.wait_for("First.", "trend-note")
        page.answers["/api/history"] = saying(record(samples.CLOSED) | {"note": "second"})
        browser.run(f"window.laterMs += {1000 * every_s}")
        browser.wait_for("Second.", "trend-note")


def test_what_is_heard_goes_on_from_the_record(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        page.tell(later(samples.CLOSED, 2.0))
        raised = (samples.channel("front_cell", 3.51, "V"), *samples.CLOSED.channels[1:])
        page.tell(later(samples.CLOSED, 4.0, channels=raised))
        browser.wait_until(
            "document.getElementById('trend-words').textContent.includes('to 3.510')"
        )
        trace = drawing(browser).trace("front_cell")
    assert trace[-1] == (pytest.approx(0.0, abs=0.01), pytest.approx(3.51, abs=1e-3))
    assert trace[-3][0] * 60 == pytest.approx(4.0, abs=0.6)


def test_a_record_that_ended_a_while_ago_is_no_line_up_to_now(
    browser: Browser, tmp_path: Path
) -> None:
    answer = record(samples.CLOSED, late_s=120.0)
    with page_over(tmp_path, samples.CLOSED) as page:
        drawn = watching(browser, page, answer)
        assert not [t for t, _ in drawn.trace("front_cell") if 0.1 < t < 1.9]
        assert HATCHES not in words(browser)
        assert browser.run(HATCHED) == 0
        assert "2 min not yet recorded" in words(browser).replace("120 s", "2 min")


def test_what_jumps_in_the_supervisors_own_time_is_no_bad_reading(
    browser: Browser, tmp_path: Path
) -> None:
    """A practice that runs fast: 40 s between any two statuses."""
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        for number, unseen in enumerate(("40 s", "80 s", "2 min", "3 min"), 1):
            page.tell(later(samples.CLOSED, 40.0 * number))
            told = unseen.replace(" ", "\u00a0") + " not yet recorded"
            browser.wait_until(
                f"document.getElementById('trend-words').textContent.includes('{told}')"
            )
        assert browser.run(HATCHED) == 0
        assert HATCHES not in words(browser)


def test_the_record_is_asked_for_soon_while_it_is_behind(browser: Browser, tmp_path: Path) -> None:
    """In the two hours' window, which is else asked for each half minute."""
    browser.before_each_page(FASTER)
    answer = record(samples.CLOSED, length_s=600, late_s=28.0)
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page, answer)
        browser.click("#windows [data-window='minutes=120']")
        browser.wait_until(
            "document.getElementById('trend-words').textContent.includes('28\u00a0s not yet')"
        )
        page.answers["/api/history"] = saying(record(samples.CLOSED) | {"note": "filled"})
        browser.run("window.laterMs += 5000")
        browser.wait_for("Filled.", "trend-note")
        assert "not yet recorded" not in words(browser)


def test_a_record_that_is_about_to_begin(browser: Browser, tmp_path: Path) -> None:
    """The server's own words, before the first half minute is written."""
    browser.before_each_page(FASTER)
    with page_over(tmp_path, samples.CLOSED, journal=written(tmp_path, run())) as page:
        browser.visit(page.url)
        browser.wait_for("The record begins in a moment.", "trend-note")
        page.answers["/api/history"] = saying(record(samples.CLOSED) | {"note": "begun"})
        browser.run("window.laterMs += 5000")
        browser.wait_for("Begun.", "trend-note")


def test_a_journal_without_a_session_while_it_is_open(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.OPEN, journal=written(tmp_path, run())) as page:
        browser.visit(page.url)
        browser.wait_for("The journal has no session yet: nothing was ever closed.", "trend-note")


def test_the_record_of_a_session_that_has_ended(browser: Browser, tmp_path: Path) -> None:
    answer = record(samples.CLOSED, late_s=3600.0) | {"session": SESSION - 1}
    with page_over(tmp_path, samples.CLOSED) as page:
        drawn = watching(browser, page, answer)
        assert "Of session 6, which has ended: not of now." in note(browser)
        assert "2025-03-14" in note(browser)
        last_min, _ = drawn.trace("front_cell")[-1]
        assert last_min == pytest.approx(0.0, abs=0.01)  # nothing of now was added to it


@pytest.mark.parametrize("of_another", [{"bank": "Barn bank"}, {"simulated": True}])
def test_the_record_of_another_is_not_of_now(
    browser: Browser, tmp_path: Path, of_another: dict[str, Any]
) -> None:
    """By its number alone it would be the session under way."""
    answer = record(samples.CLOSED, late_s=120.0) | of_another
    with page_over(tmp_path, samples.CLOSED) as page:
        drawn = watching(browser, page, answer)
        bank = of_another.get("bank", samples.CLOSED.bank)
        assert f"Of another circuit's record, {bank}: see --state-dir." in note(browser)
        assert "The record ends" not in note(browser)
        last_min, _ = drawn.trace("front_cell")[-1]
        assert last_min == pytest.approx(0.0, abs=0.01)  # nothing of now was added to it


def test_no_session_is_under_way(browser: Browser, tmp_path: Path) -> None:
    idle = replace(samples.OPEN, journal=replace(samples.OPEN.journal, session=None))
    with page_over(tmp_path, idle) as page:
        watching(browser, page)
        assert "has ended" in note(browser)


@pytest.mark.parametrize(
    ("content", "code", "told"),
    [
        (
            {"problem": "there is no session 9 in the journal"},
            404,
            "There is no session 9 in the journal.",
        ),
        ({}, 503, "The machine has no record to show."),
        ({"columns": {}}, 200, "The record could not be fetched."),
    ],
)
def test_without_a_record_there_is_no_plot(
    browser: Browser, tmp_path: Path, content: dict[str, Any], code: int, told: str
) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        page.answers["/api/history"] = saying(content, code)
        browser.visit(page.url)
        browser.wait_for(told, "trend-note")
        assert browser.texts("#trend-figure") == [""]
        assert browser.texts("#state") == ["Closed"]


def test_a_session_of_which_nothing_is_recorded_yet(browser: Browser, tmp_path: Path) -> None:
    empty = record(samples.CLOSED, points=1)
    empty["columns"] = {name: [] for name in empty["columns"]}
    empty |= {"newest_utc": None, "note": "nothing is recorded yet"}
    with page_over(tmp_path, samples.CLOSED) as page:
        page.answers["/api/history"] = saying(empty)
        browser.visit(page.url)
        browser.wait_for("Nothing is recorded yet.", "trend-note")
        assert browser.complaints(page.url) == []


def test_trouble_with_the_record_is_told(browser: Browser, tmp_path: Path) -> None:
    trouble = replace(samples.CLOSED.journal, trouble="the disk is full")
    with page_over(tmp_path, replace(samples.CLOSED, journal=trouble)) as page:
        watching(browser, page)
        assert note(browser) == "The disk is full."


def test_an_answer_that_stays_away_is_told(browser: Browser, tmp_path: Path) -> None:
    browser.before_each_page(FASTER)
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        page.answers["/api/history"] = saying({"problem": "the journal is being moved"}, 503)
        browser.run("window.laterMs += 6000")
        browser.wait_until(
            "document.getElementById('trend-note').textContent.startsWith('The journal is being')"
        )
        assert re.search(r"This one is \d+ s old", note(browser))


@pytest.mark.parametrize(
    ("ago_s", "window"), [(29, "minutes=10"), (3600, "minutes=120"), (40_000, "whole=1")]
)
def test_a_trip_is_in_the_trend(browser: Browser, tmp_path: Path, ago_s: int, window: str) -> None:
    tripped = samples.LOCKED_OUT
    assert tripped.lockout is not None
    at = (datetime.fromisoformat(tripped.wall) - timedelta(seconds=ago_s)).isoformat()
    snapshot = replace(tripped, lockout=replace(tripped.lockout, wall=at))
    with page_over(tmp_path, snapshot) as page:
        page.answers["/api/history"] = saying(record(snapshot, length_s=86_400, points=400))
        drawn = watching(browser, page)
        chosen = "return document.querySelector('[aria-pressed=true]').dataset.window"
        assert browser.run(chosen) == window
        assert "trip" in drawn.words
        (place,) = drawn.paths["trip"]
        unit_s = 3600 if window == "whole=1" else 60
        x = float(re.split("[MV ]", place)[1])
        assert read(drawn.times, x) * unit_s == pytest.approx(ago_s, rel=0.02, abs=2.0)


def test_the_trend_is_told_in_words_too(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        told = words(browser)
    assert told.startswith("The last 10 min: front cell from 3.40")
    assert "to 3.462 V, " in told
    assert "current from 158." in told
    assert "117.3 A at the least" in told
