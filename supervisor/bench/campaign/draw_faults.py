"""Random faults of every kind there is: the kinds and their parameters come from the union."""

from math import exp, log
from random import Random
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel, TypeAdapter
from pydantic.fields import FieldInfo

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.faults import Fault, kinds
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.world import World

LONGEST_S = 20.0  # of what stands still: a run is short
WIDE = 100.0  # ends of a range further apart than this: drawn by magnitude
NOT_FITTED = "none"  # a name that no part has: such a fault cannot strike
SMALLEST = 1e-3  # the lower end of a range that begins at zero

_FAULT: TypeAdapter[FaultSettings] = TypeAdapter(Fault)


def draw_fault(rng: Random, settings: SupervisorSettings, plant: PlantSettings) -> dict[str, Any]:
    """One that these parts can have: kinds that need another part are drawn again."""
    known = kinds()
    while True:
        kind = rng.choice(sorted(known))
        drawn = {"kind": kind} | _parameters(rng, known[kind], settings)
        if can_strike(drawn, settings, plant):
            return drawn


def can_strike(drawn: dict[str, Any], settings: SupervisorSettings, plant: PlantSettings) -> bool:
    """Tried on a world that is thrown away."""
    try:
        World(settings, plant, SimulatedClock()).fault(_FAULT.validate_python(drawn))
    except ValueError:
        return False
    return True


def _parameters(
    rng: Random, model: type[BaseModel], settings: SupervisorSettings
) -> dict[str, Any]:
    values = {
        name: _value(rng, name, field, settings)
        for name, field in model.model_fields.items()
        if name != "kind" and (field.is_required() or rng.random() < 0.5)
    }
    return {name: value for name, value in values.items() if value is not None}


def _value(rng: Random, name: str, field: FieldInfo, settings: SupervisorSettings) -> Any:
    """Within what the field allows; names of parts are those of the settings."""
    parts = {"converter": list(settings.converters), "probe": list(settings.probes)}
    if name in parts:
        return rng.choice(parts[name] or [NOT_FITTED])
    annotation, metadata = _inner(field.annotation, field.metadata)
    if get_origin(annotation) is Literal:
        return rng.choice(get_args(annotation))
    if annotation is bool:
        return rng.random() < 0.5
    low, high = _ends(metadata)
    if name == "seconds":
        high = min(high, LONGEST_S)
    number = _number(rng, low, high)
    return min(max(round(number), int(low)), int(high)) if annotation is int else number


def _inner(annotation: Any, metadata: list[Any]) -> tuple[Any, list[Any]]:
    """Below ``| None`` and Annotated."""
    if get_origin(annotation) in (Union, UnionType):
        annotation = next(a for a in get_args(annotation) if a is not type(None))
    if hasattr(annotation, "__metadata__"):
        return get_args(annotation)[0], [*metadata, *_flat(annotation.__metadata__)]
    return annotation, _flat(metadata)


def _flat(metadata: Any) -> list[Any]:
    found: list[Any] = []
    for item in metadata:
        found += item.metadata if isinstance(item, FieldInfo) else [item]
    return found


def _ends(metadata: list[Any]) -> tuple[float, float]:
    low, high = 0.0, 1.0
    for item in metadata:
        if isinstance(item, Ge | Gt):
            low = float(item.ge if isinstance(item, Ge) else item.gt)  # type: ignore[arg-type]
        if isinstance(item, Le | Lt):
            high = float(item.le if isinstance(item, Le) else item.lt)  # type: ignore[arg-type]
    return low, max(high, low + 1)


def _number(rng: Random, low: float, high: float) -> float:
    """Evenly; by magnitude when the range is wide, either sign when it has both."""
    if low < 0 < high and rng.random() < 0.5:
        return -_number(rng, 0.0, -low)
    low = max(low, 0.0) if high > 0 else low
    smallest = low or min(SMALLEST, high)
    if smallest > 0 and high / smallest > WIDE:
        return float(f"{exp(rng.uniform(log(smallest), log(high))):.3g}")
    return float(f"{rng.uniform(low, high):.3g}")
