"""Figures of a finding with as many digits as tell it from its limits, and no more."""

from collections.abc import Mapping
from math import isfinite
from typing import Any

MOST_DECIMALS = 9
LARGE = 1e7


def figures(finding: Mapping[str, Any]) -> tuple[str, str]:
    """What was measured with its uncertainty, and the limits; empty where there is none."""
    measured, unsure = finding["measured"], finding["uncertainty"]
    decimals = _decimals(finding)
    keep = bool(unsure)
    shown = "" if measured is None else _number(measured, decimals, keep_zeros=keep)
    if shown and unsure:
        shown += f" \u00b1 {_number(unsure, _place(unsure, 2), keep_zeros=True)}"
    limits = _limits(finding["low"], finding["high"], decimals, keep_zeros=keep)
    return _with_unit(shown, finding["unit"]), _with_unit(limits, finding["unit"])


def _decimals(finding: Mapping[str, Any]) -> int:
    """To the place of the uncertainty's two digits (JCGM 100:2008, 7.2.6), else three digits of the
    value; and so many more that rounding brings nothing within its limits."""
    measured, unsure = finding["measured"], finding["uncertainty"]
    limits = [one for one in (finding["low"], finding["high"]) if one is not None]
    if unsure:
        decimals = _place(unsure, 2)
    else:
        places = [_place(one, 3) for one in (measured, *limits) if one]
        decimals = min(MOST_DECIMALS, max((0, *places)))
    while decimals < MOST_DECIMALS and any(_is_hidden(measured, one, decimals) for one in limits):
        decimals += 1
    return decimals


def _is_hidden(measured: float | None, limit: float, decimals: int) -> bool:
    """Whether, rounded, it lies on its limit, while it does not."""
    if measured is None or measured == limit:
        return False
    return _rounded(measured, decimals) == _rounded(limit, decimals)


def _rounded(value: float, decimals: int) -> float:
    return value if abs(value) >= LARGE else round(value, decimals) + 0.0  # no minus before a zero


def _place(value: float, digits: int) -> int:
    """Of the last of so many digits, behind the point; before it when negative."""
    if not isfinite(value):
        return 0
    _, _, exponent = f"{abs(value):.{digits - 1}e}".partition("e")
    return min(MOST_DECIMALS, digits - 1 - int(exponent))


def _limits(low: float | None, high: float | None, decimals: int, *, keep_zeros: bool) -> str:
    told = [
        "" if one is None else _number(one, decimals, keep_zeros=keep_zeros) for one in (low, high)
    ]
    if all(told):
        return f"{told[0]} to {told[1]}"
    return f"up to {told[1]}" if told[1] else f"from {told[0]}" if told[0] else ""


def _number(value: float, decimals: int, *, keep_zeros: bool) -> str:
    if abs(value) >= LARGE or not isfinite(value):
        return f"{value:.7g}"
    shown = max(0, decimals)
    told = f"{_rounded(value, decimals):.{shown}f}"
    return told if keep_zeros or not shown else told.rstrip("0").rstrip(".")


def _with_unit(told: str, unit: str) -> str:
    return f"{told} {unit}".strip() if told else ""
