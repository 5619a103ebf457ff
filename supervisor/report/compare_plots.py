"""Several sessions on the same axes: from their begin, and towards the end of charging."""

from dataclasses import dataclass

from markupsafe import Markup
from matplotlib.axes import Axes

from supervisor.report.canvas import draw_legend, draw_limit, look, name_minutes, new_figure, svg
from supervisor.report.envelope import envelope
from supervisor.report.figures import Figures
from supervisor.report.record import Record
from supervisor.report.settings_told import dig

HEIGHT_IN = 4.8
LOOKS = (
    ("#12365c", "-", "o"),
    ("#a8561c", (0, (5, 1.5)), "s"),
    ("#3a7d44", (0, (1, 1.2)), "^"),
    ("#7b4f9d", (0, (5, 1.5, 1, 1.5)), "D"),
    ("#555555", (0, (9, 2)), "v"),
    ("#000000", (0, (2, 2)), "x"),
)
MARKERS_A_LINE = 8
ANY_LENGTH_S = 60.0


@dataclass(frozen=True, slots=True)
class Compared:
    record: Record
    figures: Figures

    @property
    def charge_s(self) -> float:
        """The end of charging; the end of the record when nothing was closed."""
        return self.figures.charge_ends_s or self.record.timeline.ends_s


def comparison_plot(sessions: list[Compared], *, by_end: bool) -> Markup:
    """Front cells and currents; each session with a line and a mark of its own."""
    with look():
        figure = new_figure(HEIGHT_IN)
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
        for k, session in enumerate(sessions):
            _draw(upper, lower, session, k, session.charge_s if by_end else 0.0)
        _draw_limits(upper, sessions)
        upper.margins(y=0.1)
        longest_s = max(ANY_LENGTH_S, *(s.charge_s for s in sessions))
        if by_end:
            name_minutes(lower, -longest_s, 0.05 * longest_s)
            lower.set_xlabel("minutes before (-) and after the end of charging")
        else:
            name_minutes(lower, 0.0, 1.05 * longest_s)
        upper.set_ylabel("front cell, V")
        lower.set_ylabel("current, A")
        draw_legend(upper, 3)
        figure.suptitle(", ".join(s.record.name for s in sessions), fontsize=8, x=0.01, ha="left")
        aligned = "their ends of charging" if by_end else "their begins"
        return svg(
            figure,
            says=f"Front cell voltage and current of the sessions, aligned at {aligned}",
            is_simulated=any(s.record.session.is_simulated for s in sessions),
        )


def _draw(upper: Axes, lower: Axes, session: Compared, k: int, zero_s: float) -> None:
    rows = session.record.series
    color, stroke, marker = LOOKS[k % len(LOOKS)]
    for axes, band in ((upper, rows.front_v), (lower, rows.current_a)):
        thin = envelope(rows.at_s, band, rows.gap_before())
        every = max(1, len(thin.at_s) // MARKERS_A_LINE)
        at_s = thin.at_s - zero_s
        axes.fill_between(at_s, thin.band.low, thin.band.high, color=color, alpha=0.15, linewidth=0)
        axes.plot(
            at_s, thin.band.mean, color=color, linestyle=stroke, linewidth=1.1,
            marker=marker, markersize=4, markevery=(k * every // len(LOOKS), every),
            label=session.record.name,
        )  # fmt: skip


def _draw_limits(axes: Axes, sessions: list[Compared]) -> None:
    limits = (
        ("bank.never_above_volts", "the maker's limit", "-"),
        ("protection.overvoltage.trip_volts", "overvoltage trips", (0, (3, 1, 1, 1))),
    )
    for path, words, stroke in limits:
        settings = [s.record.session.settings for s in sessions]
        for volts in sorted({v for one in settings if (v := dig(one, path)) is not None}):
            draw_limit(axes, volts, f"{words} {volts:.3f} V", stroke)
