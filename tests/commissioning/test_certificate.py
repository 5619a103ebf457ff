"""The certificate says what the record says: states, ages, figures, what was not tried."""

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from html import unescape
from typing import Any

import pytest
from build_samples import WALL, all_done, findings, odd_lines, step_done
from hypothesis import given
from hypothesis import strategies as st

from supervisor.cli.commission_text import states
from supervisor.commissioning.certificate import certificate
from supervisor.commissioning.certificate_figures import figures
from supervisor.commissioning.certificate_page import certificate_page
from supervisor.control.build_record import Finding, Line, counting, why_not
from supervisor.control.build_steps import needed
from supervisor.settings.model import SupervisorSettings

NOW = datetime(2026, 12, 10, 10, tzinfo=UTC)


def told(
    settings: SupervisorSettings, lines: Sequence[Line], text: bytes = b"", simulated: bool = False
) -> dict[str, Any]:
    return certificate(settings, lines, settings_text=text, simulated=simulated, now=NOW)


def entry(data: dict[str, Any], key: str) -> dict[str, Any]:
    return next(one for one in data["steps"] if one["step"] == key)


def slower(settings: SupervisorSettings) -> SupervisorSettings:
    contactor = settings.contactor.model_copy(update={"release_milliseconds": 31.0})
    return settings.model_copy(update={"contactor": contactor})


def test_every_state(hut_settings: SupervisorSettings) -> None:
    lines = [
        step_done(hut_settings, "parts"),
        step_done(hut_settings, "zero", passed=False),
        step_done(hut_settings, "release"),
    ]
    data = told(slower(hut_settings), lines)
    states = [entry(data, key)["state"] for key in ("parts", "zero", "release", "kill", "probes")]
    assert states == ["passed", "failed", "done with other settings", "not done", "not needed"]
    changed = {"path": "contactor.release_milliseconds", "was": "30.0", "now": "31.0"}
    assert entry(data, "release")["changed"] == [changed]
    assert "contactor.release_milliseconds: 30.0, now 31.0" in certificate_page(data)


def test_the_hash_is_of_the_file_as_it_is(hut_settings: SupervisorSettings) -> None:
    """SHA-256 of "abc": FIPS 180-4 example, as NIST publishes it."""
    data = told(hut_settings, [], b"abc")
    assert data["settings_sha256"] == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    assert told(hut_settings, [], b"abc\n")["settings_sha256"] != data["settings_sha256"]


@pytest.mark.parametrize(
    ("wall", "days"),
    [
        (WALL, 10),
        ("2025-11-30T10:00:00+00:00", 375),
        ("2027-01-01T00:00:00+00:00", None),
        ("2026-11-30T10:00:00", None),
        ("some day", None),
    ],
)
def test_calibrations_have_a_date_and_an_age(
    hut_settings: SupervisorSettings, wall: str, days: int | None
) -> None:
    data = told(hut_settings, [step_done(hut_settings, "current", wall=wall)])
    assert [(one["step"], one["age_days"]) for one in data["calibrations"]] == [("current", days)]
    assert bool(data["reminders"]) is (days == 375)
    age = "age not known" if days is None else f"{days} days ago"
    shown = wall[:16].replace("T", " ") if "+" in wall else wall
    assert f"Current: {shown}, {age}" in certificate_page(data)


def test_a_build_that_may_close_untried_is_not_said_to_stay_open(
    hut_settings: SupervisorSettings,
) -> None:
    reason = "<b>No cells</b> are connected"
    for update, words in (
        ({"uncommissioned": None, "uncommissioned_reason": None}, "It does not close:"),
        ({"uncommissioned": "accepted", "uncommissioned_reason": reason}, "may close all the same"),
    ):
        page = certificate_page(told(hut_settings.model_copy(update=update), []))
        assert words in page
        assert "<b>" not in page
        assert (reason in unescape(page)) is ("all the same" in words)


def test_what_was_not_tried_and_what_it_does_without(hut_settings: SupervisorSettings) -> None:
    data = told(hut_settings, all_done(hut_settings))
    assert {"sensing", "stale", "failed_to_open"} <= set(data["by_simulation_only"])
    assert not {"overvoltage", "overcurrent", "without"} & set(data["by_simulation_only"])
    assert data["without"] == hut_settings.protection.without.reasons()
    page = unescape(certificate_page(data))
    assert all(f"{rule}: {why}" in page for rule, why in data["without"].items())


def test_settings_relied_on_and_found_are_on_the_page(hut_settings: SupervisorSettings) -> None:
    line = step_done(hut_settings, "zero", as_found={"offset_amperes": -0.003572})
    page = certificate_page(told(hut_settings, [line]))
    assert f"channels.shunt.converter: {hut_settings.channels.shunt.converter}" in page
    assert "-0.003572 A" in page
    assert "k = 2" in page
    assert "protection.overvoltage.trip_volts:" not in page  # nothing that was done relied on it


