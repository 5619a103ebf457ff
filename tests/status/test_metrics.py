"""What a Prometheus server gets to see."""

import gc
import tracemalloc
from dataclasses import replace

import pytest
import samples
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.parser import text_string_to_metric_families

import supervisor
from supervisor.settings.rules import Temperature
from supervisor.status.metrics import SERIES, StatusCollector, metric_reference
from supervisor.status.status_file import PROBE_STALE_AFTER_S, Status

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
    assert value(values, "channel_age_seconds", channel="shunt") == 0.05
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
    assert value(values, "bus_errors_total", kind="no_answer") == 2
    assert value(values, "bus_errors_total", kind="timeout") == 0
    assert value(values, "bus_errors_total", kind="other") == 1
    assert value(values, "bus_retries_total") == 3
    assert value(values, "conversions_total") == 1_055_250
    assert value(values, "worst_lateness_seconds") == 0.0042
    assert "holdwatch_lockout" not in names(values)


def test_lateness_in_classes() -> None:
    """Each class counts all that came no later (OpenMetrics 1.0, Histogram)."""
    counters = replace(samples.CLOSED.counters, late_cycles=(90, *[0] * 9, 8, 2), late_sum_s=6.5)
    values = fresh(replace(samples.CLOSED, counters=counters))
    assert value(values, "cycle_lateness_seconds_bucket", le="0.0005") == 90
    assert value(values, "cycle_lateness_seconds_bucket", le="0.5") == 90
    assert value(values, "cycle_lateness_seconds_bucket", le="1.0") == 98
    assert value(values, "cycle_lateness_seconds_bucket", le="+Inf") == 100
    assert value(values, "cycle_lateness_seconds_count") == 100
    assert value(values, "cycle_lateness_seconds_sum") == 6.5


@pytest.mark.parametrize("classes", [(), (1, 2), (1,) * 13])
def test_classes_that_do_not_fit_are_absent(classes: tuple[int, ...]) -> None:
    counters = replace(samples.CLOSED.counters, late_cycles=classes)
    told = names(fresh(replace(samples.CLOSED, counters=counters)))
    assert not {name for name in told if "cycle_lateness" in name}


def test_room_for_the_journal() -> None:
    full = replace(samples.CLOSED.journal, size_bytes=4, most_bytes=500, disk_free_bytes=60)
    values = fresh(replace(samples.CLOSED, journal=full))
    assert value(values, "journal_size_bytes") == 4
    assert value(values, "journal_limit_bytes") == 500
    assert value(values, "journal_disk_free_bytes") == 60


def test_when_it_started() -> None:
    """2025-03-14T16:58:24Z is 1741971504 s after the epoch (GNU date)."""
    assert value(fresh(samples.CLOSED), "start_time_seconds") == 1_741_971_504


@pytest.mark.parametrize("wall", ["", "yesterday", "2025-03-14T16:58:24", "9" * 40])
def test_a_start_that_is_no_date_is_absent(wall: str) -> None:
    values = fresh(replace(samples.CLOSED, started_wall=wall))
    assert "holdwatch_start_time_seconds" not in names(values)
    assert value(values, "up") == 1


@pytest.mark.parametrize("state", samples.BY_STATE)
def test_one_circuit_state_at_a_time(state: str) -> None:
    values = fresh(samples.BY_STATE[state])
    name = "holdwatch_circuit_state"
    states = {dict(labels)[name]: v for (n, labels), v in values.items() if n == name}
    assert states == {other: float(other == state) for other in samples.BY_STATE}


