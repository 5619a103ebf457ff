"""When the page sounds, how, and what its button says. The browser's own sound machine plays."""

from dataclasses import replace
from pathlib import Path

import pytest
import samples
from browsing import Browser
from standing_in import Page, page_over, saying

from supervisor.snapshot import Snapshot

# What is begun to sound, the clock of the day, and the sound machine itself.
HEARD = """
    window.tones = [];
    const start = OscillatorNode.prototype.start;
    OscillatorNode.prototype.start = function (at) {
        window.tones.push(this.frequency.value);
        return start.call(this, at);
    };
    window.AudioContext = class extends AudioContext {
        constructor() { super(); window.soundMachine = this; }
    };
    const real = Date.now;
    window.skewMs = 0;
    Date.now = () => real() + window.skewMs;"""
TRIP, NOW, LOST, ON = [880, 660], [1040] * 4, [520, 390], [780, 1040]
AGE_S = r"Number(/(\d+)\s+s old/.exec(document.getElementById('age').textContent)?.[1])"
STATE = "return document.getElementById('sound').dataset.state"


def watching(browser: Browser, page: Page, word: str = "Closed") -> None:
    browser.before_each_page(HEARD)
    browser.visit(page.url)
    browser.wait_for(word)


def turned_on(browser: Browser, page: Page) -> None:
    watching(browser, page)
    browser.click("#sound")
    browser.wait_for("Sound is on", "sound-head")
    browser.run("window.tones = []")


def sounds(browser: Browser, tones: list[int], why: str) -> None:
    """Waits until it does, by the pattern's own pitches in their order."""
    browser.wait_for(f"ALARM: {why}", "sound-head")
    browser.wait_until(f"JSON.stringify(window.tones) === '{str(tones).replace(' ', '')}'")


def test_silent_until_a_tap(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.LOCKED_OUT) as page:
        watching(browser, page, "Locked out")
        assert browser.texts("#sound-head, #sound-hint") == ["Sound is off", "Tap for sound on"]
        assert browser.run("return [window.tones.length, window.soundMachine]") == [0, None]


def test_a_tap_turns_it_on_audibly_and_another_off(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.HELD) as page:
        watching(browser, page)
        browser.click("#sound")
        browser.wait_for("Sound is on", "sound-head")
        assert browser.run("return window.tones") == ON
        browser.click("#sound")
        browser.wait_for("Sound is off", "sound-head")


def test_a_trip_while_watching_sounds_until_a_tap(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.HELD) as page:
        turned_on(browser, page)
        page.publish(samples.LOCKED_OUT)
        sounds(browser, TRIP, "tripped")
        assert browser.texts("#sound-hint") == ["Tap for quiet"]
        browser.click("#sound")
        browser.wait_for("Quiet for this", "sound-head")
        assert browser.run(STATE) == "on"
        again = replace(samples.TRIP, wall="2025-03-14T18:40:00+00:00")
        browser.run("window.tones = []")
        page.publish(replace(samples.LOCKED_OUT, lockout=again))
        sounds(browser, TRIP, "tripped")


def hushed(browser: Browser) -> None:
    browser.click("#sound")
    browser.wait_for("Quiet for 30 s", "sound-head")
    browser.run("window.tones = []")


def test_a_trip_that_was_hushed_sounds_anew_when_it_did_not_open(
    browser: Browser, tmp_path: Path
) -> None:
    with page_over(tmp_path, samples.LOCKED_OUT) as page:
        watching(browser, page, "Locked out")
        browser.click("#sound")
        browser.wait_for("ALARM: tripped", "sound-head")
        browser.click("#sound")
        browser.wait_for("Quiet for this", "sound-head")
        browser.run("window.tones = []")
        page.publish(samples.FAILED)
        sounds(browser, TRIP, "not open")


def test_what_did_not_open_sounds_again_however_often_it_is_hushed(
    browser: Browser, tmp_path: Path
) -> None:
    with page_over(tmp_path, samples.HELD) as page:
        turned_on(browser, page)
        page.publish(samples.FAILED)
        sounds(browser, TRIP, "not open")
        for _ in range(3):
            hushed(browser)
            assert browser.texts("#sound-hint") == ["Then again: not open"]
            browser.run("window.skewMs += 20_000")
            browser.click("#sound")  # quiet anew, and no way to turn it off
            browser.run("window.skewMs += 20_000")
            page.publish(samples.FAILED)
            browser.wait_for("Not seen to open")
            assert browser.texts("#sound-head") == ["Quiet for 30 s"]
            assert browser.run("return window.tones") == []
            browser.run("window.skewMs += 10_000")
            page.publish(samples.FAILED)
            sounds(browser, TRIP, "not open")
        assert "Not seen to open sounds again 30 s after" in browser.texts("#hear")[0]


def test_what_did_not_open_is_not_forgotten_with_the_data(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.FAILED) as page:
        watching(browser, page, "Not seen to open")
        browser.click("#sound")
        browser.wait_for("ALARM: not open", "sound-head")
        hushed(browser)
        page.answers["/api/status"] = saying({}, 500)
        browser.run("window.skewMs += 31_000")
        browser.wait_for("No fresh data")
        sounds(browser, TRIP, "not open")


