"""What a browser makes of the page. Needs Chromium and its driver; few, because they are slow."""

from dataclasses import replace
from pathlib import Path

import pytest
import samples
from browsing import Browser, struck
from standing_in import served

from supervisor.snapshot import RuleView


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
        for part in (lockout.reason, lockout.remedy, "3.6074\u00a0V", "3.600\u00a0V", "34\u00a0ms"):
            assert part in story
        assert browser.texts("#simulation") == [""]


@pytest.mark.parametrize("rules", [samples.FAILED.rules, samples.RULES], ids=["trip", "clear"])
def test_nothing_sounds_calm_beside_a_contactor_that_did_not_open(
    browser: Browser, tmp_path: Path, rules: tuple[RuleView, ...]
) -> None:
    with served(tmp_path, replace(samples.FAILED, rules=rules)) as url:
        browser.visit(url)
        browser.wait_for("Not seen to open")
        assert "switch the supply off at the mains now" in browser.texts("#meaning")[0]
        first, *_ = browser.texts("#verdict-words")
        assert "clear" not in first
        assert "Nothing is past a limit" not in first
        (told,) = browser.texts("main")
        assert "circuit is open" not in told
        assert "not closing" not in told


def test_old_news_of_a_contactor_that_did_not_open_still_calls_for_the_mains(
    browser: Browser, tmp_path: Path
) -> None:
    with served(tmp_path, samples.FAILED, age_s=3.5) as url:
        browser.visit(url)
        browser.wait_for(samples.FAILED.bank, "bank")
        browser.wait_until("document.getElementById('meaning').textContent.includes('last word')")
        assert "switch the supply off at the mains" in browser.texts("#meaning")[0]


def test_a_trip_says_first_that_it_is_open(browser: Browser, tmp_path: Path) -> None:
    """Then what shows it, then why."""
    with served(tmp_path, samples.LOCKED_OUT) as url:
        browser.visit(url)
        browser.wait_for("Locked out")
        meaning, opened, verdict = browser.texts("#meaning, #opened, #verdict-words")
        assert meaning.startswith("Open: no charging current flows. ")
        assert opened.replace("\u00a0", " ") == (
            "0.1 A measured now. Opening confirmed 34 ms after the coil was dropped."
        )
        assert verdict.startswith("Tripped by overvoltage")


@pytest.mark.parametrize(
    ("amperes", "first"),
    [
        (3.0, "Open: no charging current flows."),
        (-3.1, "Current still flows: switch the supply off at the mains now."),
        (None, "The coil is off; whether current flows is not known."),
    ],
)
def test_a_trip_claims_no_more_than_is_measured(
    browser: Browser, tmp_path: Path, amperes: float | None, first: str
) -> None:
    """The least that is told from zero is the limit of the rule that watches the opening: 3 A."""
    shunt = samples.channel("shunt", amperes, "A")
    tripped = replace(samples.LOCKED_OUT, channels=(*samples.LOCKED_OUT.channels[:2], shunt))
    with served(tmp_path, tripped) as url:
        browser.visit(url)
        browser.wait_for("Locked out")
        assert browser.texts("#meaning")[0].startswith(first)


def test_the_headline_is_not_calmer_than_the_cue(browser: Browser, tmp_path: Path) -> None:
    for sample, told in (
        (samples.WARNED, "Closed, and a hand is needed now."),
        (samples.HELD, "Charging current can flow."),
    ):
        with served(tmp_path, sample) as url:
            browser.visit(url)
            browser.wait_for("Closed")
            assert browser.texts("#meaning") == [told]


@pytest.mark.parametrize(
    ("sample", "is_loud"), [("closed", True), ("open", False), ("finished", False)]
)
def test_what_is_off_is_in_plain_ink_where_nothing_flows(
    browser: Browser, tmp_path: Path, sample: str, is_loud: bool
) -> None:
    with served(tmp_path, replace(samples.ALL[sample], without=samples.WITHOUT.without)) as url:
        browser.visit(url)
        browser.wait_for("2 protections are off.", "off-words")
        ink, loud = browser.run(
            "const colour = (n) => getComputedStyle(n).color;"
            "const off = colour(document.getElementById('off-words'));"
            "return [off === colour(document.body), off !== colour(document.body)]"
        )
        assert (ink, loud) == (not is_loud, is_loud)


def test_what_is_off_is_struck_out_with_old_data(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, samples.WITHOUT, age_s=3.5) as url:
        browser.visit(url)
        browser.wait_for("2 protections are off.", "off-words")
        for place in ("off-words", "off-count", "off-names"):
            style = f"getComputedStyle(document.getElementById('{place}')).textDecorationLine"
            assert browser.run(f"return {style}") == "line-through"


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
            "Tripped by overvoltage: 3.6074 V, limit 3.600 V. "
            "Nothing is past a limit now; the cause may still be there.",
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
        untried = ["Not commissioned."] if samples.ALL[sample].uncommissioned else [""]
        assert browser.texts("#untried-link") == untried
