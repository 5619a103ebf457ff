"""What the server says of itself is true: its schemas, and every answer against them."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import asking
import jsonschema_rs
import pytest
import samples
import schemathesis
import skipping
from hypothesis import HealthCheck, settings
from journals import closing, event, run, windows, written
from schemathesis.checks import CHECKS
from test_opening import Page
from test_stream import Client

from supervisor.status.app import create_app
from supervisor.status.document import status_schema
from supervisor.status.openapi import description
from supervisor.status.status_file import Status
from supervisor.status.stream import Streams

EXAMPLES = 40
TOKEN = "correct-horse-battery"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Page:
    folder = tmp_path_factory.mktemp("page")
    journal = written(folder, run(), closing(0.0), *windows(0.0, 90.0), event(50.0))
    samples.publish(folder, samples.LOCKED_OUT)
    page = Page(folder)
    opening = page.opening
    page.app = create_app(folder, journal=lambda: journal, opening=opening, most_streams=0)
    return page


# --- the status document


@pytest.mark.parametrize("sample", samples.ALL.values(), ids=samples.ALL.keys())
@pytest.mark.parametrize("age_s", [0.0, 60.0])
def test_every_document_is_as_its_schema_says(
    tmp_path: Path, sample: samples.Snapshot, age_s: float
) -> None:
    samples.publish(tmp_path, sample, age_s)
    app = create_app(tmp_path)
    schema = asking.ask(app, "/api/status/schema").json()
    jsonschema_rs.validator_for(schema).validate(asking.ask(app, "/api/status").json())


def test_so_is_the_one_that_says_there_is_none(tmp_path: Path) -> None:
    document = asking.ask(create_app(tmp_path), "/api/status").json()
    jsonschema_rs.validator_for(status_schema()).validate(document)


@pytest.mark.parametrize(
    "change",
    [{"circuit": 7}, {"age_s": "old"}, {"fresh": None}, {"channels": [{}]}, {"lockout": []}],
)
def test_what_is_no_such_document_is_told_apart(tmp_path: Path, change: dict[str, object]) -> None:
    samples.publish(tmp_path, samples.CLOSED)
    document = asking.ask(create_app(tmp_path), "/api/status").json()
    assert not jsonschema_rs.validator_for(status_schema()).is_valid(document | change)
    for field in document.keys() - {"format"}:
        less = {name: value for name, value in document.items() if name != field}
        assert not jsonschema_rs.validator_for(status_schema()).is_valid(less), field


def test_events_of_the_stream_carry_the_same_document() -> None:
    async def main() -> Client:
        status = Status(replace(samples.CLOSED), 0.1, "")
        one = Client(Streams(lambda: status, 1))
        await skipping.asyncio.sleep(2.0)
        await one.leave()
        return one

    client = skipping.run(main())
    assert client.events
    for _, document in client.events:
        jsonschema_rs.validator_for(status_schema()).validate(document)


# --- the description


def test_the_description_is_served_and_is_an_openapi_description(page: Page) -> None:
    served = asking.ask(page.app, "/api/openapi.json").json()
    assert served == json.loads(json.dumps(description()))
    assert served["openapi"] == "3.1.0"


def test_every_way_in_is_described(page: Page) -> None:
    paths = {getattr(route, "path", "") for route in page.app.routes}
    ours = {path for path in paths if path.startswith("/api/") or path == "/metrics"}
    assert set(description()["paths"]) == ours


schema = schemathesis.pytest.from_fixture("api")


@pytest.fixture(scope="module")
def api(page: Page) -> Any:
    return schemathesis.openapi.from_asgi("/api/openapi.json", page.app)


@schema.parametrize()
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
def test_every_answer_is_as_described_and_none_is_a_fault_of_ours(case: Any) -> None:
    case.headers = dict(case.headers or {}) | {"Host": "localhost"}
    answer = case.call()
    assert answer.status_code < 500 or answer.status_code == 503
    case.validate_response(answer, checks=[
        CHECKS.get_one("status_code_conformance"), CHECKS.get_one("content_type_conformance"),
        CHECKS.get_one("response_schema_conformance"),
    ])  # fmt: skip
