"""What the server says of itself is true: its schemas, and every answer against them."""

import asyncio
import json
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import asking
import jsonschema_rs
import pytest
import samples
import schemathesis
import skipping
from asking import Page
from hypothesis import HealthCheck, given, settings
from hypothesis.errors import Unsatisfiable
from journals import closing, event, run, windows, written
from schemathesis import GenerationMode
from schemathesis.checks import CHECKS
from schemathesis.core.failures import FailureGroup
from streaming import Client

from supervisor.status.app import create_app
from supervisor.status.document import status_schema
from supervisor.status.openapi import description
from supervisor.status.status_file import Status
from supervisor.status.stream import Streams

EXAMPLES = 30
CONFORMANCE = (
    "status_code_conformance", "content_type_conformance", "response_schema_conformance",
)  # fmt: skip


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    folder = tmp_path_factory.mktemp("page")
    journal = written(folder, run(), closing(0.0), *windows(0.0, 90.0), event(50.0))
    samples.publish(folder, samples.LOCKED_OUT)
    page = Page(folder)
    opening = page.opening
    page.app = create_app(
        folder, "testserver", journal=lambda: journal, opening=opening, most_streams=0
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("supervisor.status.opening.WRONG_LATE_S", 0.0)  # many are asked
        yield page


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
        await asyncio.sleep(2.0)
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


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
@pytest.mark.parametrize("path", description()["paths"])
def test_every_answer_is_as_described_and_none_is_a_fault_of_ours(
    page: Page, path: str, mode: GenerationMode
) -> None:
    """Fuzzed by schemathesis, with questions that fit the description and with others."""
    described = schemathesis.openapi.from_asgi("/api/openapi.json", page.app)
    (method,) = description()["paths"][path]
    operation = described[path][method.upper()]

    @settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
    @given(operation.as_strategy(generation_mode=mode))
    def asks(case: Any) -> None:
        answer = case.call()
        assert answer.status_code < 500 or answer.status_code == 503
        case.validate_response(answer, checks=[CHECKS.get_one(name) for name in CONFORMANCE])

    with suppress(Unsatisfiable):  # some have nothing that could be asked wrongly
        asks()


@pytest.mark.parametrize("age_s", [0.0, 60.0, None])
def test_the_status_is_as_described_also_when_it_is_old_or_gone(
    tmp_path: Path, age_s: float | None
) -> None:
    if age_s is not None:
        samples.publish(tmp_path, samples.CLOSED, age_s)
    described = schemathesis.openapi.from_asgi(
        "/api/openapi.json", create_app(tmp_path, "testserver")
    )
    answer = (
        described["/api/status"]["GET"]
        .Case()
        .call_and_validate(
            checks=[CHECKS.get_one(name) for name in (*CONFORMANCE, "response_headers_conformance")]
        )
    )
    assert answer.status_code == (200 if age_s == 0.0 else 503)


def test_it_would_be_found_out(page: Page) -> None:
    """The same checks on a description that is not true."""
    untrue = json.loads(json.dumps(description()))
    untrue["paths"]["/api/sessions"]["get"]["responses"]["200"]["content"] = {
        "application/json": {"schema": {"type": "object"}}
    }
    described = schemathesis.openapi.from_dict(untrue)
    described.app = page.app
    case = described["/api/sessions"]["GET"].Case()
    with pytest.raises(FailureGroup):
        case.call_and_validate(checks=[CHECKS.get_one(name) for name in CONFORMANCE])
