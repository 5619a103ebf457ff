"""What a settings model expects at one spot: type, range, unit, choices, in plain words."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt, MaxLen, MinLen
from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from supervisor.settings.base import OneOf
from supervisor.settings.document import KeyPath

# Ends of keys, the longest first, and how the unit is said.
UNITS = {
    "volts_per_minute": "volts per minute",
    "volts_per_second": "volts per second",
    "amperes_per_second": "amperes per second",
    "ampere_hours": "ampere-hours",
    "samples_per_second": "samples per second",
    "milliseconds": "milliseconds",
    "millivolts": "millivolts",
    "seconds": "seconds",
    "minutes": "minutes",
    "hours": "hours",
    "amperes": "amperes",
    "volts": "volts",
    "percent": "percent",
    "kilohertz": "kilohertz",
    "hertz": "hertz",
    "microohms": "microohms",
    "ohms": "ohms",
    "celsius": "degrees Celsius",
}


@dataclass(frozen=True)
class Spot:
    """A place in a settings model. ``annotation`` is None where the model knows no such key."""

    path: KeyPath
    annotation: Any
    limits: tuple[Any, ...] = ()
    description: str | None = None
    sibling_names: tuple[str, ...] = ()
    parent: "Spot | None" = field(default=None, repr=False)

    @property
    def key(self) -> str | int | None:
        return self.path[-1] if self.path else None

    @property
    def unit(self) -> str:
        """Unit that the key (or the key of its list) ends in; empty when it has none."""
        name = next((str(k) for k in reversed(self.path) if isinstance(k, str)), "")
        return next((words for end, words in UNITS.items() if name.endswith(end)), "")

    @property
    def is_block(self) -> bool:
        if get_origin(self.annotation) is dict:
            return _is_model(get_args(self.annotation)[1])
        return _is_model(self.annotation)

    @property
    def wants_number(self) -> bool:
        return self.annotation in (int, float) or _all_are(self.options, int | float)

    @property
    def wants_whole_number(self) -> bool:
        return self.annotation is int or _all_are(self.options, int)

    @property
    def wants_text(self) -> bool:
        return self.annotation is str or _all_are(self.options, str)

    @property
    def options(self) -> tuple[Any, ...]:
        """The only values allowed; empty when there is no such list."""
        for limit in self.limits:
            if isinstance(limit, OneOf):
                return limit.values
        return get_args(self.annotation) if get_origin(self.annotation) is Literal else ()

    def expected(self) -> str:
        if self.options:
            words = [f'"{o}"' if isinstance(o, str) else shown(o) for o in self.options]
            return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
        if _is_model(self.annotation):
            needed = [n for n, f in self.annotation.model_fields.items() if f.is_required()]
            return "a block with the keys " + ", ".join(needed or self.annotation.model_fields)
        origin, arguments = get_origin(self.annotation), get_args(self.annotation)
        if origin is tuple and arguments and arguments[-1] is not Ellipsis:
            return f"a list of {len(arguments)} numbers in brackets"
        blocks = "a block of named blocks" if self.is_block else "a block of dotted paths, values"
        kind = {dict: blocks, list: "a list", tuple: "a list"}.get(origin)
        if kind:
            return kind
        scalar = {
            float: "a number",
            int: "a whole number",
            bool: "true or false",
            str: "text",
        }.get(self.annotation, "something else")
        return ", ".join(filter(None, [scalar, self.range_words()]))

    def example(self) -> str:
        """What to write, after the word "Write"."""
        if get_origin(self.annotation) is tuple:
            return "both numbers, like [1.0, 4.05]"
        return self.expected()

    def range_words(self) -> str:
        """The range with its unit: "from 4 to 40", "more than 0 and at most 6.144 volts"."""
        low = high = ""
        for limit in self.limits:
            match limit:
                case Gt(gt=value):
                    low = f"more than {self.shown(value)}"
                case Ge(ge=value):
                    low = f"at least {self.shown(value)}"
                case Lt(lt=value):
                    high = f"less than {self.shown(value)}"
                case Le(le=value):
                    high = f"at most {self.shown(value)}"
                case MinLen(min_length=value):
                    low = f"at least {value}"
                case MaxLen(max_length=value):
                    high = f"at most {value}"
        words = " and ".join(filter(None, [low, high]))
        if low.startswith("at least") and high.startswith("at most"):
            words = f"from {low[9:]} to {high[8:]}"
        unit = "characters" if self.annotation is str else self.unit
        return f"{words} {unit}".strip() if words else (self.unit and f"in {self.unit}")

    def shown(self, value: object) -> str:
        if self.key == "address" and isinstance(value, int):
            return f"0x{value:X}"
        return shown(value)

    def in_key_unit(self, value: object) -> str | None:
        """A value that is a thousand times off and would then fit: the value that would."""
        if not isinstance(value, int | float) or not self.unit:
            return None
        scaled = value * 1000 if self.unit.startswith("milli") else value / 1000
        return f"{scaled:.10g}" if value > 0 and self._fits(scaled) else None

    def _fits(self, value: float) -> bool:
        field: Any = Annotated[(float, *self.limits)]
        try:
            TypeAdapter(field).validate_python(value)
        except ValidationError:
            return False
        return True

    def tags(self, key: str) -> tuple[str, ...]:
        """The words that may stand at ``key`` to say which block of a choice this is."""
        members = [m for m in get_args(self.annotation) if _is_model(m)]
        return tuple(str(tag) for member in members for tag in _tags(member, key))


def locate(model: type[BaseModel], location: tuple[str | int, ...]) -> Spot:
    """The spot that a validation error means. Parts of its location that are no keys fall away."""
    spot = Spot((), model, description=_docstring(model))
    for part in location:
        spot = _step(spot, part)
    return spot


def named(model: type[BaseModel]) -> Iterator[tuple[str, type[BaseModel] | None]]:
    """Names of a model's keys, each with the model of its block when it is one."""
    for name, info in model.model_fields.items():
        annotation, _ = _bare(info.annotation)
        yield name, annotation if _is_model(annotation) else None


