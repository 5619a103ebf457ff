"""Any value in any field of the file: of the field's kind it is taken, of another it is refused."""

import copy
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import samples
from hypothesis import given, settings
from hypothesis import strategies as st
from prometheus_client import CollectorRegistry, generate_latest

from supervisor.cli.status import lines
from supervisor.snapshot import Snapshot
from supervisor.status.metrics import StatusCollector
from supervisor.status.status_file import FILE_NAME, Status, read

# Everything there is to tell, at once.
FULL = replace(
    samples.WARNED,
    without=samples.WITHOUT.without,
    lockout=samples.LOCKED_OUT.lockout,
    not_closing_because=("locked out",),
    uncommissioned="a trial",
    guidance=replace(
        samples.TAPER,
        rest=replace(samples.WATCHED, findings=("far cell still falls",)),
        pulses=samples.PULSES,
    ),
)
WHOLE = FULL.as_dict()
MAY_BE_NULL = {
    "size_bytes", "most_bytes", "disk_free_bytes",
    "auxiliary_closed", "uncommissioned", "value", "low", "high", "celsius", "measured", "for_s",
    "left_s", "guard_band", "response_s", "highest_v", "opened_in_s", "front_cell", "far_cell",
    "shunt", "rated_operations", "best_s", "low_s", "measured_v", "at_rest_v", "resistance_ohm",
    "resistance_u_ohm", "front_v", "lag_v", "fall_v_per_h", "high_s",
    "session",
}  # fmt: skip
ONE_OF_A_FEW = {"format", "circuit", "state", "place", "stage", "urgency"}
WHOLE_NUMBERS = (set(WHOLE["counters"]) - {"worst_late_s", "late_sum_s"}) | {
    "operations", "rated_operations", "count", "most", "depth", "written", "dropped_samples",
    "dropped_events", "session", "size_bytes", "most_bytes", "disk_free_bytes",
}  # fmt: skip

Place = tuple[str | int, ...]


def test_as_text_it_is_the_same() -> None:
    assert json.loads(FULL.as_json()) == json.loads(json.dumps(WHOLE))


def leaves(value: Any, place: Place = ()) -> list[Place]:
    """Every plain value's place; the first of a list stands for all."""
    if isinstance(value, dict):
        return [leaf for key, item in value.items() for leaf in leaves(item, (*place, key))]
    if isinstance(value, list | tuple):
        return leaves(value[0], (*place, 0))
    return [place]


def at(data: Any, place: Place) -> Any:
    for step in place:
        data = data[step]
    return data


def name(place: Place) -> str:
    return next(step for step in reversed(place) if isinstance(step, str))


def may_be_null(place: Place) -> bool:
    if name(place) == "for_s":
        return place[0] == "rules"
    return name(place) in MAY_BE_NULL or place == ("lockout", "limit")


def is_of_its_kind(value: object, present: object, place: Place) -> bool:
    """By what stands there now: a number for a number, text for text."""
    if value is None or isinstance(value, list | dict):
        return value is None and may_be_null(place)
    if isinstance(present, str | bool):
        return type(value) is type(present)
    if isinstance(value, str | bool):
        return False
    whole = name(place) in WHOLE_NUMBERS
    return abs(value) <= 1e15 and not (whole and isinstance(value, float))  # type: ignore[arg-type]


def written(run_dir: Path, data: object) -> tuple[Snapshot | None, str]:
    (run_dir / FILE_NAME).write_text(json.dumps(data), encoding="utf-8")
    return read(run_dir)


numbers = st.integers() | st.floats() | st.sampled_from([1e15, -1e15, 1.1e15, 10**15, -0.0])
plain = st.none() | st.booleans() | numbers | st.text(max_size=20)
PLACES = [place for place in leaves(WHOLE) if name(place) not in ONE_OF_A_FEW]


@settings(max_examples=500)
@given(st.sampled_from(PLACES), plain | st.just([]) | st.just({}))
def test_any_value_in_any_place(
    tmp_path_factory: pytest.TempPathFactory, place: Place, value: object
) -> None:
    data = copy.deepcopy(WHOLE)
    present = at(data, place)
    if isinstance(at(data, place[:-1]), tuple):
        at(data, place[:-2])[place[-2]] = [value]
    else:
        at(data, place[:-1])[place[-1]] = value
    snapshot, problem = written(tmp_path_factory.getbasetemp(), data)
    if is_of_its_kind(value, 0.0 if present is None else present, place):
        assert (problem, snapshot is None) == ("", False)
        assert lines(snapshot)  # type: ignore[arg-type]
        registry = CollectorRegistry(auto_describe=False)
        registry.register(StatusCollector(lambda: Status(snapshot, 0.1, "")))
        assert generate_latest(registry)
    else:
        assert snapshot is None
        assert name(place) in problem


RECORDS: list[Place] = [
    ("channels", 0), ("probes", 0), ("rules", 0), ("without", 0), ("lockout",), ("events", 0),
    ("lockout", "before", 0), ("counters",), ("guidance",), ("guidance", "cues", 0),
    ("guidance", "to_limit"), ("guidance", "to_full"), ("guidance", "full"), ("guidance", "rest"),
    ("guidance", "pulses"),
]  # fmt: skip


@pytest.mark.parametrize("place", RECORDS, ids=name)
def test_a_field_too_few_or_too_many(tmp_path: Path, place: Place) -> None:
    for field in at(WHOLE, place):
        data = copy.deepcopy(WHOLE)
        del at(data, place)[field]
        snapshot, problem = written(tmp_path, data)
        # A counter that is not told is 0: it counts what went wrong.
        assert (snapshot is None) == (place != ("counters",)), field
        assert problem == "" or "incomplete" in problem
    data = copy.deepcopy(WHOLE)
    at(data, place)["more"] = 1
    assert "incomplete" in written(tmp_path, data)[1]


@pytest.mark.parametrize("part", ["full", "rest", "pulses"])
@pytest.mark.parametrize("value", [{}, [], "", 0, False])
def test_what_is_no_record_is_refused(tmp_path: Path, part: str, value: object) -> None:
    data = copy.deepcopy(WHOLE)
    data["guidance"][part] = value
    snapshot, problem = written(tmp_path, data)
    assert snapshot is None
    assert f"guidance.{part} is not a record" in problem
