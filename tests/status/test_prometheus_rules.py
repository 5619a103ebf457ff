"""The shipped rules and configuration: what they must have, and their own tests."""

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import samples
import yaml
from prometheus_rules import SILENT, UNREACHABLE, Series, assert_fires, rules
from prometheus_tools import CONFIG, needs_promtool, promtool

from supervisor.snapshot import Snapshot
from supervisor.status.metrics import AGE, BUILD, SERIES, UP, metric_reference

TESTS = sorted((Path(__file__).parent / "alerts").glob("*.yaml"))
ALERTS = {rule["alert"]: rule for rule in rules() if "alert" in rule}
RECORDED = {rule["record"] for rule in rules() if "record" in rule}
EMITTED = {series.name for series in SERIES} | {UP[0], AGE[0], BUILD[0]}
EMITTED |= {f"{series.name}_bucket" for series in SERIES if series.kind == "histogram"}
NAME = re.compile(r"(?<![\w:])(?:instance:|circuit:|state:)?holdwatch_\w+(?::\w+)?")
JOIN = "* on (job, instance, circuit) group_left (kind) instance:holdwatch_kind:info"


def told_tests() -> list[dict[str, Any]]:
    files = [yaml.safe_load(file.read_text("utf-8")) for file in TESTS]
    return [test for file in files for test in file["tests"]]


@needs_promtool
def test_the_configuration_is_one() -> None:
    done = promtool(
        "check", "config", "--lint=all", "--lint-fatal", str(CONFIG / "prometheus.yaml")
    )
    assert done.returncode == 0, done.stdout + done.stderr


@needs_promtool
@pytest.mark.parametrize("file", TESTS, ids=lambda file: file.stem)
def test_what_promtool_says_of_their_tests(file: Path) -> None:
    done = promtool("test", "rules", str(file))
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("name", ALERTS)
def test_an_alert_has_all_that_a_person_needs(name: str) -> None:
    alert = ALERTS[name]
    assert alert["labels"]["severity"] in ("critical", "warning")
    assert set(alert["annotations"]) == {"summary", "description"}
    assert alert["annotations"]["description"].endswith(".")
    if name != "NothingScraped":  # nobody says anything there
        assert alert["expr"].endswith(JOIN)
        assert alert["annotations"]["summary"].startswith("{{ $labels.circuit }}: ")


@pytest.mark.parametrize("name", ALERTS)
def test_an_alert_is_seen_to_fire_and_not_to(name: str) -> None:
    told = [
        t
        for test in told_tests()
        for t in test.get("alert_rule_test", [])
        if t["alertname"] == name
    ]
    assert any(t["exp_alerts"] for t in told)
    assert any(not t["exp_alerts"] for t in told)


def test_a_trip_reaches_a_person_within_a_minute() -> None:
    """One scrape, one evaluation, and nothing to wait for."""
    scrape = yaml.safe_load((CONFIG / "prometheus.yaml").read_text("utf-8"))["scrape_configs"][0]
    groups = yaml.safe_load((CONFIG / "alert-rules.yaml").read_text("utf-8"))["groups"]
    assert (scrape["job_name"], scrape["scrape_interval"]) == ("holdwatch", "5s")
    assert {group["interval"] for group in groups} == {"5s"}
    for name in ("CircuitTripped", "FailedToOpen", "CellAboveMaximum"):
        assert "for" not in ALERTS[name]


def test_every_metric_that_is_asked_for_exists() -> None:
    texts = [str(rule) for rule in rules()]
    texts += [one["series"] for test in told_tests() for one in test["input_series"]]
    asked = {name for text in texts for name in NAME.findall(text)}
    assert asked <= EMITTED | RECORDED
    assert len(asked) > len(RECORDED)


def test_no_two_benches_go_by_one_name() -> None:
    benches = yaml.safe_load((CONFIG / "benches.yaml").read_text("utf-8"))
    circuits = [bench["labels"]["circuit"] for bench in benches]
    assert len(set(circuits)) == len(circuits) > 1
    assert all(len(bench["targets"]) == 1 for bench in benches)


def test_the_table_of_all_metrics_is_that_of_the_code() -> None:
    shown = (CONFIG / "METRICS.md").read_text("utf-8")
    assert shown.endswith(metric_reference())


