"""Opening from the page: two deliberate taps, a token, and what came of it in words."""

import re
from pathlib import Path

import pytest
import samples
from browsing import ENTER, TAB, Browser
from standing_in import Page, page_over, saying
from test_freshness_in_browser import CLOCK

from supervisor.status.opening import NOT_SET_UP

TOKEN = "3xQ-hut_key.9Zk~7pLm"
DONE = {"done": True, "message": "the circuit is open", "circuit": "open"}
IS_OPEN = "document.getElementById('confirm').open"
ARMED = "!document.getElementById('open-now').disabled"
SHOWN = "(id => document.getElementById(id).checkVisibility())"
FOCUS = "return document.activeElement.id"


def posts(page: Page) -> list[tuple[str, str, str, bytes]]:
    return [asked for asked in page.asked if asked[0] == "POST"]


def at_the_form(browser: Browser, page: Page, token: str = TOKEN) -> None:
    browser.visit(page.url)
    browser.wait_for("Closed")
    browser.run(f"document.getElementById('token').value = '{token}'")


def confirmed(browser: Browser) -> None:
    browser.click("#open-ask")
    browser.wait_until(ARMED)
    browser.click("#open-now")


def test_two_taps_open(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        page.answers["/api/open"] = saying(DONE)
        at_the_form(browser, page)
        browser.click("#open-ask")
        assert browser.run(f"return {IS_OPEN}")
        assert posts(page) == []
        browser.wait_until(ARMED)
        browser.click("#open-now")
        browser.wait_for("The circuit is open.", "open-result")
        assert posts(page) == [
            ("POST", "/api/open", f"Bearer {TOKEN}", b'{"confirm":"open"}'),
        ]


def test_a_double_tap_does_not(browser: Browser, tmp_path: Path) -> None:
    """Neither where the first button is, nor where the second one comes up at once."""
    with page_over(tmp_path, samples.CLOSED) as page:
        page.answers["/api/open"] = saying(DONE)
        at_the_form(browser, page)
        first, second = browser.run("""
            document.getElementById('open-ask').click();
            const now = document.getElementById('open-now');
            now.click();
            const centre = (n) => { const r = n.getBoundingClientRect();
                return [r.x + r.width / 2, r.y + r.height / 2]; };
            const under = document.elementFromPoint(...centre(document.getElementById('open-ask')));
            return [under === now, document.activeElement.id];""")
        assert not first
        assert second == "open-leave"
        browser.wait_until(ARMED)
        assert browser.run("""
            document.getElementById('open-leave').click();
            document.getElementById('open-ask').click();
            document.getElementById('open-now').click();
            return document.getElementById('open-now').disabled;""")
        browser.wait_until(ARMED)
        assert posts(page) == []


def test_a_held_key_does_not(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        page.answers["/api/open"] = saying(DONE)
        at_the_form(browser, page)
        browser.run("document.getElementById('token').focus()")
        browser.press(ENTER)
        browser.wait_until(ARMED)
        browser.press(ENTER)
        browser.wait_until(f"!{IS_OPEN}")
        assert posts(page) == []


def test_by_keyboard_alone(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        page.answers["/api/open"] = saying(DONE)
        browser.visit(page.url)
        browser.wait_for("Closed")
        browser.run("document.getElementById('token').focus()")
        browser.press(*TOKEN, ENTER)
        browser.wait_until(ARMED)
        browser.press(TAB)
        assert browser.run(FOCUS) == "open-now"
        browser.press(ENTER)
        browser.wait_for("The circuit is open.", "open-result")
        assert len(posts(page)) == 1


@pytest.mark.parametrize(
    ("code", "problem"),
    [
        (401, "the token is wrong"),
        (503, "no answer from the supervisor: open by hand now, by the button or at the supply"),
    ],
)
def test_what_the_machine_says_is_told(
    browser: Browser, tmp_path: Path, code: int, problem: str
) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        page.answers["/api/open"] = saying({"problem": problem}, code)
        at_the_form(browser, page)
        confirmed(browser)
        browser.wait_for(problem[0].upper() + problem[1:] + ".", "open-result")


@pytest.mark.parametrize("sample", ["closed", "locked out"])
def test_where_it_is_not_set_up_nothing_is_asked_for_and_it_says_how(
    browser: Browser, tmp_path: Path, sample: str
) -> None:
    snapshot = samples.CLOSED if sample == "closed" else samples.LOCKED_OUT
    with page_over(tmp_path, snapshot, opening=None) as page:
        browser.visit(page.url)
        browser.wait_until(f"{SHOWN}('open-not-set-up')")
        assert not browser.run(f"return {SHOWN}('token') || {SHOWN}('open-ask')")
        told = " ".join(browser.texts("#open-not-set-up, #open-how"))
        for words in ("holdwatch open", "--new-token", "web.token_file", "--config"):
            assert words in told


def test_it_is_asked_for_as_soon_as_it_is_set_up(browser: Browser, tmp_path: Path) -> None:
    """The page's server was started anew; the page is open all the while."""
    with page_over(tmp_path, samples.CLOSED, opening=None) as page:
        browser.visit(page.url)
        browser.wait_until(f"{SHOWN}('open-not-set-up')")
        page.tell(samples.CLOSED)
        browser.wait_until(f"{SHOWN}('open-ask') && !{SHOWN}('open-not-set-up')")


def test_what_the_machine_refuses_stands_above_the_token(browser: Browser, tmp_path: Path) -> None:
    """As by a server that was started anew without a token."""
    with page_over(tmp_path, samples.CLOSED) as page:
        page.answers["/api/open"] = saying({"problem": NOT_SET_UP}, 403)
        at_the_form(browser, page)
        confirmed(browser)
        browser.wait_for("Not opened: the reason stands above the token.", "open-result")
        told = browser.texts("#open-refused")[0]
        assert "not set up" in told
        assert "--new-token" in told
        tops = "return ['open-refused', 'token', 'open-ask'].map("
        tops += "id => document.getElementById(id).getBoundingClientRect().top)"
        assert browser.run(tops) == sorted(browser.run(tops))
        page.answers["/api/open"] = saying(DONE)
        confirmed(browser)
        browser.wait_for("The circuit is open.", "open-result")
        assert browser.texts("#open-refused") == [""]


def opened(browser: Browser, page: Page) -> None:
    page.answers["/api/open"] = saying(DONE)
    at_the_form(browser, page)
    confirmed(browser)
    browser.wait_for("The circuit is open.", "open-result")


def test_what_came_of_it_has_its_time(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        opened(browser, page)
        assert re.fullmatch(
            r"By the status of 2025-03-1\d \d\d:\d\d:09\.", browser.texts("#open-when")[0]
        )


def test_what_came_of_it_goes_when_it_is_closed_again(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        opened(browser, page)
        page.publish(samples.OPEN)
        browser.wait_for("Open")
        assert browser.texts("#open-result") == ["The circuit is open."]
        page.publish(samples.CLOSED)
        browser.wait_for("", "open-result")
        assert browser.texts("#open-when") == [""]


def test_what_came_of_it_goes_when_no_open_status_was_seen(
    browser: Browser, tmp_path: Path
) -> None:
    """The link was away meanwhile: it was closed again, and published 60 s after the answer."""
    browser.before_each_page(CLOCK.format(0))
    with page_over(tmp_path, samples.CLOSED) as page:
        opened(browser, page)
        browser.run("window.skewMs = 60_000")
        page.publish(samples.CLOSED)
        browser.wait_for("", "open-result")


def test_what_came_of_it_is_struck_out_with_old_data(browser: Browser, tmp_path: Path) -> None:
    look = "getComputedStyle(document.getElementById('open-result')).textDecorationLine"
    with page_over(tmp_path, samples.CLOSED) as page:
        opened(browser, page)
        page.publish(samples.OPEN)
        browser.wait_for("Open")
        assert browser.run(f"return {look}") == "none"
        page.age_s = 3.5
        browser.wait_for("No fresh data")
        browser.wait_until(f"{look} === 'line-through'")
        assert browser.texts("#open-result") == ["The circuit is open."]


def test_the_token_can_be_read_back(browser: Browser, tmp_path: Path) -> None:
    kind = "return document.getElementById('token').type"
    with page_over(tmp_path, samples.CLOSED) as page:
        at_the_form(browser, page)
        assert browser.run(kind) == "password"
        browser.click("#token-shown")
        assert browser.run(kind) == "text"
        browser.click("#token-shown")
        assert browser.run(kind) == "password"


def test_an_empty_token_is_asked_for_in_words(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        at_the_form(browser, page, " ")
        browser.click("#open-ask")
        assert not browser.run(f"return {IS_OPEN}")
        assert "The token is missing" in browser.texts("#open-result")[0]
        assert posts(page) == []


def test_nobody_knows_without_an_answer(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        at_the_form(browser, page)
    confirmed(browser)
    browser.wait_until("document.getElementById('open-result').textContent.startsWith('No answer')")
    assert "switch the supply off at the mains" in browser.texts("#open-result")[0]


@pytest.mark.parametrize("token", ["two words", "schlüssel", "a\\u2028b"])
def test_what_is_no_token_is_not_sent(browser: Browser, tmp_path: Path, token: str) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        at_the_form(browser, page, token)
        browser.click("#open-ask")
        assert not browser.run(f"return {IS_OPEN}")
        assert "That is no token" in browser.texts("#open-result")[0]


def test_a_token_is_kept_for_the_tab_once_it_was_taken(browser: Browser, tmp_path: Path) -> None:
    field = "return document.getElementById('token').value"
    with page_over(tmp_path, samples.CLOSED) as page:
        page.answers["/api/open"] = saying({"problem": "the token is wrong"}, 401)
        at_the_form(browser, page)
        confirmed(browser)
        browser.wait_for("The token is wrong.", "open-result")
        browser.visit(page.url)
        browser.wait_for("Closed")
        assert browser.run(field) == ""
        page.answers["/api/open"] = saying(DONE)
        at_the_form(browser, page)
        confirmed(browser)
        browser.wait_for("The circuit is open.", "open-result")
        browser.visit(page.url)
        browser.wait_for("Closed")
        assert browser.run(field) == TOKEN
        assert browser.run("return [localStorage.length, document.cookie]") == [0, ""]
