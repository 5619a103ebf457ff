"""Is it of now? Streams, links, sleep, clocks that are wrong, and a start without a link."""

from dataclasses import replace
from pathlib import Path

import pytest
import samples
from browsing import Browser, struck
from standing_in import Page, page_over, saying

from supervisor.snapshot import Snapshot

YEARS_MS = 3 * 365 * 86_400_000
HOURS_MS = 5 * 3_600_000
# A clock of the day that a test can set: the page's own scripts find no other one.
CLOCK = "const real = Date.now; window.skewMs = {}; Date.now = () => real() + window.skewMs;"
SIGHT = """
    Object.defineProperty(document, 'visibilityState', {value: '%s', configurable: true});
    document.dispatchEvent(new Event('visibilitychange'));"""
LOOKS = """return [document.documentElement.dataset.fresh, document.title.split(' ', 3).join(' '),
    document.getElementById('icon').getAttribute('href')]"""
OLD = ["false", "No fresh data", "assets/mark-old.svg"]


def front(snapshot: Snapshot, volts: float) -> Snapshot:
    return replace(
        snapshot, channels=(samples.channel("front_cell", volts, "V"), *snapshot.channels[1:])
    )


def has_front(volts: str) -> str:
    return f"document.querySelector('#front_cell .live').textContent === '{volts}'"


def watching(browser: Browser, page: Page) -> None:
    browser.visit(page.url)
    browser.wait_for("Closed")