FIRES = {
    "open": set(),
    "closed": {"CueIgnored", "LimitNear"},
    "locked out": {"CircuitTripped"},
    "unfit": {"ChannelBlind"},
    "paused": set(),
    "finished": set(),
    "held": {"VoltageCreeps"},
    "probed": {"CueIgnored", "LimitNear", "ProbeBlind"},
    "warned": {"CueIgnored", "LimitNear", "ProbeBlind", "TripForeseen"},
    "without": {"CueIgnored", "LimitNear"},
    "unguided": set(),
}


@needs_promtool
@pytest.mark.parametrize("name", samples.ALL)
def test_what_fires_on_what_the_page_really_says(tmp_path: Path, name: str) -> None:
    snapshot = replace(samples.ALL[name], uncommissioned=None)
    assert_fires(tmp_path, snapshot, FIRES[name])


def with_current(snapshot: Snapshot, amperes: float | None) -> Snapshot:
    channels = (*snapshot.channels[:2], samples.channel("shunt", amperes, "A"))
    return replace(snapshot, channels=channels)


CELL = (samples.channel("front_cell", 3.66, "V"), *samples.OPEN.channels[1:])
DEAD, DOWN = "SupervisorDead", "SupervisorDown"
SILENCES = {
    "open": (samples.OPEN, {DOWN}),
    "paused": (samples.PAUSED, {DOWN}),
    "finished": (samples.FINISHED, {DOWN}),
    "unfit": (samples.UNFIT, {DOWN}),
    "closed": (samples.HELD, {DEAD}),
    "unguided": (samples.UNGUIDED, {DEAD}),
    "locked out": (samples.LOCKED_OUT, {DOWN, "CircuitTripped"}),
    "failed": (samples.FAILED, {DEAD, "CircuitTripped", "FailedToOpen"}),
    "current": (with_current(samples.OPEN, 60.0), {DEAD}),
    "current back": (with_current(samples.OPEN, -60.0), {DEAD}),
    "contact": (replace(samples.OPEN, auxiliary_closed=True), {DEAD}),
    "no contact fitted": (replace(samples.OPEN, auxiliary_closed=None), {DOWN}),
    "contact alone": (with_current(samples.OPEN, None), {DOWN}),
    "neither": (with_current(replace(samples.OPEN, auxiliary_closed=None), None), {DEAD}),
    "cell": (replace(samples.OPEN, channels=CELL), {DOWN, "CellAboveMaximum"}),
}


@needs_promtool
@pytest.mark.parametrize("then", [SILENT, UNREACHABLE], ids=["silent", "unreachable"])
@pytest.mark.parametrize("name", SILENCES)
def test_no_danger_ends_by_silence(tmp_path: Path, name: str, then: list[Series]) -> None:
    """Whatever was told last; only one that was seen to be open is not told as dead."""
    snapshot, fires = SILENCES[name]
    assert_fires(tmp_path, replace(snapshot, uncommissioned=None), fires, then=then)


@needs_promtool
@pytest.mark.parametrize("snapshot", [samples.HELD, samples.FAILED], ids=["closed", "failed"])
def test_a_practice_that_is_long_over_may_be_a_real_bank_by_now(
    tmp_path: Path, snapshot: Snapshot
) -> None:
    practice = replace(snapshot, simulated=True, uncommissioned=None)
    assert_fires(tmp_path, practice, {DEAD}, "real", then=UNREACHABLE)


@needs_promtool
@pytest.mark.parametrize(
    ("simulated", "uncommissioned", "kind"),
    [
        (False, None, "real"),
        (False, "a trial on two cells", "uncommissioned"),
        (True, "a trial on two cells", "simulated"),
        (True, None, "simulated"),
    ],
)
def test_what_is_not_real_is_told_apart(
    tmp_path: Path, simulated: bool, uncommissioned: str | None, kind: str
) -> None:
    snapshot = replace(samples.LOCKED_OUT, simulated=simulated, uncommissioned=uncommissioned)
    assert_fires(tmp_path, snapshot, {"CircuitTripped"}, kind)


@needs_promtool
def test_a_charge_as_it_should_be_is_silent(tmp_path: Path) -> None:
    guidance = replace(samples.HOLD, cues=(), to_limit=samples.unknown("cannot tell yet"))
    assert_fires(tmp_path, replace(samples.HELD, guidance=guidance), set())
