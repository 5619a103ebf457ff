"""The report of one session: figures, plots and stories, put into the page."""

from typing import Any

from markupsafe import Markup

from supervisor.report.figures import Figures, figures_of
from supervisor.report.marks import Mark, marks_of
from supervisor.report.plots import View, session_plot
from supervisor.report.record import Record, Tell
from supervisor.report.rendering import render
from supervisor.report.settings_told import (
    Limit,
    as_profile,
    calibration,
    limits,
    parsed,
    without,
)
from supervisor.report.trip_plot import rows_around, trip_plot
from supervisor.report.verdict import judge

LAST_S, AFTER_S = 3600.0, 60.0
LEAST_ENLARGED = 1 / 3  # of the charge, when all of it takes hardly longer than an hour
MOST_TRIP_PLOTS = 20
MOST_GAPS_TOLD = 30
BESIDE_END = 0.03  # of its length is drawn beyond what happened last
CLOSE_UP_S = 0.5  # rows of windows are shorter


def session_page(record: Record, tell: Tell) -> str:
    figures = figures_of(record)
    marks = marks_of(record.events)
    tell(f"session {record.session.id}: plots")
    return render(
        "session.html",
        record=record,
        session=record.session,
        figures=figures,
        verdict=judge(record, figures),
        marks=marks,
        plots=_plots(record, figures, marks),
        trips=_trips(record, figures),
        most_trip_plots=MOST_TRIP_PLOTS,
        most_gaps=MOST_GAPS_TOLD,
        simulated=f"SIMULATED session {record.session.id}" if record.session.is_simulated else "",
        **_settings(record),
    )


def _plots(record: Record, figures: Figures, marks: list[Mark]) -> list[dict[str, Any]]:
    shown_to_s = _shown_to_s(record, figures)
    whole = View(record, figures, marks, 0.0, shown_to_s)
    left_out = shown_to_s < record.timeline.ends_s - 60
    plots: list[dict[str, Any]] = [
        {"title": "The whole session", "left_out": left_out, "to_s": shown_to_s,
         "svg": session_plot(whole, "Cell voltages and current over the whole session")}
    ]  # fmt: skip
    if (end_s := figures.charge_ends_s) is not None:
        length_s = max(60.0, min(LAST_S, LEAST_ENLARGED * end_s))
        view = View(
            record, figures, marks, max(0.0, end_s - length_s), end_s + min(AFTER_S, length_s / 4)
        )
        title = f"The last {length_s / 60:.0f} min before the end of charging"
        plots.append({"title": title, "left_out": False, "svg": session_plot(view, title)})
    return plots


def _shown_to_s(record: Record, figures: Figures) -> float:
    """A long time open after all is over would press the charge into a corner."""
    ends_s = record.timeline.ends_s
    told = [e.at_s for e in record.events if e.code not in ("cue_ended", "journal_lost")]
    last_s = max([*told, figures.charge_ends_s or 0.0])
    return min(ends_s, last_s + max(60.0, BESIDE_END * last_s)) if told else ends_s


def _trips(record: Record, figures: Figures) -> list[dict[str, Any]]:
    told = []
    for trip in figures.trips:
        plot: Markup | None = None
        if trip.number <= MOST_TRIP_PLOTS and not trip.is_unseen_end:
            plot = trip_plot(record, trip)
        rows = rows_around(record, trip.at_s)
        is_coarse = len(rows) == 0 or bool(rows.span_s[0] > CLOSE_UP_S)
        told.append({"trip": trip, "plot": plot, "is_coarse": is_coarse})
    return told


def _settings(record: Record) -> dict[str, Any]:
    settings = record.session.settings
    model = parsed(settings)
    own = limits(settings, model)
    return {
        "is_known": model is not None,
        "limits": own,
        "other_profiles": _other_profiles(record, own),
        "calibration": calibration(settings),
        "without": without(settings),
        "uncommissioned": settings.get("uncommissioned_reason"),
        "fingerprint": record.session.settings_sha256,
    }


def _other_profiles(record: Record, own: list[Limit]) -> list[tuple[str, list[Limit] | None]]:
    """What other profiles changed that came into force; None: nothing is known of them."""
    chosen = [str(e.data.get("profile", "")) for e in record.events if e.code == "profile"]
    model = parsed(record.session.settings)
    told: list[tuple[str, list[Limit] | None]] = []
    for name in dict.fromkeys(n for n in chosen if n and n != record.session.profile):
        changed = as_profile(model, name)
        if changed is None:
            told.append((name, None))
            continue
        before = {limit.path: limit.value for limit in own}
        rows = limits(changed.model_dump(mode="json"), changed)
        told.append((name, [row for row in rows if before.get(row.path) != row.value]))
    return told
