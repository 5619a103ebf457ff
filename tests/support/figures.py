"""A figure with its goal beside it, as a line and as data."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

MEGABYTE = 1_000_000


@dataclass(frozen=True)
class Figure:
    """``value`` None: it cannot be measured here, and ``why`` says why not."""

    what: str
    value: float | None
    unit: str = ""
    at_most: float | None = None
    at_least: float | None = None
    why: str = ""

    @property
    def verdict(self) -> str:
        if self.value is None:
            return "cannot be measured here"
        if self.at_most is None and self.at_least is None:
            return ""
        low = -math.inf if self.at_least is None else self.at_least
        high = math.inf if self.at_most is None else self.at_most
        return "met" if low <= self.value <= high else "NOT MET"

    @property
    def goal(self) -> str:
        for sign, bound in ((">=", self.at_least), ("<=", self.at_most)):
            if bound is not None:
                return f"goal {sign} {bound:g} {self.unit}".strip()
        return ""

    def __str__(self) -> str:
        value = "-" if self.value is None else f"{self.value:,.{_digits(self.value)}f}"
        judged = ", ".join(part for part in (self.goal, self.verdict, self.why) if part)
        return f"  {self.what:<62} {value:>10} {self.unit:<7} {judged}".rstrip()

    def as_dict(self) -> dict[str, Any]:
        return {
            "what": self.what, "value": self.value, "unit": self.unit, "at_most": self.at_most,
            "at_least": self.at_least, "verdict": self.verdict, "why": self.why,
        }  # fmt: skip


Lines = Iterator[Figure | str]  # what a section tells, as it comes: figures, and words between


def _digits(value: float) -> int:
    return 0 if abs(value) >= 1000 else 1 if abs(value) >= 100 else 2 if abs(value) >= 1 else 3


def quantile(values: Sequence[float], share: float) -> float:
    """The smallest value that so large a share of all does not exceed."""
    ordered = sorted(values)
    return ordered[max(0, math.ceil(share * len(ordered)) - 1)]


def spread(what: str, values: Sequence[float], unit: str = "ms", **goal: Any) -> Lines:
    """Median to worst; the ``goal`` is for 99.9 %, which takes a thousand values to tell."""
    if not values:
        yield Figure(what, None, unit, why="no values", **goal)
        return
    yield Figure(f"{what}: p50", quantile(values, 0.5), unit)
    yield Figure(f"{what}: p99", quantile(values, 0.99), unit)
    if len(values) >= 1000:
        yield Figure(f"{what}: p99.9", quantile(values, 0.999), unit, **goal)
        yield Figure(f"{what}: worst of {len(values)}", max(values), unit)
    else:
        yield Figure(
            f"{what}: worst of {len(values)}", max(values), unit,
            why="too few for p99.9: the worst is judged" if goal else "", **goal,
        )  # fmt: skip