def test_one_state_a_rule() -> None:
    values = fresh(samples.UNFIT)
    for rule in samples.UNFIT.rules:
        states = {
            s: value(values, "rule_state", rule=rule.rule, holdwatch_rule_state=s)
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


def test_temperatures_by_probe_and_place() -> None:
    values = fresh(samples.PROBED)
    rectifier = {"probe": "rectifier", "place": "heat_sink"}
    assert value(values, "temperature_celsius", **rectifier) == 61.4
    assert value(values, "probe_good", **rectifier) == 1
    assert value(values, "probe_age_seconds", **rectifier) == 0.8
    silent = {"probe": "cell_16", "place": "cells"}
    assert value(values, "probe_good", **silent) == 0
    assert ("holdwatch_temperature_celsius", tuple(sorted(silent.items()))) not in values


@pytest.mark.parametrize(("age_s", "good"), [(60.0, True), (60.001, False), (3e5, False)])
def test_an_old_temperature_is_absent_not_frozen(age_s: float, good: bool) -> None:
    probe = replace(samples.PROBED.probes[0], age_s=age_s)
    values = fresh(replace(samples.CLOSED, probes=(probe,)))
    assert value(values, "probe_good", probe="rectifier", place="heat_sink") == good
    assert ("holdwatch_temperature_celsius" in names(values)) is good


def test_no_settings_let_a_probe_be_silent_for_longer() -> None:
    (most,) = (
        bound.le
        for bound in Temperature.model_fields["lost_after_seconds"].metadata
        if hasattr(bound, "le")
    )
    assert most == PROBE_STALE_AFTER_S


@pytest.mark.parametrize(
    ("unit", "ending", "of_one"),
    [
        ("V", "volts", 1.0),
        ("A", "amperes", 1.0),
        ("V/min", "volts_per_second", 1 / 60),
        ("V/s", "volts_per_second", 1.0),
        ("A/s", "amperes_per_second", 1.0),
        ("s", "seconds", 1.0),
        ("h", "seconds", 3600.0),
        ("Ah", "coulombs", 3600.0),  # 1 A for 3600 s, by the definition of both units
        ("°C", "celsius", 1.0),
        ("microohm", "ohms", 1e-6),
        ("%", "ratio", 0.01),
    ],
)
def test_a_rule_is_told_in_base_units(unit: str, ending: str, of_one: float) -> None:
    rule = replace(samples.rule("overvoltage", "59", 2.0, 3.0, unit), guard_band=0.5)
    values = fresh(replace(samples.CLOSED, rules=(rule,)))
    for figure, expected in (("measured", 2.0), ("limit", 3.0), ("guard_band", 0.5)):
        told = {name: v for (name, _), v in values.items() if f"_rule_{figure}_" in name}
        assert told == {f"holdwatch_rule_{figure}_{ending}": pytest.approx(expected * of_one)}


def test_what_a_rule_promises() -> None:
    values = fresh(samples.CLOSED)
    assert value(values, "rule_response_seconds", rule="overvoltage") == 1.66
    assert value(values, "rule_highest_cell_volts", rule="overvoltage") == 3.6165
    bounded = {
        dict(labels)["rule"] for n, labels in values if n == "holdwatch_rule_highest_cell_volts"
    }
    assert bounded == {r.rule for r in samples.RULES if r.highest_v is not None}
    assert "holdwatch_rule_trips_in_seconds" not in names(values)


@pytest.mark.parametrize("rule", ["overcurrent_inverse", "supply_thermal"])
def test_what_depends_on_the_current_promises_no_time(rule: str) -> None:
    heated = replace(samples.RULES[2], rule=rule, response_s=None)
    values = fresh(replace(samples.CLOSED, rules=(heated,)))
    assert "holdwatch_rule_response_seconds" not in names(values)


def test_time_left_before_a_trip() -> None:
    values = fresh(samples.WARNED)
    left = {labels: v for (n, labels), v in values.items() if n.endswith("_trips_in_seconds")}
    assert left == {
        (("rule", "supply_thermal"),): 779.0,
        (("rule", "session_time"),): 426_996.0,
    }


def test_rules_that_are_off() -> None:
    """0 for those in force, so that an alert on 1 ends when the rule is set."""
    values = fresh(samples.WITHOUT)
    off = {labels: v for (n, labels), v in values.items() if n == "holdwatch_rule_off"}
    assert {dict(labels)["rule"] for labels, v in off.items() if v} == {
        "temperature",
        "session_charge",
    }
    assert len(off) == len(samples.RULES) + 2
    assert all(labels == (("rule", dict(labels)["rule"]),) for labels in off)  # and no reason


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
        assert series.name.endswith("_info") == (series.kind == "info")
        assert (series.labels[-1:] == (series.name,)) == (series.kind == "stateset")
        assert series.help.endswith(".")
        if series.base_unit:
            assert series.name.removesuffix("_total").endswith("_" + series.base_unit)


def test_reference_names_all_that_is_emitted() -> None:
    reference = metric_reference()
    told = replace(samples.HOLD, rest=samples.WATCHED, pulses=samples.PULSES)
    full = replace(samples.WARNED, lockout=samples.LOCKED_OUT.lockout, guidance=told)
    emitted = names(fresh(full))
    plain = [s for s in SERIES if s.kind != "histogram"]
    assert {series.name for series in plain if "_rule_" not in series.name} <= emitted
    told_as = {
        name.removesuffix("_bucket").removesuffix("_sum").removesuffix("_count") for name in emitted
    }
    for name in told_as:
        assert f"| `{name}` |" in reference
    rows = [line for line in reference.splitlines() if line.startswith("| `")]
    assert len(rows) == len(SERIES) + 3
    assert all(row.count("|") == 6 for row in rows)


def test_scrapes_leave_nothing_behind() -> None:
    """A rule name new with every scrape: neither labels nor memory grow."""
    current = {"status": Status(samples.CLOSED, 0.1, "")}
    registry = CollectorRegistry(auto_describe=False)
    registry.register(StatusCollector(lambda: current["status"]))

    def scrapes(first: int, count: int) -> int:
        for number in range(first, first + count):
            rules = (replace(samples.RULES[0], rule=f"rule {number}", left_s=1.0),)
            probes = (samples.probe(f"probe {number}", "cells", 21.0),)
            without = (replace(samples.WITHOUT.without[0], rule=f"other {number}"),)
            cue = replace(samples.TAPER.cues[0], cue=f"cue {number}", text=f"{number} V")
            snapshot = replace(
                samples.CLOSED,
                rules=rules,
                probes=probes,
                without=without,
                guidance=replace(samples.TAPER, cues=(cue,)),
            )
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