def shown(value: object) -> str:
    """A value of the file in a few words."""
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= 40 else f'"{value[:40]}..."'
    if isinstance(value, float):
        return f"{value:.10g}"
    words = {dict: "a block of keys", list: "a list", tuple: "a list", type(None): "nothing"}
    return words.get(type(value), str(value).lower())


def _step(spot: Spot, part: str | int) -> Spot:
    annotation = spot.annotation
    if _is_model(annotation):
        return _field(spot, str(part))
    origin, arguments = get_origin(annotation), get_args(annotation)
    if origin in (Union, UnionType):
        member = next((m for m in arguments if _is_model(m) and _is_tagged(m, part)), None)
        if member is None:
            return spot
        return Spot(spot.path, member, (), _docstring(member), (), spot.parent)
    if origin is dict and part != "[key]":
        inner, limits = _bare(arguments[1])
        return Spot((*spot.path, part), inner, limits, _docstring(inner), (), spot)
    if origin in (list, tuple) and isinstance(part, int):
        alike = origin is list or arguments[-1] is Ellipsis or part >= len(arguments)
        item = arguments[0 if alike else part]
        inner, limits = _bare(item)
        return Spot((*spot.path, part), inner, limits, spot.description, (), spot)
    return spot


def _field(spot: Spot, name: str) -> Spot:
    fields: dict[str, FieldInfo] = spot.annotation.model_fields
    siblings = tuple(fields)
    path = (*spot.path, name)
    if name not in fields:
        return Spot(path, None, sibling_names=siblings, parent=spot)
    info = fields[name]
    annotation, limits = _bare(info.annotation)
    description = info.description or _docstring(annotation)
    return Spot(path, annotation, (*info.metadata, *limits), description, siblings, spot)


def _bare(annotation: Any) -> tuple[Any, tuple[Any, ...]]:
    """An annotation without ``Annotated`` and ``| None``, and the limits found on the way."""
    limits: tuple[Any, ...] = ()
    while True:
        origin, arguments = get_origin(annotation), get_args(annotation)
        if origin is Annotated:
            annotation, *metadata = arguments
            for entry in metadata:
                limits += tuple(entry.metadata) if isinstance(entry, FieldInfo) else (entry,)
        elif origin in (Union, UnionType) and type(None) in arguments:
            rest = [a for a in arguments if a is not type(None)]
            annotation = rest[0] if len(rest) == 1 else Union[tuple(rest)]  # noqa: UP007
        else:
            return annotation, limits


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _is_tagged(model: type[BaseModel], tag: str | int) -> bool:
    return model.__name__ == tag or any(tag in _tags(model, key) for key in model.model_fields)


def _tags(model: type[BaseModel], key: str) -> tuple[Any, ...]:
    info = model.model_fields.get(key)
    return get_args(info.annotation) if info and get_origin(info.annotation) is Literal else ()


def _all_are(options: tuple[Any, ...], kind: Any) -> bool:
    return bool(options) and all(isinstance(option, kind) for option in options)


def _docstring(model: Any) -> str | None:
    if not _is_model(model) or not model.__doc__:
        return None
    return " ".join(model.__doc__.split("\n\n")[0].split())
