"""The certificate tells what is on record, all of it escaped, and what is missing."""

import hashlib
import json
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.commissioning.certificate import certificate
from supervisor.commissioning.certificate_page import certificate_page
from supervisor.control.build_record import Finding, StepDone
from supervisor.control.build_steps import BY_KEY, needed
from supervisor.settings.model import SupervisorSettings

NOW = datetime(2026, 12, 1, tzinfo=UTC)
NASTY = "<script>alert('1')</script> & \"quoted\""
text = st.text(max_size=30)
number = st.floats(-1e6, 1e6) | st.none()
findings = st.builds(
    Finding, text, st.booleans(), number, text, number, number, number, text, text, text
)


def done(settings: SupervisorSettings, key: str, **other: Any) -> StepDone:
    one = StepDone(
        key, True, "2026-11-30T10:00:00+00:00", "Ida", "0.1", False,
        BY_KEY[key].relied_on(settings), (Finding("all is well", True, 3.6, "V"),),
    )  # fmt: skip
    return replace(one, **other)


def told(settings: SupervisorSettings, *lines: StepDone, simulated: bool = False) -> dict[str, Any]:
    return certificate(settings, lines, settings_text=b"bank: hut", simulated=simulated, now=NOW)


class _Words(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.words = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: object) -> None:  # noqa: ARG002
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.words += data


def test_a_whole_record_is_commissioned(hut_settings: SupervisorSettings) -> None:
    data = told(hut_settings, *(done(hut_settings, step.key) for step in needed(hut_settings)))
    assert data["commissioned"]
    assert data["missing"] == []
    assert data["settings_sha256"] == hashlib.sha256(b"bank: hut").hexdigest()
    assert "Every step that this build needs has passed" in certificate_page(data)
    assert json.loads(json.dumps(data)) == json.loads(json.dumps(data, allow_nan=False))


def test_what_is_missing_and_what_failed_is_told(hut_settings: SupervisorSettings) -> None:
    bad = Finding(
        "release time", False, 40.0, "ms", high=30.0, defect="slow release", remedy="Mend"
    )
    data = told(hut_settings, done(hut_settings, "release", passed=False, findings=(bad,)))
    states = {entry["step"]: entry["state"] for entry in data["steps"]}
    assert (states["release"], states["drive"], states["probes"]) == (
        "failed", "not done", "not needed"
    )  # fmt: skip
    page = _Words(certificate_page(data)).words
    for words in ("Not commissioned", "slow release", "Mend", "up to 30 ms", "--step drive"):
        assert words in page


def test_as_found_stands_beside_as_left(hut_settings: SupervisorSettings) -> None:
    left = done(hut_settings, "far_cell")
    found = done(hut_settings, "far_cell", passed=False, as_left={"gain": 1.00123}, relied_on={})
    entry = next(
        one for one in told(hut_settings, found, left)["steps"] if one["step"] == "far_cell"
    )
    assert entry["as_found"]["as_left"] == {"gain": 1.00123}
    assert "gain 1.00123" in certificate_page(told(hut_settings, found, left))


@pytest.mark.parametrize(
    ("key", "as_found", "shown"),
    [
        ("zero", {"zero_a": -2.357056e-05}, "shown while none flowed -0.00002357 A"),
        ("zero", {"offset_amperes": -0.010323}, "offset -0.010323 A"),
        ("release", {"longest_ms": 264.2857142}, "longest 264.3 ms"),
        ("front_cell", {"gain": 1.0001, "offset": 0.000235}, "gain 1.0001, offset 0.000235 V"),
        ("current", {"gain": 1.0001, "offset": -0.0103}, "gain 1.0001, offset -0.0103 A"),
        ("current", {"offset": -0.0, "error_at_3_a": 1.0}, "offset 0 A."),
        ("current", {"something": 1.5}, "something 1.5."),
    ],
)
def test_what_was_found_is_told_with_its_unit(
    hut_settings: SupervisorSettings, key: str, as_found: dict[str, float], shown: str
) -> None:
    page = _Words(certificate_page(told(hut_settings, done(hut_settings, key, as_found=as_found))))
    assert f"Found: {shown}" in page.words


def test_what_was_written_is_told_with_its_unit(hut_settings: SupervisorSettings) -> None:
    left = {"gain": 1.000104, "offset_volts": 0.000235, "gain_uncertainty_percent": 0.059}
    line = done(hut_settings, "front_cell", passed=False, as_left=left)
    page = _Words(certificate_page(told(hut_settings, line))).words
    written = "gain 1.000104, offset 0.000235 V, unsure of the gain 0.059 %."
    assert f"Written into the settings: {written}" in page
    line = replace(line, simulated=True)
    page = _Words(certificate_page(told(hut_settings, line, simulated=True))).words
    assert "Written into" not in page
    assert f"A real walk would have written into the settings: {written}" in page


def test_times_are_to_the_minute_and_their_zone_is_said_once(
    hut_settings: SupervisorSettings,
) -> None:
    lines = [done(hut_settings, step.key) for step in needed(hut_settings)]
    page = _Words(certificate_page(told(hut_settings, *lines))).words
    assert page.count("2026-11-30 10:00") >= len(lines)
    assert page.count("UTC") == 1
    assert "+00:00" not in page
    other = done(hut_settings, "parts", wall="2026-11-30T10:00:00+02:00")
    assert "2026-11-30 08:00" in _Words(certificate_page(told(hut_settings, other))).words


def test_a_simulation_says_so(hut_settings: SupervisorSettings) -> None:
    lines = [done(hut_settings, step.key, simulated=True) for step in needed(hut_settings)]
    data = told(hut_settings, *lines, simulated=True)
    assert data["commissioned"]
    assert "SIMULATED" in certificate_page(data)
    assert not told(hut_settings, *lines)["commissioned"]


@pytest.mark.parametrize("where", ["by", "notes", "what", "words", "defect", "remedy", "unit"])
def test_what_people_wrote_is_text(hut_settings: SupervisorSettings, where: str) -> None:
    finding = {"what": "x", "passed": False, "measured": 1.0, where: NASTY}
    line = done(hut_settings, "drive", passed=False)
    if where in ("by", "notes"):
        line = replace(line, **{where: NASTY if where == "by" else (NASTY,)})
    else:
        line = replace(line, findings=(Finding(**finding),))
    page = certificate_page(told(hut_settings, line))
    assert "<script" not in page
    assert NASTY in _Words(page).words


@given(st.lists(findings, max_size=4), text, st.booleans())
def test_no_record_makes_it_raise_or_adds_a_tag(
    hut_settings: SupervisorSettings, some: list[Finding], by: str, passed: bool
) -> None:
    line = done(hut_settings, "leads", passed=passed, by=by, findings=tuple(some))
    data = told(hut_settings, line)
    json.dumps(data, allow_nan=False)
    assert set(_Words(certificate_page(data)).tags) <= KNOWN


KNOWN = {
    "html", "head", "meta", "title", "style", "body", "main", "p", "h1", "h2", "ul", "li", "code",
    "section", "span", "div", "table", "caption", "tr", "th", "td", "br",
}  # fmt: skip
