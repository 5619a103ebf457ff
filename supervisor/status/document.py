"""The document of ``/api/status``, and its JSON Schema, made from the data types themselves."""

from dataclasses import dataclass
from functools import cache
from typing import Any

from supervisor.snapshot import Snapshot
from supervisor.status.status_file import Status

DIALECT = "https://json-schema.org/draft/2020-12/schema"


@dataclass(frozen=True, kw_only=True)
class StatusDocument(Snapshot):
    """A snapshot, its age, and why its values are not the present ones (empty: they are).

    ``opening_set_up``: ``POST /api/open`` opens for who knows the token.
    """

    age_s: float
    fresh: bool
    problem: str
    opening_set_up: bool


@dataclass(frozen=True, kw_only=True)
class NoStatus:
    """There is no snapshot to be read; ``problem`` says why."""

    age_s: None
    fresh: bool
    problem: str
    opening_set_up: bool


def as_dict(status: Status) -> dict[str, Any]:
    """The JSON object of ``/api/status``."""
    snapshot = status.snapshot.as_dict() if status.snapshot else {}
    return snapshot | {
        "age_s": status.age_s,
        "fresh": status.fresh,
        "problem": status.problem,
        "opening_set_up": status.opening_set_up,
    }


@cache
def status_schema(reference: str = "#/$defs/{model}") -> dict[str, Any]:
    """JSON Schema of either document; ``reference`` is where its parts are found."""
    from pydantic import TypeAdapter  # large, and seldom asked for

    adapter: TypeAdapter[Any] = TypeAdapter(StatusDocument | NoStatus)
    schema = adapter.json_schema(mode="serialization", ref_template=reference)
    return {"$schema": DIALECT, "title": "Document of /api/status"} | schema
