"""Page, ``/api/status`` and ``/metrics`` as an HTTP client meets them."""

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import asking
import httpx
import pytest
import samples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from prometheus_client.openmetrics import parser as openmetrics
from prometheus_client.parser import text_string_to_metric_families

from supervisor.snapshot import from_dict
from supervisor.status.app import ASSETS, AT_THE_ROOT, create_app
from supervisor.status.guard import HEADERS
from supervisor.status.status_file import FILE_NAME

Ask = Callable[..., httpx.Response]

PATHS = (
    "/", "/api/status", "/api/status/schema", "/api/history", "/api/history.csv", "/api/sessions",
    "/api/openapi.json", "/metrics", "/assets/status.css", "/assets/status.js", "/nowhere",
)  # fmt: skip


@pytest.mark.parametrize("path", PATHS)
def test_every_answer_carries_the_security_headers(ask: Ask, path: str) -> None:
    headers = ask(path).headers
    for name, value in HEADERS.items():
        assert headers.get_list(name) == [value]
    assert "unsafe" not in headers["content-security-policy"]


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE"])
@pytest.mark.parametrize("path", PATHS)
def test_nothing_but_reading(ask: Ask, method: str, path: str) -> None:
    answer = ask(path, method)
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET, HEAD"
    assert answer.headers["x-frame-options"] == "DENY"


@pytest.mark.parametrize("path", [*PATHS[1:], "/api/stream", "/api/open", "/api", "/assets"])
def test_a_slash_too_many_leads_nowhere_and_is_told_so(ask: Ask, path: str) -> None:
    for method in ("GET", "POST") if path == "/api/open" else ("GET",):
        answer = ask(path + "/", method)
        assert answer.status_code == 404
        assert "ends with a slash" in answer.json()["problem"]
        assert "location" not in answer.headers


def test_head_is_like_get(ask: Ask) -> None:
    assert ask("/", "HEAD").status_code == 200
    assert ask("/api/status", "HEAD").status_code == 503


@pytest.mark.parametrize(
    ("host", "accepted"),
    [
        ("localhost", True),
        ("localhost:8462", True),
        ("LOCALHOST.", True),
        ("127.0.0.1:8462", True),
        ("192.168.1.20", True),
        ("[::1]:8462", True),
        ("[fe80::1]", True),
        ("hut", True),
        ("hut.local:8462", True),
        ("hut.lan", True),
        ("hut.example.org", False),
        ("example.org", False),
        ("127.0.0.1.example.org", False),
        ("localhost.example.org", False),
        ("hut:80@example.org", False),
        ("hut:", False),
        ("[::1", False),
        ("[::1]x", False),
        ("::1", False),
        ("", False),
    ],
)
def test_host_names(ask: Ask, host: str, accepted: bool) -> None:
    answer = ask("/", host=host)
    assert answer.status_code == (200 if accepted else 421)


def test_api_tells_the_snapshot_its_age_and_freshness(ask: Ask, tmp_path: Path) -> None:
    written = samples.publish(tmp_path, samples.LOCKED_OUT)
    answer = ask("/api/status")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/json"
    data = answer.json()
    assert from_dict(data) == written
    assert set(data) - set(written.as_dict()) == {"age_s", "fresh", "problem", "opening_set_up"}
    assert data["fresh"] is True
    assert data["problem"] == ""
    assert 0 <= data["age_s"] <= 3


def test_api_says_when_data_are_old(ask: Ask, tmp_path: Path) -> None:
    written = samples.publish(tmp_path, samples.CLOSED, age_s=60)
    answer = ask("/api/status")
    assert answer.status_code == 503
    assert answer.json()["fresh"] is False
    assert answer.json()["age_s"] >= 60
    assert "published nothing" in answer.json()["problem"]
    assert from_dict(answer.json()) == written


@pytest.mark.parametrize("method", ["GET", "HEAD"])
@pytest.mark.parametrize(
    ("age_s", "code"),
    [(0.0, 200), (3.0, 200), (3.001, 503), (6.0, 503), (-0.001, 503), (None, 503)],
)
def test_who_looks_at_the_code_alone_is_told_as_well(
    tmp_path: Path, method: str, age_s: float | None, code: int
) -> None:
    """503 and Retry-After: RFC 9110, sections 15.6.4 and 10.2.3."""
    published_at_s = 1000.0
    if age_s is not None:
        samples.write(tmp_path, replace(samples.CLOSED, published_at_s=published_at_s))
    app = create_app(tmp_path, now_s=lambda: published_at_s + (age_s or 0.0))
    answer = asking.ask(app, "/api/status", method)
    assert answer.status_code == code
    assert answer.headers.get("retry-after") == ("1" if code == 503 else None)
    if method == "GET":
        assert answer.json()["fresh"] is (code == 200)


def test_metrics_tell_of_old_data_themselves(ask: Ask, tmp_path: Path) -> None:
    """A scrape that is refused would lose the series that alerts of silence stand on."""
    samples.publish(tmp_path, samples.CLOSED, age_s=60)
    answer = ask("/metrics")
    assert answer.status_code == 200
    assert "holdwatch_up 0.0" in answer.text


