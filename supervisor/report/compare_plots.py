"""Several sessions on the same axes: from their begin, and towards the end of charging."""

from dataclasses import dataclass

from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from supervisor.report.canvas import Format, Stroke, draw_legend, drawn, name_minutes
from supervisor.report.envelope import Envelope, envelope
from supervisor.report.figures import Figures
from supervisor.report.in_force import Line, level
from supervisor.report.record import Record
from supervisor.report.series import Band
from supervisor.report.settings_told import dig
from supervisor.report.zoom import enlarge

VOLTS_IN, AMPERES_IN, ROUND_IN = 2.0, 1.4, 0.8  # two stand on one sheet
LEAST_V, LEAST_A = 0.004, 1.0
LOOKS: tuple[tuple[str, Stroke, str], ...] = (
    ("#12365c", "-", "o"),
    ("#a8561c", (0, (5, 1.5)), "s"),
    ("#3a7d44", (0, (1, 1.2)), "^"),
    ("#7b4f9d", (0, (5, 1.5, 1, 1.5)), "D"),
    ("#555555", (0, (9, 2)), "v"),
    ("#000000", (0, (2, 2)), "x"),
)
MARKERS_A_LINE = 8
ANY_LENGTH_S = 60.0
BESIDE = 0.05  # of the longest, drawn beyond its end


@dataclass(frozen=True, slots=True)
class Compared:
    record: Record
    figures: Figures

    @property
    def charge_s(self) -> float:
        """The end of charging; the end of the record when nothing was closed."""
        return self.figures.charge_ends_s or self.record.timeline.ends_s


@dataclass(frozen=True, slots=True)
class _Scene:
    """``from_s`` and ``to_s`` on the common axis."""

    sessions: list[Compared]
    by_end: bool
    from_s: float
    to_s: float

    def zero_s(self, session: Compared) -> float:
        return session.charge_s if self.by_end else 0.0


def comparison_plot(sessions: list[Compared], *, by_end: bool) -> Markup:
    """Front cells and currents; each session with a line and a mark of its own."""
    longest_s = max(ANY_LENGTH_S, *(s.charge_s for s in sessions))
    from_s, to_s = (-longest_s, BESIDE * longest_s) if by_end else (0.0, (1 + BESIDE) * longest_s)
    scene = _Scene(sessions, by_end, from_s, to_s)
    aligned = "their ends of charging" if by_end else "their begins"
    return drawn(
        lambda form: _figure(scene, form),
        says=f"Front cell voltage and current of the sessions, aligned at {aligned}",
        is_simulated=any(s.record.session.is_simulated for s in sessions),
    )


def _figure(scene: _Scene, form: Format) -> Figure:
    title = ", ".join(s.record.name for s in scene.sessions)
    figure = form.figure(VOLTS_IN + AMPERES_IN + ROUND_IN, title)
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(VOLTS_IN, AMPERES_IN))
    volts, amperes = [], []
    for k, session in enumerate(scene.sessions):
        rows = session.record.series
        volts.append(_draw(upper, scene, form, k, rows.front_v))
        amperes.append(_draw(lower, scene, form, k, rows.current_a))
    _enlarge(upper, scene, volts, _limits(scene), LEAST_V)
    _enlarge(lower, scene, amperes, [], LEAST_A)
    name_minutes(lower, form, scene.from_s, scene.to_s)
    if scene.by_end:
        lower.set_xlabel("minutes before (-) and after the end of charging")
    upper.set_ylabel("front cell, V")
    lower.set_ylabel("current, A")
    draw_legend(upper, form)
    return figure


def _draw(axes: Axes, scene: _Scene, form: Format, k: int, band: Band) -> Envelope:
    """On the common axis."""
    session = scene.sessions[k]
    rows = session.record.series
    color, stroke, marker = LOOKS[k % len(LOOKS)]
    at_s = rows.at_s - scene.zero_s(session)
    thin = envelope(at_s, band, rows.gap_before(), form.most_points)
    every = max(1, len(thin.at_s) // MARKERS_A_LINE)
    axes.fill_between(
        thin.at_s, thin.band.low, thin.band.high, color=color, alpha=0.15, linewidth=0
    )
    axes.plot(
        thin.at_s, thin.band.mean, color=color, linestyle=stroke, linewidth=1.1,
        marker=marker, markersize=4, markevery=(k * every // len(LOOKS), every),
        label=session.record.name,
    )  # fmt: skip
    return thin


def _enlarge(
    axes: Axes, scene: _Scene, thins: list[Envelope], limits: list[Line], least: float
) -> None:
    measured = [side for thin in thins for side in (thin.band.low, thin.band.high)]
    enlarge(axes, measured, limits, least=least, from_s=scene.from_s, to_s=scene.to_s)


def _limits(scene: _Scene) -> list[Line]:
    """Every value that one of the sessions began with."""
    found: list[Line] = []
    for path, words in (
        ("bank.never_above_volts", "the maker's limit"),
        ("protection.overvoltage.trip_volts", "overvoltage trips"),
    ):
        values = [dig(s.record.session.settings, path) for s in scene.sessions]
        for volts in sorted({v for v in values if v is not None}):
            found.append(level(f"{words} {volts:.3f} V", volts, scene.from_s, scene.to_s))
    return found
