"""What a browser shows of the rules: side, margin, promise, warnings, those that are off."""

from dataclasses import replace
from pathlib import Path

import pytest
import samples
from browsing import Browser, struck
from standing_in import served

from supervisor.snapshot import RuleView, Snapshot

NB = "\u00a0"  # between a number and its unit


def looked_at(
    browser: Browser, run_dir: Path, snapshot: Snapshot, *selectors: str, age_s: float = 0.5
) -> list[list[str]]:
    """The texts at these places, with everything unfolded."""
    with served(run_dir, snapshot, age_s) as url:
        browser.visit(url)
        browser.wait_for(snapshot.bank, "bank")
        browser.run("for (const d of document.querySelectorAll('details')) d.open = true")
        return [browser.texts(selector) for selector in selectors]


def with_rule(rule: RuleView) -> Snapshot:
    return replace(samples.CLOSED, rules=(rule,))


def test_temperatures_stand_beside_the_other_readings(browser: Browser, tmp_path: Path) -> None:
    names, values, units = looked_at(
        browser, tmp_path, samples.PROBED, "#probes dt", "#probes .live", "#probes small"
    )
    assert names == ["Heat sink · rectifier", "Transformer · core", "Cells · cell_16"]
    assert values == ["61.4", "58.0", "no value: no answer"]
    assert units == ["°C", "°C", ""]


@pytest.mark.parametrize(
    ("age_s", "value", "unit"),
    [
        (3.0, "−4.5", "°C"),
        (12.0, "−4.5", f"°C, 12{NB}s ago"),
        (60.0, "−4.5", f"°C, 60{NB}s ago"),
        (60.1, "no value: old reading", ""),
    ],
)
def test_an_old_temperature_is_told_as_old(
    browser: Browser, tmp_path: Path, age_s: float, value: str, unit: str
) -> None:
    cold = replace(samples.probe("yard", "cells", -4.5), age_s=age_s)
    snapshot = replace(samples.CLOSED, probes=(cold,))
    places = looked_at(browser, tmp_path, snapshot, "#probes .live", "#probes small")
    assert places == [[value], [unit]]


def test_without_probes_there_is_no_empty_place(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, samples.CLOSED) as url:
        browser.visit(url)
        browser.wait_for("Closed")
        assert browser.run("return document.getElementById('probes').offsetHeight") == 0


def test_every_unit_is_written_for_people(browser: Browser, tmp_path: Path) -> None:
    (values,) = looked_at(browser, tmp_path, samples.PROBED, "#rules .measured")
    shown = dict(zip([rule.rule for rule in samples.PROBED.rules], values, strict=True))
    assert shown["supply_thermal"] == f"71.2{NB}%"
    assert shown["temperature"] == f"61.4{NB}°C"
    assert shown["knob_speed"] == f"0.4{NB}A/s"
    assert shown["balance"] == f"−0.012{NB}V"
    assert shown["session_time"] == f"1.39{NB}h"
    assert shown["session_charge"] == f"164.6{NB}Ah"


def test_what_a_rule_promises_is_a_fold_away(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, with_rule(samples.RULES[0])) as url:
        browser.visit(url)
        browser.wait_for("Closed")
        assert browser.texts("#rules dt") == [""] * 5
        browser.run("document.querySelector('#rules summary').click()")
        told = dict(
            zip(browser.texts("#rules dt"), browser.texts("#rules dl > div > dd"), strict=True)
        )
    assert told == {
        "Margin": f"0.138{NB}V",
        "Finding": "Within its limit.",
        "Promise": f"Opens within 1.66{NB}s at worst; a cell reaches 3.617{NB}V at most.",
        "Guard band": f"±0.0082{NB}V measuring error at the limit",
        "Function": "59, IEEE C37.2",
    }


def test_a_promise_is_never_rounded_to_be_better(browser: Browser, tmp_path: Path) -> None:
    rule = replace(samples.RULES[0], response_s=1.6601, highest_v=3.61601)
    (facts,) = looked_at(browser, tmp_path, with_rule(rule), "#rules dd")
    assert f"Opens within 1.67{NB}s at worst; a cell reaches 3.617{NB}V at most." in facts


