"""The document of ``/api/status``, and its JSON Schema, made from the data types themselves."""

from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import TypeAdapter

from supervisor.snapshot import Snapshot
from supervisor.status.status_file import Status

DIALECT = "https://json-schema.org/draft/2020-12/schema"


@dataclass(frozen=True, kw_only=True)
class StatusDocument(Snapshot):
    """A snapshot, its age, and why its values are not the present ones (empty: they are)."""

    age_s: float
    fresh: bool
    problem: str


@dataclass(frozen=True, kw_only=True)
class NoStatus:
    """There is no snapshot to be read; ``problem`` says why."""

    age_s: None
    fresh: bool
    problem: str


def as_dict(status: Status) -> dict[str, Any]:
    """The JSON object of ``/api/status``."""
    snapshot = status.snapshot.as_dict() if status.snapshot else {}
    return snapshot | {"age_s": status.age_s, "fresh": status.fresh, "problem": status.problem}


@cache
def status_schema(reference: str = "#/$defs/{model}") -> dict[str, Any]:
    """JSON Schema of either document; ``reference`` is where its parts are found."""
    adapter: TypeAdapter[Any] = TypeAdapter(StatusDocument | NoStatus)
    schema = adapter.json_schema(mode="serialization", ref_template=reference)
    return {"$schema": DIALECT, "title": "Document of /api/status"} | schema
