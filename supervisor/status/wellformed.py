"""Does a snapshot read from a file hold what its field types promise?

The file comes from another process; half a file, another version or plain garbage must end as
one sentence for the operator, never as a fault in a page.
"""

from functools import cache
from types import NoneType, UnionType
from typing import Any, get_args, get_origin, get_type_hints

from supervisor.snapshot import Circuit, GuidanceView, Snapshot, Stage, Urgency

RULE_STATES = ("clear", "timing", "trip", "cannot tell")
REST_STATES = ("watching", "passed", "failed")
PLACES = ("heat_sink", "transformer", "cells")  # where a probe may sit; a label of the metrics
LARGEST = 1e15  # beyond any count or time the daemon can reach; keeps whole numbers exact


def check(snapshot: Snapshot) -> None:
    """Raises ValueError, naming the field, when a value is not of its field's type."""
    _check(snapshot, Snapshot, "status")
    if snapshot.circuit not in {circuit.value for circuit in Circuit}:
        raise ValueError(f"circuit state {snapshot.circuit[:40]!r} is unknown")
    for rule in snapshot.rules:
        if rule.state not in RULE_STATES:
            raise ValueError(f"rule state {rule.state[:40]!r} is unknown")
    for probe in snapshot.probes:
        if probe.place not in PLACES:
            raise ValueError(f"place of a probe {probe.place[:40]!r} is unknown")
    if snapshot.guidance:
        _check_words(snapshot.guidance)


def _check_words(guidance: GuidanceView) -> None:
    if guidance.stage not in {stage.value for stage in Stage}:
        raise ValueError(f"stage {guidance.stage[:40]!r} is unknown")
    for cue in guidance.cues:
        if cue.urgency not in {urgency.value for urgency in Urgency}:
            raise ValueError(f"urgency of a cue {cue.urgency[:40]!r} is unknown")
    if guidance.rest and guidance.rest.state not in REST_STATES:
        raise ValueError(f"rest check state {guidance.rest.state[:40]!r} is unknown")


@cache  # resolving the hints takes longer than the check itself
def _kinds(record_type: Any) -> dict[str, Any]:
    return get_type_hints(record_type)


def _check(value: object, kind: Any, where: str) -> None:
    if get_origin(kind) is UnionType:
        if value is None and NoneType in get_args(kind):
            return
        kind = next(k for k in get_args(kind) if k is not NoneType)
    if get_origin(kind) is tuple:
        assert isinstance(value, tuple)
        for index, item in enumerate(value):
            _check(item, get_args(kind)[0], f"{where}[{index}]")
    elif kind in _NAMES:
        if not _is_plain(value, kind):
            raise ValueError(f"{where} is not {_NAMES[kind]}")
    elif not isinstance(value, kind):
        raise ValueError(f"{where} is not a record of its own")
    else:
        for name, field_kind in _kinds(kind).items():
            _check(getattr(value, name), field_kind, f"{where}.{name}")


_NAMES = {str: "text", bool: "true or false", int: "a whole number", float: "a finite number"}


def _is_plain(value: object, kind: type) -> bool:
    if kind is str:
        return isinstance(value, str) and not any("\ud800" <= c <= "\udfff" for c in value)
    if kind is bool or isinstance(value, bool):
        return kind is bool and isinstance(value, bool)
    if kind is int:
        return isinstance(value, int) and abs(value) <= LARGEST
    return isinstance(value, int | float) and abs(value) <= LARGEST  # false for NaN, too
