"""What a Prometheus server gets to see."""

import gc
import shutil
import subprocess
import tracemalloc
from dataclasses import replace

import pytest
import samples
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.parser import text_string_to_metric_families

import supervisor
from supervisor.status.metrics import SERIES, StatusCollector, metric_reference
from supervisor.status.status_file import Status

ALWAYS = {"holdwatch_up", "holdwatch_build_info"}
Scrape = dict[tuple[str, tuple[tuple[str, str], ...]], float]


def text_for(status: Status) -> str:
    registry = CollectorRegistry(auto_describe=False)
    registry.register(StatusCollector(lambda: status))
    return generate_latest(registry).decode()


def scrape(status: Status) -> Scrape:
    return {
        (s.name, tuple(sorted(s.labels.items()))): s.value
        for family in text_string_to_metric_families(text_for(status))
        for s in family.samples
    }


def fresh(snapshot: samples.Snapshot) -> Scrape:
    return scrape(Status(snapshot, 0.25, ""))


def value(values: Scrape, name: str, **labels: str) -> float:
    return values["holdwatch_" + name, tuple(sorted(labels.items()))]


def names(values: Scrape) -> set[str]:
    return {name for name, _ in values}


def test_values_of_a_closed_circuit() -> None:
    values = fresh(samples.CLOSED)
    assert value(values, "up") == 1
    assert value(values, "snapshot_age_seconds") == 0.25
    assert value(values, "build_info", version=supervisor.__version__) == 1
    assert value(values, "simulated") == 0
    assert value(values, "cell_volts", position="front") == 3.462
    assert value(values, "cell_volts", position="far") == 3.455
    assert value(values, "cell_uncertainty_volts", position="far") == 0.008
    assert value(values, "current_amperes") == 118.4
    assert value(values, "current_uncertainty_amperes") == 0.6
    assert value(values, "cell_never_above_volts") == 3.65
    assert value(values, "rule_limit_volts", rule="overvoltage") == 3.6
    assert value(values, "rule_measured_volts", rule="overvoltage") == 3.462
    assert value(values, "rule_limit_amperes", rule="overcurrent") == 133
    assert value(values, "rule_limit_volts_per_second", rule="rate_of_rise") == pytest.approx(1e-3)
    assert value(values, "rule_limit_seconds", rule="stale") == 0.3
    assert value(values, "bus_errors_total") == 3
    assert value(values, "bus_retries_total") == 3
    assert value(values, "conversions_total") == 1_055_250
    assert value(values, "worst_lateness_seconds") == 0.0042
    assert "holdwatch_lockout" not in names(values)


@pytest.mark.parametrize("state", samples.BY_STATE)
def test_one_circuit_state_at_a_time(state: str) -> None:
    values = fresh(samples.BY_STATE[state])
    states = {
        dict(k[1])["state"]: v for k, v in values.items() if k[0] == "holdwatch_circuit_state"
    }
    assert states == {other: float(other == state) for other in samples.BY_STATE}


def test_one_state_a_rule() -> None:
    values = fresh(samples.UNFIT)
    for rule in samples.UNFIT.rules:
        states = {
            s: value(values, "rule_state", rule=rule.rule, state=s)
            for s in ("clear", "timing", "trip", "cannot tell")
        }
        assert [s for s, v in states.items() if v] == [rule.state]
        assert sum(states.values()) == 1


def test_a_channel_without_a_value_is_absent() -> None:
    values = fresh(samples.UNFIT)
    assert value(values, "channel_good", channel="far_cell") == 0
    assert value(values, "channel_good", channel="front_cell") == 1
    assert ("holdwatch_cell_volts", (("position", "far"),)) not in values
    assert ("holdwatch_cell_uncertainty_volts", (("position", "far"),)) not in values
    assert value(values, "uncommissioned") == 1


def test_lockout_by_its_rule() -> None:
    values = fresh(samples.LOCKED_OUT)
    assert value(values, "lockout", tripped_by="overvoltage") == 1
    assert value(values, "failed_to_open") == 0


@pytest.mark.parametrize("age_s", [3.5, 4000.0, -5.0])
def test_stale_values_are_absent_not_frozen(age_s: float) -> None:
    values = scrape(Status(samples.CLOSED, age_s, "old"))
    assert names(values) == ALWAYS | {"holdwatch_snapshot_age_seconds"}
    assert value(values, "up") == 0
    assert value(values, "snapshot_age_seconds") == age_s


def test_nothing_readable() -> None:
    values = scrape(Status(None, None, "no status file"))
    assert names(values) == ALWAYS
    assert value(values, "up") == 0


def test_a_name_that_comes_twice_counts_once() -> None:
    twice = replace(samples.CLOSED, rules=(samples.RULES[0], replace(samples.RULES[0], limit=9.0)))
    text = text_for(Status(twice, 0.1, ""))
    assert text.count('holdwatch_rule_limit_volts{rule="overvoltage"} 3.6') == 1
    assert text.count("holdwatch_rule_limit_volts{") == 1


def test_names_follow_the_practice() -> None:
    assert len({s.name for s in SERIES}) == len(SERIES)
    for series in SERIES:
        assert series.name.startswith("holdwatch_")
        assert series.name.endswith("_total") == (series.kind == "counter")
        assert series.help.endswith(".")
        if "volts" in series.unit or series.unit in ("seconds", "amperes"):
            assert series.name.endswith("_" + series.unit.replace(" ", "_"))


def test_reference_names_all_that_is_emitted() -> None:
    reference = metric_reference()
    full = replace(samples.LOCKED_OUT, auxiliary_closed=True)
    for name in names(fresh(full)):
        assert f"| `{name}` |" in reference
    rows = [line for line in reference.splitlines() if line.startswith("| `")]
    assert len(rows) == len(SERIES) + 3
    assert all(row.count("|") == 6 for row in rows)


@pytest.mark.skipif(shutil.which("promtool") is None, reason="promtool is not installed")
@pytest.mark.parametrize("state", samples.BY_STATE)
def test_promtool_finds_nothing(state: str) -> None:
    text = text_for(Status(samples.BY_STATE[state], 0.1, ""))
    done = subprocess.run(
        ["promtool", "check", "metrics"], input=text, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


def test_scrapes_leave_nothing_behind() -> None:
    """A rule name new with every scrape: neither labels nor memory grow."""
    current = {"status": Status(samples.CLOSED, 0.1, "")}
    registry = CollectorRegistry(auto_describe=False)
    registry.register(StatusCollector(lambda: current["status"]))

    def scrapes(first: int, count: int) -> int:
        for number in range(first, first + count):
            rules = (replace(samples.RULES[0], rule=f"rule {number}"),)
            snapshot = replace(samples.CLOSED, rules=rules)
            current["status"] = Status(snapshot, 0.1, "")
            size = len(generate_latest(registry).splitlines())
        gc.collect()
        return size

    lines = scrapes(1000, 100)
    tracemalloc.start()
    try:
        assert scrapes(2000, 1000) == lines
        before = tracemalloc.get_traced_memory()[0]
        assert scrapes(3000, 1000) == lines
        assert tracemalloc.get_traced_memory()[0] - before < 20_000
    finally:
        tracemalloc.stop()