@pytest.mark.parametrize(
    ("sample", "tones", "why"),
    [(samples.CLOSED, NOW, "act now"), (samples.LOCKED_OUT, TRIP, "tripped")],
    ids=["cue", "trip"],
)
def test_no_alarm_calls_for_what_is_not_known_any_more(
    browser: Browser, tmp_path: Path, sample: Snapshot, tones: list[int], why: str
) -> None:
    """It goes on, for a breath without data changes nothing; only its word is that of the page."""
    with page_over(tmp_path, samples.HELD) as page:
        turned_on(browser, page)
        page.publish(sample)
        sounds(browser, tones, why)
        page.answers["/api/status"] = saying({}, 500)
        browser.run("window.skewMs += 4000")
        browser.wait_for("No fresh data")
        assert browser.texts("#sound-head") == ["ALARM: no data"]


def test_a_cue_of_now_sounds_and_a_second_one_sounds_anew(browser: Browser, tmp_path: Path) -> None:
    guidance = samples.TAPER
    with page_over(tmp_path, samples.HELD) as page:
        turned_on(browser, page)
        one = replace(guidance, cues=guidance.cues[:1])
        page.publish(replace(samples.CLOSED, guidance=one))
        sounds(browser, NOW, "act now")
        browser.click("#sound")
        browser.wait_for("Quiet for this", "sound-head")
        browser.run("window.tones = []")
        page.publish(samples.CLOSED)
        sounds(browser, NOW, "act now")


def test_lost_data_sound_after_a_while_and_no_more_when_they_are_back(
    browser: Browser, tmp_path: Path
) -> None:
    with page_over(tmp_path, samples.HELD) as page:
        turned_on(browser, page)
        page.answers["/api/status"] = saying({}, 500)
        browser.run("window.skewMs += 6000")
        browser.wait_for("No fresh data")
        assert browser.run(STATE) == "on"  # a link may be away for a breath
        browser.run("window.skewMs += 6000")
        browser.wait_until(f"{AGE_S} >= 12")
        browser.run("window.skewMs += 4000")
        sounds(browser, LOST, "no data")
        del page.answers["/api/status"]
        page.publish(samples.HELD)
        browser.wait_for("Closed")
        browser.wait_for("Sound is on", "sound-head")


def test_a_device_that_wakes_is_given_the_time_to_ask(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.HELD) as page:
        turned_on(browser, page)
        browser.wait_until("window.soundMachine.currentTime > 0.5")  # all is quiet again
        browser.run("window.skewMs += 3_600_000")
        browser.wait_for("No fresh data")
        browser.wait_for("Closed")
        assert browser.run("return window.tones") == []


def test_sound_that_the_browser_stops_is_told(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, samples.HELD) as page:
        turned_on(browser, page)
        browser.run("window.soundMachine.suspend()")
        browser.wait_for("Sound stopped", "sound-head")
        assert browser.texts("#sound-hint") == ["By the browser: tap for sound"]
        browser.click("#sound")
        browser.wait_for("Sound is on", "sound-head")


def test_a_page_that_is_loaded_anew_says_that_it_is_silent(
    browser: Browser, tmp_path: Path
) -> None:
    with page_over(tmp_path, samples.HELD) as page:
        turned_on(browser, page)
        browser.visit(page.url)
        browser.wait_for("Sound stopped", "sound-head")
        assert browser.texts("#sound-hint") == ["Page loaded anew: tap for sound"]


@pytest.mark.parametrize(("pattern", "tones"), [("trip", TRIP), ("now", NOW), ("lost", LOST)])
def test_each_sound_can_be_tried(
    browser: Browser, tmp_path: Path, pattern: str, tones: list[int]
) -> None:
    with page_over(tmp_path, samples.HELD) as page:
        watching(browser, page)
        browser.click(f"#tests [data-pattern={pattern}]")
        browser.wait_until(f"window.tones.length === {len(tones)}")
        assert browser.run("return window.tones") == tones
        assert browser.texts("#sound-head") == ["Sound is off"]


AWAKE = """
    window.locks = 0;
    const lock = () => { window.locks += 1; const one = new EventTarget();
        one.release = async () => { window.locks -= 1; one.onrelease?.(); }; return one; };
    Object.defineProperty(navigator, 'wakeLock', {value: {request: async () => lock()}});"""


def test_the_screen_stays_awake_with_the_sound(browser: Browser, tmp_path: Path) -> None:
    browser.before_each_page(AWAKE)
    with page_over(tmp_path, samples.HELD) as page:
        turned_on(browser, page)
        browser.wait_for("The screen stays awake.", "awake-state")
        browser.click("#awake")
        browser.wait_for("The screen may go dark.", "awake-state")
        browser.click("#awake")
        browser.wait_for("The screen stays awake.", "awake-state")
        browser.click("#sound")
        browser.wait_for("The screen stays awake once the sound is on.", "awake-state")
        assert browser.run("return window.locks") == 0


def test_a_browser_that_cannot_is_told_so(browser: Browser, tmp_path: Path) -> None:
    browser.before_each_page("delete window.AudioContext; delete Navigator.prototype.wakeLock;")
    with page_over(tmp_path, samples.HELD) as page:
        browser.visit(page.url)
        browser.wait_for("No sound", "sound-head")
        assert "cannot keep the screen awake" in browser.texts("#awake-state")[0]
        assert browser.run("return document.getElementById('sound').disabled")
