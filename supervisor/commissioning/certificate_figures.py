"""Figures of a finding with as many digits as tell it from its limits, and no more."""

from collections.abc import Iterator, Mapping
from math import ceil, floor, isfinite, log10
from typing import Any

MOST_DECIMALS = 9
LARGE = 1e7


def figures(finding: Mapping[str, Any]) -> tuple[str, str]:
    """What was measured with its uncertainty, and the limits; empty where there is none."""
    decimals = min(MOST_DECIMALS, max((0, *_decimals(finding))))
    measured, unsure = finding["measured"], finding["uncertainty"]
    keep = bool(unsure)
    shown = "" if measured is None else _number(measured, decimals, keep_zeros=keep)
    if shown and unsure:
        shown += f" \u00b1 {_number(unsure, decimals, keep_zeros=True)}"
    limits = _limits(finding["low"], finding["high"], decimals, keep_zeros=keep)
    return _with_unit(shown, finding["unit"]), _with_unit(limits, finding["unit"])


def _decimals(finding: Mapping[str, Any]) -> Iterator[int]:
    """Two digits of the uncertainty, else three of the value; a tenth of the way to a limit, so
    that rounding brings nothing in or out."""
    measured, unsure = finding["measured"], finding["uncertainty"]
    limits = [one for one in (finding["low"], finding["high"]) if one is not None]
    if unsure:
        yield _place(unsure, 2)
    else:
        yield from (_place(one, 3) for one in (measured, *limits) if one)
    for limit in limits:
        gap = 0.0 if measured is None else abs(measured - limit)
        if gap and isfinite(gap):
            yield ceil(-log10(gap)) + 1


def _place(value: float, digits: int) -> int:
    return digits - 1 - floor(log10(abs(value))) if isfinite(value) else 0


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
    told = f"{round(value, decimals) + 0.0:.{decimals}f}"  # + 0.0: no minus before a zero
    return told if keep_zeros or not decimals else told.rstrip("0").rstrip(".")


def _with_unit(told: str, unit: str) -> str:
    return f"{told} {unit}".strip() if told else ""
