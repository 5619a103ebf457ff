"""``/api/openapi.json``: what the page's server answers, after the OpenAPI Specification 3.1."""

from functools import cache
from typing import Any

import supervisor
from supervisor.status.document import status_schema
from supervisor.status.guard import OPEN_PATH
from supervisor.status.history import COLUMNS
from supervisor.status.history_desk import LEAST_POINTS, MINUTES, MOST_MINUTES, MOST_POINTS, POINTS

Json = dict[str, Any]
TEXT = {"type": "string"}
UTC = {"type": "string", "format": "date-time"}
NUMBERS = {"type": "array", "items": {"type": ["number", "null"]}}


def _object(**properties: Json) -> Json:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


SCHEMAS: Json = {
    "Problem": _object(problem=TEXT),
    "Reply": _object(done={"type": "boolean"}, message=TEXT, circuit=TEXT),
    "Confirmation": _object(confirm={"const": "open"}),
    "Session": _object(
        id={"type": "integer"},
        began_utc=UTC,
        profile=TEXT,
        cells={"type": "integer"},
        simulated={"type": "boolean"},
        trips={"type": "integer"},
    ),
    "History": _object(
        session={"type": "integer"},
        bank=TEXT,
        simulated={"type": "boolean"},
        profile=TEXT,
        began_utc=UTC,
        newest_utc={"type": ["string", "null"], "format": "date-time"},
        bucket_s={"type": "number", "exclusiveMinimum": 0},
        columns=_object(**dict.fromkeys(COLUMNS, NUMBERS)),
        gaps={
            "type": "array",
            "items": {
                "type": "array",
                "items": {"type": "number"},
                "minItems": 2,
                "maxItems": 2,
            },
        },
        note=TEXT,
    ),
}


def _ref(name: str) -> Json:
    return {"$ref": f"#/components/schemas/{name}"}


def _answer(what: str, schema: Json, media_type: str = "application/json") -> Json:
    return {"description": what, "content": {media_type: {"schema": schema}}}


AGAIN: Json = {
    "headers": {"Retry-After": {"description": "Seconds", "schema": {"type": "integer"}}}
}


def _problem(what: str) -> Json:
    return _answer(what, _ref("Problem"))


# Of the guard, which every request passes.
GUARDED: Json = {
    "405": _answer("Another method", TEXT, "text/plain"),
    "421": _answer("A host name that is not this machine's", TEXT, "text/plain"),
}


def _get(summary: str, answers: Json, parameters: list[Json] | None = None) -> Json:
    operation = {"summary": summary, "responses": answers | GUARDED}
    return {"get": operation | ({"parameters": parameters} if parameters else {})}


def _parameter(name: str, what: str, schema: Json) -> Json:
    return {"name": name, "in": "query", "description": what, "schema": schema}


def _number(least: int, most: int, default: int | None = None) -> Json:
    ends = {"type": "integer", "minimum": least, "maximum": most}
    return ends if default is None else ends | {"default": default}


HISTORY = [
    _parameter("minutes", "So much before the newest moment", _number(1, MOST_MINUTES, MINUTES)),
    _parameter("whole", "The whole session; without minutes", {"type": "integer", "const": 1}),
    _parameter("session", "Left out: the newest", _number(1, 10**15)),
    _parameter("points", "So many at most", _number(LEAST_POINTS, MOST_POINTS, POINTS)),
]
NO_JOURNAL: Json = {
    "404": _problem("No such session, or no journal"),
    "422": _problem("A parameter that is not understood"),
    "503": _problem("The journal cannot be read now"),
}
OPEN: Json = {
    "summary": "Open the circuit",
    "security": [{"token": []}],
    "requestBody": {
        "required": True,
        "content": {"application/json": {"schema": _ref("Confirmation")}},
    },
    "responses": {
        "200": _answer("The supervisor's answer", _ref("Reply")),
        "400": _problem("The body did not come"),
        "401": _problem("No token, or a wrong one: told a second late"),
        "403": _problem("Not set up, or asked by a page of another site"),
        "413": _problem("The body is too large"),
        "415": _problem("The body is not JSON"),
        "422": _problem("The body is not the confirmation"),
        "503": _problem("The supervisor does not answer"),
    }
    | GUARDED,
}


@cache
def description() -> Json:
    status = status_schema("#/components/schemas/{model}")
    parts = status["$defs"]
    stream = _answer("Events named status, each with the document", TEXT, "text/event-stream")
    ways = {
        "/api/status": _get(
            "The circuit now",
            {
                "200": _answer("The newest snapshot, which is fresh", _ref("StatusDocument")),
                "503": _answer(
                    "The newest snapshot, which is old, or none",
                    {"anyOf": [_ref("StatusDocument"), _ref("NoStatus")]},
                )
                | AGAIN,
            },
        ),
        "/api/status/schema": _get(
            "JSON Schema of /api/status", {"200": _answer("A schema", {"type": "object"})}
        ),
        "/api/stream": _get(
            "Server-sent events", {"200": stream, "503": _problem("Too many streams")}
        ),
        "/api/history": _get(
            "What was measured", {"200": _answer("Few points", _ref("History"))} | NO_JOURNAL,
            HISTORY,
        ),
        "/api/history.csv": _get(
            "The same as a table", {"200": _answer("RFC 4180", TEXT, "text/csv")} | NO_JOURNAL,
            HISTORY,
        ),
        "/api/sessions": _get(
            "The newest sessions",
            {"200": _answer("Newest first", {"type": "array", "items": _ref("Session")})}
            | NO_JOURNAL,
        ),
        OPEN_PATH: {"post": OPEN},
        "/metrics": _get(
            "Metrics", {"200": {"description": "Prometheus text format, or OpenMetrics"}}
        ),
        "/api/openapi.json": _get(
            "This description", {"200": _answer("OpenAPI 3.1", {"type": "object"})}
        ),
    }  # fmt: skip
    return {
        "openapi": "3.1.0",
        "info": {"title": "holdwatch", "version": supervisor.__version__},
        "paths": ways,
        "components": {
            "schemas": SCHEMAS | parts,
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
    }
