"""What a browser shows of the charge: cues, stage, forecasts, the end, the rest, the pulses."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import samples
from browsing import Browser, struck
from standing_in import page_over, served
from test_rules_in_browser import looked_at

from supervisor.snapshot import ForecastView, GuidanceView, Snapshot

OF_NOW = (
    ".cues .word, .cues .text, .cues .reason, #more-count, #advice, #charge dd, "
    "#charge h4#full-head, #ahead dd > *, #verdict-words"
)


def looked(browser: Browser, run_dir: Path, snapshot: Snapshot, *selectors: str) -> list[list[str]]:
    """As the operator reads it: with plain spaces."""
    found = looked_at(browser, run_dir, snapshot, *selectors)
    return [[text.replace("\u00a0", " ") for text in texts] for texts in found]


def guided(snapshot: Snapshot, **changes: Any) -> Snapshot:
    assert snapshot.guidance is not None
    return replace(snapshot, guidance=replace(snapshot.guidance, **changes))


def facts(browser: Browser, run_dir: Path, snapshot: Snapshot) -> dict[str, str]:
    places = ":is(#ahead, #charge)"
    terms, told = looked(browser, run_dir, snapshot, f"{places} dt", f"{places} dd")
    return {term: " ".join(text.split()) for term, text in zip(terms, told, strict=True) if term}


def test_cues_in_their_order_with_word_mark_and_reason(browser: Browser, tmp_path: Path) -> None:
    words, texts, reasons = looked(
        browser, tmp_path, samples.WARNED, ".cues .word", ".cues .text", ".cues .reason"
    )
    assert words == ["NOW", "NOW", "Soon"]
    assert texts == [
        "Too fast: 0.034 V/min. Ease down.",
        "Ease down: at this setting it will trip in 2 to 5 min.",
        "Supply near its limit: turn down.",
    ]
    assert reasons == [
        "0.060 V/min trips.",
        "",
        "Rectifier at 92.3 % of the heat that trips; it trips at this current.",
    ]
    marks = "return [...document.querySelectorAll('.cues use')].map(n => n.getAttribute('href'))"
    assert browser.run(marks) == ["#mark-now", "#mark-now", "#mark-soon"]


def test_a_note_is_called_one(browser: Browser, tmp_path: Path) -> None:
    (words,) = looked(browser, tmp_path, samples.HELD, ".cues .word")
    assert words == ["Soon", "Note", "Note"]


def test_the_most_urgent_cue_stands_above_the_readings(browser: Browser, tmp_path: Path) -> None:
    looked(browser, tmp_path, replace(samples.WARNED, silent_s=61.0))
    tops = browser.run(
        "return ['state', 'silent', 'cues', 'front_cell', 'ahead', 'stages', 'more-cues'].map("
        "id => document.getElementById(id).getBoundingClientRect().top)"
    )
    assert tops == sorted(tops)


@pytest.mark.parametrize("sample", ["paused", "unguided"])
def test_without_a_cue_there_is_no_empty_place(
    browser: Browser, tmp_path: Path, sample: str
) -> None:
    assert looked(browser, tmp_path, samples.ALL[sample], "#cues", "#more-cues") == [[""], [""]]


def test_what_is_urgent_interrupts_a_reader_once(browser: Browser, tmp_path: Path) -> None:
    """A number that changes is not told again; a cue that comes is."""
    assert samples.WARNED.guidance is not None
    first, second, heat = samples.WARNED.guidance.cues
    with page_over(tmp_path, guided(samples.CLOSED, cues=(first, heat))) as page:
        browser.visit(page.url)
        browser.wait_for(f"Now: {first.text}", "cue-alert")
        browser.wait_for(f"Soon: {heat.text}", "cue-told")
        roles = "return ['cue-alert', 'cue-told'].map(id => document.getElementById(id).role)"
        assert browser.run(roles) == ["alert", "status"]
        browser.run("document.getElementById('cue-alert').textContent = ''")
        faster = replace(first, text="Too fast: 0.041 V/min. Ease down.")
        changed = guided(samples.CLOSED, cues=(faster, second, heat))
        page.publish(changed)
        browser.wait_for(f"Now: {second.text}", "cue-alert")
        assert browser.texts(".cues .text")[0].replace("\u00a0", " ") == faster.text


@pytest.mark.parametrize(
    ("sample", "present", "since"),
    [
        ("closed", "taper", "for 95 s"),
        ("held", "hold", "for 3 h"),
        ("paused", "hold", "for 3 h"),
        ("finished", "rest", "for 21 min"),
        ("open", None, ""),
    ],
)
def test_the_present_stage_is_marked(
    browser: Browser, tmp_path: Path, sample: str, present: str | None, since: str
) -> None:
    words, since_told = looked(
        browser, tmp_path, samples.ALL[sample], "#stages .word", "#stages .for"
    )
    assert words == ["Bulk", "Taper", "Hold", "Rest"]
    assert "".join(since_told) == since
    marked = browser.run(
        "return [...document.querySelectorAll('#stages li')].filter(n => "
        "n.querySelector('.mark').getBoundingClientRect().width > 0)"
        ".map(n => [n.dataset.stage, n.getAttribute('aria-current')])"
    )
    assert marked == ([[present, "step"]] if present else [])
    read = [text.replace("\u00a0", " ").strip() for text in browser.texts("#stages li")]
    assert read == [f"{word} {since}" if word.lower() == present else word for word in words]
    assert browser.run("return document.querySelectorAll('[aria-current]').length") == len(marked)


def test_the_charge_in_figures(browser: Browser, tmp_path: Path) -> None:
    assert facts(browser, tmp_path, samples.HELD) == {
        "Limit, at the earliest": "11 min At this setting the limit in 19 min (11 to 29 min).",
        "Full": "about 2 h Full in 2.0 h (72 min to 3.6 h).",
        "Charged": "3942.6 Ah ± 21.4 Ah, 13366 Wh",
        "Left": "At most 537.4 Ah",
        "Highest cell": "3.552 V measured; 3.551 V at rest, less the drop of the current",
        "Resistance": "94.0 µΩ ± 12.0 µΩ, learned from turns of the knob",
    }
    assert browser.texts("#advice") == [samples.HOLD.advice]


def test_what_is_not_known_is_said_so(browser: Browser, tmp_path: Path) -> None:
    unsure = guided(
        samples.CLOSED,
        to_limit=samples.unknown("cannot tell yet: just closed"),
        measured_v=None,
        at_rest_v=None,
        resistance_ohm=None,
        resistance_u_ohm=None,
        charge_is_whole=False,
    )
    told = facts(browser, tmp_path, unsure)
    assert told["Limit, at the earliest"] == "Cannot tell yet: just closed."
    assert told["Full"] == "Cannot tell yet; at this current 36 h to the hold at the most."
    assert told["Charged"] == "At least 164.6 Ah ± 0.8 Ah, 563 Wh; a restart lost some"
    assert told["Highest cell"] == "Cannot tell."
    assert told["Resistance"] == "Not known yet: turns of the knob will show it"
    unlearned = guided(samples.CLOSED, at_rest_v=None)
    assert facts(browser, tmp_path, unlearned)["Highest cell"] == (
        "3.462 V measured; at rest: not known yet"
    )


def test_an_open_circuit_has_no_forecast(browser: Browser, tmp_path: Path) -> None:
    assert set(facts(browser, tmp_path, samples.OPEN)) == {"Charged", "Left"}


def test_a_forecast_stands_out_only_when_there_is_one(browser: Browser, tmp_path: Path) -> None:
    """The limit at the earliest, rounded down: nobody is to have less time than was said."""
    large = ("#to-limit-time", "#to-full-time")
    assert looked(browser, tmp_path, samples.CLOSED, *large) == [["2 min"], [""]]
    assert looked(browser, tmp_path, samples.HELD, *large) == [["11 min"], ["about 2 h"]]
    passed = guided(samples.CLOSED, to_limit=ForecastView(3.0, -1.0, 9.0, "now"))
    assert looked(browser, tmp_path, passed, *large) == [["within 1 min"], [""]]


@pytest.mark.parametrize(
    ("best_s", "low_s", "high_s", "told"),
    [
        (90.0, 0.0, 170.0, "Limit within 3 min"),
        (90.0, 0.9, 119.0, "Limit within 2 min"),
        (0.0, 0.0, 0.0, "Limit within 1 min"),
        (90.0, 0.0, 9000.0, "Limit within 3 h"),
        (90.0, 1.0, 170.0, "Limit, at the earliest 1 s"),
        (90.0, 61.0, 170.0, "Limit, at the earliest 61 s"),
    ],
)
def test_a_limit_that_may_be_near_is_never_told_as_zero(
    browser: Browser, tmp_path: Path, best_s: float, low_s: float, high_s: float, told: str
) -> None:
    near = guided(samples.CLOSED, to_limit=ForecastView(best_s, low_s, high_s, "near"))
    (term, large) = looked(browser, tmp_path, near, "#to-limit-term", "#to-limit-time")
    assert " ".join(term + large) == told


def test_what_is_missing_to_full(browser: Browser, tmp_path: Path) -> None:
    head, missing, progress = looked(
        browser, tmp_path, samples.HELD, "#full-head", "#missing li", "#full-for"
    )
    assert head == ["Missing to full"]
    assert missing == [
        "9.4 A (±0.6) is not below 8.0 A.",
        "Far cell lags by 14 mV, more than 10 mV.",
    ]
    assert progress == ["Met for 0 s of 30 min."]


def test_all_is_met_for_full(browser: Browser, tmp_path: Path) -> None:
    met = guided(samples.HELD, full=replace(samples.FULL, for_s=779.9, missing=()))
    head, missing, progress = looked(
        browser, tmp_path, met, "#full-head", "#missing li", "#full-for"
    )
    assert (head, missing) == (["All is met for full"], [])
    assert progress == ["Met for 12 min of 30 min, then the circuit opens by itself."]
    bar = browser.run("const b = document.getElementById('full-progress'); return b.position")
    assert bar == pytest.approx(779.9 / 1800)


def test_finished_with_the_rest_under_way(browser: Browser, tmp_path: Path) -> None:
    state, values, findings, full, cues = looked(
        browser, tmp_path, samples.FINISHED,
        "#rest-state", "#rest-values", "#findings li", "#full", "#cues .text",
    )  # fmt: skip
    assert state == ["Watching for 21 min of 60 min."]
    assert values == ["Front cell at 3.496 V, far cell 4 mV below it, falling by 118 mV an hour."]
    assert (findings, full) == ([], [""])
    assert cues == ["Full: the circuit is open. Knob to zero, supply off."]
    bar = browser.run("const b = document.getElementById('rest-progress'); return b.position")
    assert bar == pytest.approx(0.35)


@pytest.mark.parametrize(
    ("state", "findings", "words"),
    [
        ("passed", (), "Passed: the balance took."),
        ("failed", ("far cell still falls by 41 mV an hour, more than 30",), "Not passed."),
    ],
)
def test_how_the_rest_ended(
    browser: Browser, tmp_path: Path, state: str, findings: tuple[str, ...], words: str
) -> None:
    rest = replace(samples.WATCHED, state=state, for_s=3600.0, lag_v=-0.002, findings=findings)
    told, listed, values = looked(
        browser, tmp_path, guided(samples.FINISHED, rest=rest),
        "#rest-state", "#findings li", "#rest-values",
    )  # fmt: skip
    assert told == [words]
    assert [text.rstrip(".").lower() for text in listed] == list(map(str.lower, findings))
    assert "far cell 2 mV above it" in values[0]
    assert browser.texts("#rest-progress") == [""]
    assert browser.run("return document.getElementById('rest-progress').hidden")


def test_a_rest_with_no_readings_yet(browser: Browser, tmp_path: Path) -> None:
    rest = replace(samples.WATCHED, front_v=None, lag_v=None, fall_v_per_h=None)
    told = looked(browser, tmp_path, guided(samples.FINISHED, rest=rest), "#rest-values")
    assert told == [[""]]


def test_paused_says_hands_off_and_what_it_waits_for(browser: Browser, tmp_path: Path) -> None:
    state, meaning, advice, pulses, profile = looked(
        browser, tmp_path, samples.PAUSED, "#state", "#meaning", "#advice", "#pulses p", "#profile"
    )
    assert state == ["Paused"]
    assert "closes again by itself: hands off" in meaning[0]
    assert advice == [""]  # the hold's own tells to turn the knob
    assert pulses == [
        "The next waits for 3.531 V to fall below 3.500 V.",
        "Closed again by itself 4 times, 50 at the most.",
        "Pulses, the newest last: 25 min, 251 s, 198 s, 160 s, 131 s.",
    ]
    assert profile == ["profile bench_end"]


def test_a_pulse_under_way_waits_for_nothing(browser: Browser, tmp_path: Path) -> None:
    pulses = replace(samples.PULSES, count=7, lengths_s=tuple(map(float, range(80, 70, -1))))
    under_way = guided(samples.HELD, pulses=replace(pulses, waits_for=""))
    (told,) = looked(browser, tmp_path, under_way, "#pulses p")
    assert told == [
        "",
        "Closed again by itself 7 times, 50 at the most.",
        "Pulses, the newest last: 76 s, 75 s, 74 s, 73 s, 72 s, 71 s.",
    ]


def test_why_the_pulses_ended(browser: Browser, tmp_path: Path) -> None:
    ended = replace(samples.PULSES, waits_for="50 pulses: that is what is allowed")
    (told,) = looked(browser, tmp_path, guided(samples.FINISHED, pulses=ended), "#pulse-waits")
    assert told == ["50 pulses: that is what is allowed."]


@pytest.mark.parametrize("sample", ["closed", "held", "finished", "paused"])
def test_old_guidance_is_struck_out(browser: Browser, tmp_path: Path, sample: str) -> None:
    looked_at(browser, tmp_path, samples.ALL[sample], age_s=3.2)
    assert struck(browser) == {"line-through"}
    bare = f"return document.querySelectorAll(':is({OF_NOW}):not(.live)').length"
    assert browser.run(bare) == 0
    plain = browser.run(
        "const places = '.cues .mark, #verdict .mark, #stages .mark, progress';"
        "const marks = [...document.querySelectorAll(places)];"
        "return marks.filter(n => getComputedStyle(n).visibility === 'visible').length"
    )
    assert plain == 0
    assert browser.texts("#cue-alert, #cue-told") == ["", ""]  # nothing old is read aloud
    present = "return document.querySelector('[aria-current] .word').classList.contains('live')"
    assert browser.run(present)


def test_closings_of_the_contactor(browser: Browser, tmp_path: Path) -> None:
    assert looked(browser, tmp_path, samples.CLOSED, "#closings", "#profile") == [
        ["Contactor: 214 closings of 100 000 rated"],
        [""],
    ]
    first = replace(samples.UNGUIDED, operations=1)
    told = looked(browser, tmp_path, first, "#closings", "#charge")
    assert told == [["Contactor: 1 closing so far"], [""]]


@pytest.mark.parametrize(
    ("silent_s", "told"),
    [
        (0.0, ""),
        (12.1, "Buzzer silent for 13 s, alarms too"),
        (481.0, "Buzzer silent for 9 min, alarms too"),
    ],
)
def test_a_silent_buzzer_is_told(
    browser: Browser, tmp_path: Path, silent_s: float, told: str
) -> None:
    """Rounded up: nobody is to wait for a sound too early."""
    snapshot = replace(samples.HELD, silent_s=silent_s)
    assert looked(browser, tmp_path, snapshot, "#silence") == [[told]]


NEVER = ForecastView(1e15, -1e15, 1e15, "")
ODD: dict[str, GuidanceView] = {
    "huge": replace(
        samples.HOLD, stage_for_s=1e15, charged_ah=1e15, left_ah=-1e15, resistance_ohm=1e15,
        to_limit=NEVER, full=replace(samples.FULL, for_s=1e15, of_s=0.0, missing=("",)),
    ),
    "empty": replace(samples.HOLD, advice="", pulses=replace(samples.PULSES, lengths_s=())),
}  # fmt: skip


@pytest.mark.parametrize("guidance", ODD.values(), ids=ODD.keys())
def test_odd_guidance_never_hides_the_state(
    browser: Browser, tmp_path: Path, guidance: GuidanceView
) -> None:
    with served(tmp_path, replace(samples.CLOSED, guidance=guidance)) as url:
        browser.visit(url)
        browser.wait_for("Closed")
        assert browser.texts("#front_cell .live") == ["3.462"]
        assert browser.complaints(url) == []