def test_the_page_stands_alone_with_headings_in_order(hut_settings: SupervisorSettings) -> None:
    page = certificate_page(told(hut_settings, all_done(hut_settings)))
    assert not any(word in page for word in ("src=", "href=", "url(", "@import", "<script"))
    levels = [int(rest[0]) for rest in page.split("<h")[1:] if rest[0].isdigit()]
    assert levels[0] == 1
    assert set(levels[1:]) == {2}
    assert page.count("<th ") == page.count("<th scope=")


@pytest.mark.parametrize(
    ("finding", "measured", "limits"),
    [
        (Finding("x", False, 3.65441, "V", 3.64, 3.65395, 0.0042), "3.6544 ± 0.0042 V",
         "3.6400 to 3.6540 V"),
        (Finding("x", False, 3.65397, "V", 3.64, 3.65395, 0.0042), "3.65397 ± 0.0042 V",
         "3.64000 to 3.65395 V"),  # which side of the limit it is on must show
        (Finding("x", True, 264.0, "ms", high=300.0, uncertainty=1.0), "264.0 ± 1.0 ms",
         "up to 300.0 ms"),
        (Finding("x", True, 1.5, "A", uncertainty=0.0996), "1.50 ± 0.10 A", ""),
        (Finding("x", True, 1234.0, "A", uncertainty=234.2), "1230 ± 230 A", ""),
        (Finding("x", True, 3.6006, "V", 3.59519, 3.605546, 0.00243), "3.6006 ± 0.0024 V",
         "3.5952 to 3.6055 V"),
        (Finding("x", False, 40.0, "ms", high=30.0), "40 ms", "up to 30 ms"),
        (Finding("x", True, -2e-5, "V", -0.0086, 0.0086, 0.00243), "0.0000 ± 0.0024 V",
         "-0.0086 to 0.0086 V"),
        (Finding("x", True, 0.0, "A", low=-0.5), "0 A", "from -0.5 A"),
        (Finding("x", True, 1.7e308, "", high=1.75e308, uncertainty=1e308), "1.7e+308 ± 1e+308",
         "up to 1.75e+308"),
        (Finding("x", True), "", ""),
    ],
)  # fmt: skip
def test_figures(finding: Finding, measured: str, limits: str) -> None:
    shown, bounds = figures(vars_of(finding))
    assert shown == measured
    assert bounds == limits


def vars_of(finding: Finding) -> dict[str, Any]:
    return {name: getattr(finding, name) for name in Finding.__slots__}


@given(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4), st.none() | st.floats(1e-6, 10))
def test_rounding_brings_nothing_within_its_limit(
    measured: float, high: float, unsure: float | None
) -> None:
    if abs(measured - high) < 1e-7:
        return
    one = Finding("x", measured <= high, measured, "", None, high, unsure)
    shown, bound = figures(vars_of(one))
    as_shown = float(shown.split(" ±")[0])
    assert (as_shown <= float(bound.removeprefix("up to "))) is (measured <= high)


@given(st.floats(-1e4, 1e4), st.floats(1e-6, 1e3))
def test_an_uncertainty_has_two_digits_that_count_and_no_more(
    measured: float, unsure: float
) -> None:
    """JCGM 100:2008 (GUM), 7.2.6; and the value stands to the same place."""
    shown, _ = figures(vars_of(Finding("x", True, measured, "V", uncertainty=unsure)))
    value, of_it = shown.removesuffix(" V").split(" ± ")
    digits = of_it.replace(".", "").lstrip("0")
    assert len(digits.rstrip("0") if "." not in of_it else digits) <= 2
    assert float(of_it) == pytest.approx(unsure, rel=0.051)
    assert len(value.partition(".")[2]) == len(of_it.partition(".")[2])


@given(st.floats(-1e4, 1e4), st.floats(1e-9, 1e3) | st.none())
def test_no_zero_has_a_minus(measured: float, unsure: float | None) -> None:
    shown, _ = figures(vars_of(Finding("x", True, measured, "", uncertainty=unsure)))
    value = shown.split(" ±")[0]
    assert not (value.startswith("-") and float(value) == 0)


@given(findings)
def test_no_figures_raise(finding: Finding) -> None:
    figures(vars_of(finding))


@given(data=st.data(), simulated=st.booleans())
def test_no_record_makes_it_raise_and_its_verdict_is_the_daemons(
    hut_settings: SupervisorSettings, data: st.DataObject, simulated: bool
) -> None:
    whole: list[Line] = (
        [*all_done(hut_settings, simulated=simulated)] if data.draw(st.booleans()) else []
    )
    lines = whole + data.draw(st.lists(odd_lines(hut_settings), max_size=4))
    made = told(hut_settings, lines, simulated=simulated)
    assert made["missing"] == list(why_not(hut_settings, lines, simulated=simulated))
    assert made["commissioned"] is (not made["missing"])
    counts = counting(lines, simulated=simulated)
    listed = {one["step"] for one in states(hut_settings, counts) if one["state"] == "open"}
    assert listed == {
        one["step"] for one in made["steps"] if one["state"] not in ("passed", "not needed")
    } & {step.key for step in needed(hut_settings)}
    assert made["commissioned"] is (not listed)
    text = json.dumps(made, allow_nan=False)
    assert json.dumps(json.loads(text)) == text
    page = certificate_page(made)
    assert ("SIMULATED" in page) is simulated
    assert "<script" not in page