def test_api_without_anything_readable(ask: Ask) -> None:
    answer = ask("/api/status")
    assert answer.status_code == 503
    assert set(answer.json()) == {"age_s", "fresh", "problem", "opening_set_up"}
    assert answer.json()["age_s"] is None
    assert answer.json()["fresh"] is False
    assert "no status file" in answer.json()["problem"]


plain = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20)
anything = st.recursive(
    plain, lambda s: st.lists(s, max_size=3) | st.dictionaries(st.text(max_size=8), s, max_size=3)
)
OFF = samples.WITHOUT.without
fields = st.sampled_from(sorted(samples.LOCKED_OUT.as_dict()))
inner = st.sampled_from(["channels", "probes", "rules", "without", "events"])
guided = st.sampled_from(sorted(samples.LOCKED_OUT.as_dict()["guidance"]))


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.dictionaries(fields, anything, max_size=2),
    st.dictionaries(guided, anything, max_size=1),
    inner,
    anything,
)
def test_no_status_file_is_ever_a_server_error(
    ask: Ask,
    tmp_path: Path,
    changes: dict[str, object],
    advice: dict[str, object],
    inside: str,
    value: object,
) -> None:
    data = replace(
        samples.LOCKED_OUT, guidance=samples.TAPER, probes=samples.PROBED.probes, without=OFF
    ).as_dict()
    first = data[inside][0]
    first[next(iter(first))] = value
    data["guidance"] |= advice
    (tmp_path / FILE_NAME).write_text(json.dumps(data | changes))
    answer = ask("/api/status")
    assert answer.status_code in (200, 503)
    json.loads(answer.text, parse_constant=pytest.fail)
    metrics = ask("/metrics")
    assert metrics.status_code == 200
    assert list(text_string_to_metric_families(metrics.text))
    assert ask("/").status_code == 200


@pytest.mark.parametrize("file", sorted(ASSETS.iterdir()), ids=lambda file: file.name)
def test_every_asset_is_served_as_what_it_is(ask: Ask, file: Path) -> None:
    url = "/" if file.name == "index.html" else f"/assets/{file.name}"
    answer = ask(url)
    assert answer.content == file.read_bytes()
    assert (
        answer.headers["content-type"].partition(";")[0]
        == {
            ".css": "text/css",
            ".html": "text/html",
            ".js": "text/javascript",  # RFC 9239
            ".png": "image/png",
            ".svg": "image/svg+xml",
            ".webmanifest": "application/manifest+json",  # W3C Web Application Manifest
        }[file.suffix]
    )


@pytest.mark.parametrize("name", [n for n in AT_THE_ROOT if (ASSETS / n).exists()])
def test_what_governs_the_page_is_at_its_root(ask: Ask, name: str) -> None:
    assert ask(f"/{name}").content == (ASSETS / name).read_bytes()


@pytest.mark.parametrize("accept", ["", "*/*", "text/plain;version=0.0.4", "application/json"])
def test_metrics_as_text_by_default(ask: Ask, tmp_path: Path, accept: str) -> None:
    samples.publish(tmp_path, samples.CLOSED)
    answer = ask("/metrics", accept=accept)
    assert answer.headers["content-type"].startswith("text/plain; version=")
    assert list(text_string_to_metric_families(answer.text))


def test_metrics_as_openmetrics_for_who_asks(ask: Ask, tmp_path: Path) -> None:
    samples.publish(tmp_path, samples.LOCKED_OUT)
    answer = ask("/metrics", accept="application/openmetrics-text;version=1.0.0,text/plain;q=0.5")
    assert answer.headers["content-type"].startswith("application/openmetrics-text; version=1.0.0")
    names = {family.name for family in openmetrics.text_string_to_metric_families(answer.text)}
    plain = text_string_to_metric_families(ask("/metrics").text)
    assert names == {re.sub("_(total|info)$", "", family.name) for family in plain}


@pytest.mark.parametrize(
    "accept",
    ["application/openmetrics-text;version=x", "application/openmetrics-text;version=1.x.0",
     "text/plain;version=;escaping", ";;,,=", "application/openmetrics-text;version=9999999999.0"],
)  # fmt: skip
def test_an_odd_wish_for_metrics_is_no_fault(ask: Ask, accept: str) -> None:
    assert ask("/metrics", accept=accept).status_code == 200


@pytest.mark.parametrize("is_set_up", [True, False])
@pytest.mark.parametrize("has_data", [True, False])
def test_api_says_whether_opening_is_set_up(
    tmp_path: Path, is_set_up: bool, has_data: bool
) -> None:
    if has_data:
        samples.publish(tmp_path, samples.CLOSED)
    page = asking.Page(tmp_path, asking.TOKEN if is_set_up else None)
    assert asking.ask(page.app, "/api/status").json()["opening_set_up"] is is_set_up
