"""The highest temperature of every probe, and its limit."""

from dataclasses import dataclass

import numpy as np

from supervisor.report.in_force import along, in_force
from supervisor.report.record import Curve, Record
from supervisor.report.settings_told import at
from supervisor.report.sound import text
from supervisor.report.words import plain

UPPER = {
    place: f"protection.temperature.{place}_above_celsius"
    for place in ("heat_sink", "transformer", "cells")
}
LOWER = {"cells": "protection.temperature.cells_below_celsius"}


@dataclass(frozen=True, slots=True)
class Extreme:
    """A recorded temperature, and the limit in force at that moment; None: there was none."""

    celsius: float
    at_s: float
    limit_c: float | None


@dataclass(frozen=True, slots=True)
class Warmth:
    """Of one probe; ``coldest`` only where cold has a limit."""

    probe: str
    place: str
    hottest: Extreme
    coldest: Extreme | None

    @property
    def name(self) -> str:
        return f"{self.place} (probe {self.probe})" if self.place else f"probe {self.probe}"

    @property
    def margin_k(self) -> float:
        """To the upper limit; a probe without one comes last."""
        limit_c = self.hottest.limit_c
        return float("inf") if limit_c is None else limit_c - self.hottest.celsius


def warmest(record: Record) -> tuple[Warmth, ...]:
    """Nearest to its limit first; of every probe that ever answered."""
    found = [
        _of(curve, record) for curve in record.temperatures if np.isfinite(curve.celsius).any()
    ]
    return tuple(sorted(found, key=lambda one: (one.margin_k, -one.hottest.celsius)))


def _of(curve: Curve, record: Record) -> Warmth:
    place = text(at(record.session.settings, f"probes.{curve.name}.place"))
    hottest = _extreme(record, curve, int(np.nanargmax(curve.celsius)), UPPER.get(place))
    coldest = _extreme(record, curve, int(np.nanargmin(curve.celsius)), LOWER.get(place))
    return Warmth(curve.name, plain(place), hottest, coldest if coldest.limit_c else None)


def _extreme(record: Record, curve: Curve, k: int, path: str | None) -> Extreme:
    at_s = float(curve.at_s[k])
    limit_c = along(in_force(record), path, curve.at_s[k : k + 1])[0] if path else np.nan
    return Extreme(float(curve.celsius[k]), at_s, None if np.isnan(limit_c) else float(limit_c))