def test_values_come_by_the_stream(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        page.answers["/api/status"] = saying({}, 500)
        page.tell(front(samples.CLOSED, 3.471))
        browser.wait_until(has_front("3.471"))
        assert struck(browser) == {"none"}


def test_the_servers_own_stream(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        del page.answers["/api/stream"]
        watching(browser, page)
        page.answers["/api/status"] = saying({}, 500)
        page.publish(front(samples.CLOSED, 3.472))
        browser.wait_until(has_front("3.472"))


def test_a_stream_that_is_cut_while_watching(browser: Browser, tmp_path: Path) -> None:
    """Then the page asks, whether or not the stream comes back."""
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        page.tell(front(samples.CLOSED, 3.473))
        browser.wait_until(has_front("3.473"))
        page.is_cut = True
        page.publish(front(samples.CLOSED, 3.474))
        browser.wait_until(has_front("3.474"))
        assert browser.texts("#state") == ["Closed"]


def test_what_waited_on_its_way_is_not_of_now(browser: Browser, tmp_path: Path) -> None:
    """A phone that wakes is given events of a while ago, each of which says that it is fresh."""
    browser.before_each_page(CLOCK.format(0))
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        page.answers["/api/status"] = saying({}, 500)
        browser.run("window.skewMs = 60_000")
        browser.wait_for("No fresh data")
        page.tell(front(samples.CLOSED, 3.475))
        browser.wait_until(has_front("3.475"))
        assert browser.run(LOOKS) == OLD
        assert struck(browser) == {"line-through"}


def test_what_waited_never_replaces_what_came_since(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        page.tell(front(samples.CLOSED, 3.476))
        browser.wait_until(has_front("3.476"))
        browser.run("""
            const place = document.querySelector('#front_cell .live');
            window.shown = [];
            new MutationObserver(() => window.shown.push(place.textContent))
                .observe(place, {childList: true});""")
        page.published_at_s -= 5.0
        page.tell(front(samples.CLOSED, 3.111))
        page.published_at_s += 5.0
        page.tell(front(samples.LOCKED_OUT, 3.477))
        browser.wait_for("Locked out")
        assert browser.run("return window.shown") == ["3.477"]


def test_a_daemon_that_dies_while_watching(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        page.age_s = 3.5
        browser.wait_for("No fresh data")
        assert browser.run(LOOKS) == OLD
        assert "published nothing for more than 3 s" in browser.texts("#meaning")[0]
        assert "OLD" in browser.texts("#age")[0]
        head = "return getComputedStyle(document.getElementById('trend-head'), '::after').content"
        assert "not of now" in browser.run(head)
        page.age_s = 0.5
        page.publish(samples.CLOSED)
        browser.wait_for("Closed")
        assert browser.run(head) == "none"


def test_a_status_file_that_is_gone(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        (tmp_path / "status.json").unlink()
        browser.wait_for("No fresh data")
        assert "no status file" in browser.texts("#meaning")[0]


def test_a_trip_while_watching(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.HELD) as page:
        watching(browser, page)
        page.publish(samples.LOCKED_OUT)
        browser.wait_for("Locked out")
        assert browser.run(LOOKS)[2] == "assets/mark-trip.svg"
        assert "Tripped by overvoltage: 3.6074" in browser.texts("#verdict-words")[0]


@pytest.mark.parametrize("skew_ms", [YEARS_MS, -YEARS_MS, HOURS_MS, -HOURS_MS])
def test_the_clock_of_the_phone_changes_nothing(
    browser: Browser, tmp_path: Path, skew_ms: int
) -> None:
    browser.before_each_page(CLOCK.format(skew_ms))
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        page.tell(front(samples.CLOSED, 3.478))
        browser.wait_until(has_front("3.478"))
        assert struck(browser) == {"none"}
        age = browser.texts("#age")[0]  # a slow machine may take a second or two
        assert age.endswith(tuple(f"{seconds}\u00a0s old" for seconds in (1, 2, 3))), age
        browser.wait_until("document.querySelector('#trend-plot path')")
        assert browser.texts("#trend-note") == [""]
        page.age_s = 3.5
        browser.wait_for("No fresh data")


@pytest.mark.parametrize("step_ms", [HOURS_MS, -HOURS_MS])
def test_a_clock_that_is_set_while_watching(browser: Browser, tmp_path: Path, step_ms: int) -> None:
    """It may have slept meanwhile: believed again once the machine has answered."""
    browser.before_each_page(CLOCK.format(0))
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        browser.run(f"window.skewMs = {step_ms}")
        page.publish(front(samples.CLOSED, 3.479))
        browser.wait_until(has_front("3.479"))
        browser.wait_for("Closed")
        assert struck(browser) == {"none"}


def test_a_page_out_of_sight_is_left_with_nothing_to_believe(
    browser: Browser, tmp_path: Path
) -> None:
    """A frozen tab is shown again as it was, before any of its scripts runs."""
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        browser.run(SIGHT % "hidden")
        assert browser.run(LOOKS) == OLD
        assert struck(browser) == {"line-through"}
        browser.run(SIGHT % "visible")
        browser.wait_for("Closed")
        assert browser.run(LOOKS)[0] == "true"


def kept(browser: Browser) -> list[str]:
    found = browser.run_async("""
        const [done] = arguments;
        const paths = async () => {
            await navigator.serviceWorker.ready;
            const found = [];
            for (const name of await caches.keys())
                for (const one of await (await caches.open(name)).keys())
                    found.push(new URL(one.url).pathname);
            return found;
        };
        paths().then(done);""")
    assert isinstance(found, list)
    return found


def test_a_page_started_without_a_link_says_so(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        paths = kept(browser)
        assert "/" in paths
        assert "/assets/status.js" in paths
        watching(browser, page)  # once more, by way of the worker
        assert {path for path in kept(browser) if "api" in path or "metrics" in path} == set()
    browser.visit(page.url)
    browser.wait_until("document.getElementById('meaning').textContent.includes('no answer')")
    assert browser.run(LOOKS) == OLD
    assert "Nothing on this page is of now" in browser.texts("#meaning")[0]
    assert browser.texts("#age") == ["No data yet"]
    assert browser.texts("#front_cell .live") == [""]
    asked = "fetch('api/status').then(() => arguments[0]('answered'), () => arguments[0]('none'))"
    assert browser.run_async(asked) == "none"
