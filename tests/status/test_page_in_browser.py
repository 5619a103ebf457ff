"""What a browser makes of the page. Needs Chromium and its driver; few, because they are slow."""

from dataclasses import replace
from pathlib import Path

import pytest
import samples
from browsing import Browser, struck
from standing_in import served


def test_closed(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, samples.SIMULATED) as url:
        browser.visit(url)
        browser.wait_for("Closed")
        assert browser.texts("#front_cell .live, #far_cell .live, #shunt .live") == [
            "3.462",
            "3.455",
            "118.4",
        ]
        assert browser.texts("#margin-term, #margin .live, #margin small") == [
            "To the limit",
            "0.138",
            "V below 3.600\u00a0V",
        ]
        assert browser.texts("#bank") == [samples.CLOSED.bank]
        assert browser.texts("#rules .word") == ["clear"] * len(samples.RULES)
        assert browser.texts("#simulation b") == ["SIMULATION"]
        assert browser.texts("#lockout, #blocked, #uncommissioned") == ["", "", ""]
        assert struck(browser) == {"none"}


def test_locked_out_tells_its_story(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, samples.LOCKED_OUT) as url:
        browser.visit(url)
        browser.wait_for("Locked out")
        lockout = samples.LOCKED_OUT.lockout
        assert lockout is not None
        (story,) = browser.texts("#lockout")
        for part in (lockout.reason, lockout.remedy, "3.6074\u00a0V", "3.6000\u00a0V", "34 ms"):
            assert part in story
        assert browser.texts("#simulation") == [""]


def test_failure_to_open_is_not_called_locked_out(browser: Browser, tmp_path: Path) -> None:
    lockout = samples.LOCKED_OUT.lockout
    assert lockout is not None
    failed = replace(samples.LOCKED_OUT, lockout=replace(lockout, failed_to_open=True))
    with served(tmp_path, failed) as url:
        browser.visit(url)
        browser.wait_for("Not seen to open")
        assert "switch the supply off at the mains now" in browser.texts("#meaning")[0]
        assert "clear" not in browser.texts("#verdict-words")[0]


def test_unfit_says_why(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, samples.UNFIT) as url:
        browser.visit(url)
        browser.wait_for("Unfit")
        assert browser.texts("#blocked-list li") == list(samples.UNFIT.not_closing_because)
        assert browser.texts("#far_cell .live") == ["no value: out of range"]
        assert browser.texts("#margin .live") == ["cannot tell"]
        assert samples.UNFIT.uncommissioned in browser.texts("#uncommissioned-reason")[0]


def test_old_data_are_struck_out(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, samples.CLOSED, age_s=3.2) as url:
        browser.visit(url)
        browser.wait_for(samples.CLOSED.bank, "bank")
        assert browser.texts("#state") == ["NO FRESH DATA"]
        assert struck(browser) == {"line-through"}
        assert browser.texts("#front_cell .live") == ["3.462"]
        assert "The last word was “closed”" in browser.texts("#meaning")[0]


def test_page_goes_stale_by_itself_when_the_server_is_gone(
    browser: Browser, tmp_path: Path
) -> None:
    with served(tmp_path, samples.CLOSED) as url:
        browser.visit(url)
        browser.wait_for("Closed")
    browser.run("const real = Date.now; Date.now = () => real() + 4000")  # the device slept
    browser.wait_for("No fresh data")
    assert struck(browser) == {"line-through"}
    assert "no answer from the machine" in browser.texts("#meaning")[0]


@pytest.mark.parametrize("sample", samples.ALL.values(), ids=samples.ALL.keys())
def test_a_narrow_screen_with_large_text_shows_it_all_without_complaint(
    browser: Browser, tmp_path: Path, sample: samples.Snapshot
) -> None:
    """Nothing overflows; the console tells neither an error nor a breach of the page's policy."""
    with served(tmp_path, sample) as url:
        browser.visit(url)
        browser.run(
            "document.body.style.width = '360px';document.documentElement.style.fontSize = '200%';"
        )
        browser.wait_for(sample.circuit.capitalize())
        browser.run("for (const d of document.querySelectorAll('details')) d.open = true")
        assert browser.run("return document.body.scrollWidth") <= 360
        assert browser.complaints(url) == []


@pytest.mark.parametrize(
    ("sample", "told", "mark"),
    [
        ("closed", "All 10 rules clear.", "clear"),
        ("without", "All 10 rules clear.", "warning"),
        ("unfit", "Sensing: cannot tell. 9 of 10 rules clear.", "warning"),
        ("warned", "Supply thermal: trips in 12 min. 15 of 16 rules clear.", "warning"),
        (
            "locked out",
            "Tripped by overvoltage: 3.6074 V, limit 3.6000 V. All 10 rules clear by now.",
            "warning",
        ),
    ],
)
def test_the_verdict_on_all_rules_together(
    browser: Browser, tmp_path: Path, sample: str, told: str, mark: str
) -> None:
    with served(tmp_path, samples.ALL[sample]) as url:
        browser.visit(url)
        browser.wait_for(samples.CLOSED.bank, "bank")
        assert browser.texts("#verdict-words")[0].replace("\u00a0", " ") == told
        drawn = "return document.getElementById('verdict-mark').getAttribute('href')"
        assert browser.run(drawn) == f"#mark-{mark}"
        off = ["2 protections are off."] if sample == "without" else [""]
        assert browser.texts("#off-link") == off