def test_what_depends_on_the_current_promises_no_time(browser: Browser, tmp_path: Path) -> None:
    heated = replace(samples.RULES[2], rule="supply_thermal", response_s=None)
    (facts,) = looked_at(browser, tmp_path, with_rule(heated), "#rules dd")
    assert "The more current, the sooner it opens." in facts


def test_a_rule_that_failed_shows_no_limit(browser: Browser, tmp_path: Path) -> None:
    """Its answer has no unit (see ``protection.decision``): its 0 is nobody's limit."""
    failed = replace(samples.rule("balance", "60", None, 0.0, ""), state="cannot tell")
    limits, facts = looked_at(browser, tmp_path, with_rule(failed), "#rules .limit", "#rules dt")
    assert limits == ["limit —"]
    assert facts == ["Function"]


def test_a_contactor_that_sticks_is_told_not_opened(browser: Browser, tmp_path: Path) -> None:
    (failed,) = [rule for rule in samples.RULES if rule.rule == "failed_to_open"]
    (facts,) = looked_at(browser, tmp_path, with_rule(failed), "#rules dd")
    assert f"Calls for help within 0.76{NB}s at worst." in facts


SIDES = (
    ("overvoltage", 3.462, 3.6, "V", "limit 3.600 V", "0.138 V"),
    ("overvoltage", 3.61, 3.6, "V", "limit 3.600 V", "none: 0.010 V past the limit"),
    ("undervoltage", 3.455, 2.5, "V", "trips below 2.500 V", "0.955 V"),
    ("undervoltage", 2.4, 2.5, "V", "trips below 2.500 V", "none: 0.100 V past the limit"),
    ("reverse_current", 118.4, -3.0, "A", "trips below −3.0 A", "121.4 A"),
    ("reverse_current", -5.0, -3.0, "A", "trips below −3.0 A", "none: 2.0 A past the limit"),
    ("balance", -0.1, 0.15, "V", "limit ±0.150 V", "0.050 V"),
    ("balance", -0.2, 0.15, "V", "limit ±0.150 V", "none: 0.050 V past the limit"),
    ("balance", 0.2, 0.15, "V", "limit ±0.150 V", "none: 0.050 V past the limit"),
    ("failed_to_open", -4.0, 3.0, "A", "limit ±3.0 A", "none: 1.0 A past the limit"),
    # Too hot or too cold, too much time or too small an answer: only the reason tells.
    ("temperature", 3.0, 0.0, "°C", "limit 0.0 °C", "3.0 °C from the limit"),
    ("temperature", 61.4, 85.0, "°C", "limit 85.0 °C", "23.6 °C from the limit"),
    ("sensing", 0.5, 2.0, "microohm", "limit 2.0 µΩ", "1.5 µΩ from the limit"),
    ("session_charge", 164.6, 8960.0, "Ah", "limit 8960.0 Ah", "8795.4 Ah"),
)


def test_which_side_of_the_limit_is_the_bad_one(browser: Browser, tmp_path: Path) -> None:
    rules = tuple(samples.rule(name, "59", *numbers) for name, *numbers, _, _ in SIDES)
    snapshot = replace(samples.CLOSED, rules=rules)
    margin = "#rules dl > div:first-of-type > dd"
    limits, margins = looked_at(browser, tmp_path, snapshot, "#rules .limit", margin)
    for (name, *_, side, left), limit, told in zip(SIDES, limits, margins, strict=True):
        assert (name, limit.replace(NB, " ")) == (name, side)
        assert (name, told.replace(NB, " ")) == (name, left)


def test_a_warning_says_how_long_is_left(browser: Browser, tmp_path: Path) -> None:
    head, lines, rows = looked_at(
        browser, tmp_path, samples.WARNED, "#warned", "#warning-list p", "#rules .left"
    )
    assert head == ["Warning: supply thermal"]
    assert lines == [
        f"Supply thermal trips in 12{NB}min if nothing changes.",
        "Rectifier at 92.3 % of the heat that trips; it trips at this current.",
    ]
    assert [row for row in rows if row] == [f"Trips in 12{NB}min if nothing changes."]
    assert browser.run("return document.getElementById('warned').role") == "alert"


