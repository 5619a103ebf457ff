"""Both formats of the metrics, read by other programs than the one that wrote them."""

from collections.abc import Callable
from pathlib import Path

import httpx
import pytest
import samples
from prometheus_client import CollectorRegistry
from prometheus_client.openmetrics.parser import text_string_to_metric_families as read_openmetrics
from prometheus_client.parser import text_string_to_metric_families as read_text
from prometheus_tools import needs_promtool, promtool

from supervisor.status.metrics import SERIES, StatusCollector, exposition
from supervisor.status.status_file import Status

# What Prometheus 2.42 sends by itself.
SERVER = (
    "application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,"
    "text/plain;version=0.0.4;q=0.5,*/*;q=0.1"
)
EVERYBODY = "*/*"
STATUSES = {name: Status(sample, 0.1, "") for name, sample in samples.ALL.items()} | {
    "stale": Status(samples.CLOSED, 4.0, "old"),
    "none": Status(None, None, "no status file"),
}


def told(status: Status, accept: str) -> tuple[str, str]:
    registry = CollectorRegistry(auto_describe=False)
    registry.register(StatusCollector(lambda: status))
    text, content_type = exposition(registry, accept)
    return text.decode(), content_type


@pytest.mark.parametrize(
    ("accept", "content_type"),
    [
        (SERVER, "application/openmetrics-text; version=1.0.0; charset=utf-8"),
        ("application/openmetrics-text", "application/openmetrics-text; version=1.0.0"),
        ("application/openmetrics-text; version=9", "application/openmetrics-text; version=1.0.0"),
        ("application/openmetrics-text; version=x", "application/openmetrics-text; version=1.0.0"),
        (EVERYBODY, "text/plain; version=0.0.4; charset=utf-8"),
        ("", "text/plain; version=0.0.4; charset=utf-8"),
        ("text/plain; version=x", "text/plain; version=0.0.4; charset=utf-8"),
        ("text/html, ;;;=\xff", "text/plain; version=0.0.4; charset=utf-8"),
    ],
)
def test_who_asks_for_openmetrics_gets_it(accept: str, content_type: str) -> None:
    text, told_type = told(STATUSES["closed"], accept)
    assert told_type.startswith(content_type)
    assert text.endswith("# EOF\n") == ("openmetrics" in content_type)


@pytest.mark.parametrize("accept", [SERVER, EVERYBODY, "application/openmetrics-text; version=x"])
def test_the_page_goes_by_the_same(ask: Callable[..., httpx.Response], accept: str) -> None:
    answer = ask("/metrics", accept=accept)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == told(STATUSES["none"], accept)[1]


@pytest.mark.parametrize("name", STATUSES)
def test_both_formats_tell_the_same(name: str) -> None:
    """The parser of OpenMetrics is a strict one: units, endings, states, clashing names."""
    modern = read_openmetrics(told(STATUSES[name], SERVER)[0])
    plain = read_text(told(STATUSES[name], EVERYBODY)[0])
    samples_of = [
        {(s.name, tuple(sorted(s.labels.items()))): s.value for f in families for s in f.samples}
        for families in (modern, plain)
    ]
    assert samples_of[0] == samples_of[1]


def test_kinds_and_units_are_told() -> None:
    families = {f.name: f for f in read_openmetrics(told(STATUSES["held"], SERVER)[0])}
    for series in SERIES:
        family = families[series.name.removesuffix("_total").removesuffix("_info")]
        assert (family.type, family.unit) == (series.kind, series.base_unit)


@needs_promtool
@pytest.mark.parametrize("name", STATUSES)
def test_promtool_finds_nothing_in_the_text(name: str) -> None:
    done = promtool("check", "metrics", text=told(STATUSES[name], EVERYBODY)[0])
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


@needs_promtool
@pytest.mark.parametrize("name", STATUSES)
def test_promtool_reads_the_openmetrics(name: str, tmp_path: Path) -> None:
    """Its check knows the older format only; its import knows OpenMetrics, and asks for times."""
    lines = told(STATUSES[name], SERVER)[0].splitlines()
    dated = [line if line.startswith("#") else f"{line} 1741971504" for line in lines]
    file = tmp_path / "metrics"
    file.write_text("\n".join(dated) + "\n", "utf-8")
    done = promtool(
        "tsdb", "create-blocks-from", "openmetrics", str(file), str(tmp_path / "blocks")
    )
    assert (done.returncode, done.stderr) == (0, "")
    _, block = done.stdout.splitlines()
    number_of_samples = int(block.split()[4])
    assert number_of_samples == sum(not line.startswith("#") for line in lines)
