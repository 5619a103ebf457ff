"""The panels that plots are made of: each draws one quantity with its limits.

The axis of each is enlarged on what was measured between ``from_s`` and ``to_s``.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from matplotlib.axes import Axes

from supervisor.report.canvas import FAR, FRONT, Format, Style, draw_band
from supervisor.report.envelope import Envelope, envelope
from supervisor.report.figures import Figures
from supervisor.report.in_force import InForce, Line, along
from supervisor.report.limit_lines import place_of
from supervisor.report.record import Curve, Record
from supervisor.report.series import Band, Floats, Series
from supervisor.report.words import plain
from supervisor.report.zoom import enlarge

LEAST_V, LEAST_MV, LEAST_A, LEAST_C = 0.004, 2.0, 1.0, 4.0  # heights of an axis
EXPECTED: Style = {"color": "0.35", "linestyle": (0, (1, 1.2)), "linewidth": 1.1}
PROBES: tuple[Style, ...] = tuple(
    {"color": color, "linestyle": stroke, "marker": marker, "markersize": 3.2, "linewidth": 1.1}
    for color, stroke, marker in (
        ("black", "-", "None"), ("0.45", "--", "o"), ("black", "-.", "s"), ("0.45", ":", "^"),
    )
)  # fmt: skip
UNNAMED = "_"  # alone in its panel: no legend
GAP_STEPS = 3.0  # a probe that comes so many of its steps later leaves a gap


@dataclass(frozen=True)
class Panels:
    """Of one part of the axis, in one format."""

    record: Record
    rows: Series
    spells: Sequence[InForce]
    form: Format
    from_s: float
    to_s: float

    @cached_property
    def difference_mv(self) -> Floats:
        """Front minus far cell; nan where one of them is not known."""
        return 1000 * (self.rows.front_v.mean - self.rows.far_v.mean)

    @property
    def has_difference(self) -> bool:
        return bool(np.isfinite(self.difference_mv).any())

    def volts(self, axes: Axes, limits: Sequence[Line]) -> None:
        front, far = self.thin(self.rows.front_v), self.thin(self.rows.far_v)
        draw_band(axes, front, FRONT, "front cell")
        draw_band(axes, far, FAR, "far cell")
        self.zoom(axes, (front, far), limits, LEAST_V)
        axes.set_ylabel("cell voltage,\nV")

    def difference(self, axes: Axes, at_rest: Sequence[Line] = ()) -> None:
        """With what the current explains of it, and the limits of the balance about that; or with
        those of a rest."""
        thin = self.thin(flat(self.difference_mv))
        draw_band(axes, thin, {"color": "black", "linewidth": 1.1}, "front minus far cell")
        expected = self._expected_mv()
        if np.isfinite(expected.band.mean).any():
            axes.plot(expected.at_s, expected.band.mean, label="expected by current", **EXPECTED)
        self.zoom(axes, (thin, expected), at_rest or self._balance_limits(expected), LEAST_MV)
        axes.set_ylabel("difference,\nmV")

    def amperes(self, axes: Axes, limits: Sequence[Line]) -> None:
        thin = self.thin(self.rows.current_a)
        draw_band(axes, thin, FRONT, UNNAMED)
        axes.axhline(0.0, color="black", linewidth=0.6)
        self.zoom(axes, (thin,), limits, LEAST_A)
        axes.set_ylabel("current,\nA")

    def celsius(self, axes: Axes, limits: Sequence[Line]) -> None:
        thins = [self._probe(curve) for curve in self.record.temperatures]
        for k, (curve, thin) in enumerate(zip(self.record.temperatures, thins, strict=True)):
            draw_band(axes, thin, PROBES[k % len(PROBES)], self._named(curve))
        self.zoom(axes, thins, limits, LEAST_C)
        axes.set_ylabel("temperature,\n°C")

    def zoom(
        self, axes: Axes, thins: Sequence[Envelope], limits: Sequence[Line], least: float
    ) -> None:
        seen = [(thin, (thin.at_s >= self.from_s) & (thin.at_s <= self.to_s)) for thin in thins]
        measured = [side[k] for thin, k in seen for side in (thin.band.low, thin.band.high)]
        enlarge(axes, measured, limits, least=least, from_s=self.from_s, to_s=self.to_s)

    def thin(self, band: Band) -> Envelope:
        return envelope(self.rows.at_s, band, self.rows.gap_before(), self.form.most_points)

    def _expected_mv(self) -> Envelope:
        bars_microohm = along(self.spells, "protection.balance.bars_microohms", self.rows.at_s)
        return self.thin(flat(self.rows.current_a.mean * bars_microohm / 1000))

    def _balance_limits(self, expected: Envelope) -> list[Line]:
        limit_mv = 1000 * along(self.spells, "protection.balance.trip_volts", expected.at_s)
        found = []
        for mv in np.unique(limit_mv[np.isfinite(limit_mv)]):
            about = np.where(limit_mv == mv, expected.band.mean, np.nan)
            words = f"balance trips {mv:.0f} mV"
            found.append(Line(f"{words} above expected", expected.at_s, about + mv))
            found.append(Line(f"{words} below expected", expected.at_s, about - mv))
        return found

    def _probe(self, curve: Curve) -> Envelope:
        steps_s = np.diff(curve.at_s, prepend=curve.at_s[:1])
        is_gap = steps_s > GAP_STEPS * float(np.median(steps_s))
        return envelope(curve.at_s, flat(curve.celsius), is_gap, self.form.most_points)

    def _named(self, curve: Curve) -> str:
        place = plain(place_of(self.record, curve))
        name = curve.name.lstrip("_")  # a leading one hides it from the legend
        return f"{name} ({place})" if place else name


def flat(values: Floats) -> Band:
    return Band(values, values, values)


def mark_peak(axes: Axes, figures: Figures, from_s: float, to_s: float) -> None:
    peak = figures.peak
    if peak is not None and from_s <= peak.at_s <= to_s:
        axes.plot(
            peak.at_s, peak.volts, "v", color="black", markersize=5, zorder=6, clip_on=False,
            label=f"peak {peak.volts:.3f} V", linestyle="none",
        )  # fmt: skip