def test_an_old_warning_is_struck_out(browser: Browser, tmp_path: Path) -> None:
    looked_at(browser, tmp_path, samples.WARNED, "#warned", age_s=3.2)
    assert struck(browser) == {"line-through"}
    of_now = "#warned, #warning-list p"
    assert len(browser.texts(of_now)) == 3
    assert browser.run(f"return document.querySelectorAll(':is({of_now}):not(.live)').length") == 0


# State, seconds left, and what is told near the top and in the rule's row.
LEFT = (
    ("timing", 1799.9, "29 min", "29 min"),
    ("timing", 1800.0, None, "30 min"),
    ("clear", 1799.9, "29 min", "29 min"),
    ("clear", 1800.0, None, None),
    ("timing", 120.0, "2 min", "2 min"),
    ("timing", 119.9, "119 s", "119 s"),
    ("timing", 1.0, "1 s", "1 s"),
    ("timing", 0.9, "less than 1 s", "less than 1 s"),
    ("timing", 7300.0, None, "2 h"),
    ("timing", None, None, None),
    ("trip", 10.0, None, None),
)


def test_time_left_is_rounded_down_and_told_in_time(browser: Browser, tmp_path: Path) -> None:
    """Half an hour: time to walk back to the knob (common practice, no source)."""
    rules = tuple(
        replace(samples.RULES[0], rule=f"rule_{number}", state=state, left_s=left_s)
        for number, (state, left_s, _, _) in enumerate(LEFT)
    )
    snapshot = replace(samples.CLOSED, rules=rules)
    top, rows = looked_at(browser, tmp_path, snapshot, "#warning-list .lead", "#rules .left")
    assert [text.replace(NB, " ") for text in top] == [
        f"Rule {number} trips in {told} if nothing changes."
        for number, (_, _, told, _) in enumerate(LEFT)
        if told is not None
    ]
    assert [text.replace(NB, " ") for text in rows] == [
        "" if told is None else f"Trips in {told} if nothing changes." for *_, told in LEFT
    ]


@pytest.mark.parametrize(("state", "left_s"), [("clear", 1800.0), ("timing", None), ("trip", 0.0)])
def test_no_warning_without_need(
    browser: Browser, tmp_path: Path, state: str, left_s: float | None
) -> None:
    rule = replace(samples.RULES[0], state=state, left_s=left_s)
    assert looked_at(browser, tmp_path, with_rule(rule), "#warnings") == [[""]]


def test_far_off_trips_are_told_only_where_looked_for(browser: Browser, tmp_path: Path) -> None:
    top, facts = looked_at(browser, tmp_path, samples.PROBED, "#warnings", "#rules dd")
    assert top == [""]
    assert f"Trips in 118{NB}h if nothing changes." in facts


def test_rules_that_are_off_cannot_be_overlooked(browser: Browser, tmp_path: Path) -> None:
    count, names, rows = looked_at(
        browser, tmp_path, samples.WITHOUT, "#off-count", "#off-names", "#off-rules li"
    )
    assert count == ["2 protections are off"]
    assert names == ["Temperature, session charge."]
    for row, missing in zip(rows, samples.WITHOUT.without, strict=True):
        assert "off" in row.splitlines()[1].split()
        assert missing.reason.lower() in row.lower()
    above = browser.run(
        "return ['off-link', 'front_cell', 'off', 'rules'].map("
        "id => document.getElementById(id).getBoundingClientRect().top)"
    )
    assert above == sorted(above)


def test_one_rule_off_and_none(browser: Browser, tmp_path: Path) -> None:
    one = replace(samples.WITHOUT, without=samples.WITHOUT.without[:1])
    assert looked_at(browser, tmp_path, one, "#off-count") == [["1 protection is off"]]
    assert looked_at(browser, tmp_path, samples.CLOSED, "#off", "#off-rules li") == [[""], []]
