"""The report of one session: figures, plots and stories, put into the page."""

from typing import Any

from markupsafe import Markup

from supervisor.report.cues import cues_told
from supervisor.report.ending import is_under_way
from supervisor.report.figures import Figures, figures_of
from supervisor.report.mark import mark_of
from supervisor.report.marks import marks_of
from supervisor.report.rating import rating_words
from supervisor.report.record import Record, Tell
from supervisor.report.rendering import render
from supervisor.report.settings_told import (
    Group,
    Limit,
    as_profile,
    calibration,
    grouped,
    limits,
    parsed,
    without,
)
from supervisor.report.sound import finite
from supervisor.report.summary import (
    celsius_words,
    in_plain_words,
    why_no_celsius,
)
from supervisor.report.trip_plot import rows_around, trip_plot
from supervisor.report.trips import titles
from supervisor.report.unknown_told import NOT_KEPT, gap_clause, gap_words, untold_times
from supervisor.report.verdict import STILL_UNDER_WAY, judge
from supervisor.report.views import plots_of
from supervisor.report.words import UNKNOWN, duration, millivolts, number, reckoned

MOST_TRIP_PLOTS = 20
MOST_GAPS_TOLD = 30
CLOSE_UP_S = 0.5  # rows of windows are shorter


def session_page(record: Record, tell: Tell) -> str:
    figures = figures_of(record)
    marks, verdict = marks_of(record.events), judge(record, figures)
    tell(f"session {record.session.id}: plots")
    return render(
        "session.html",
        mark=mark_of([record.session]),
        record=record,
        session=record.session,
        figures=figures,
        verdict=verdict,
        plain_words=in_plain_words(record, figures, verdict),
        reckoned=reckoned,
        celsius_words=celsius_words,
        why_no_celsius=why_no_celsius(record),
        rest_words=rest_words(figures),
        gap_words=gap_words(figures),
        gap_clause=gap_clause(figures),
        not_kept=NOT_KEPT,
        rating=rating_words(record),
        cues=cues_told(record.events),
        trip_titles=titles(figures.trips),
        under_way=STILL_UNDER_WAY if is_under_way(record) else "",
        holes_s=sum(hole.length_s for hole in figures.holes),
        unknown=untold_times(figures),
        marks=marks,
        plots=plots_of(record, figures, marks),
        trips=_trips(record, figures),
        most_trip_plots=MOST_TRIP_PLOTS,
        most_gaps=MOST_GAPS_TOLD,
        simulated=f"SIMULATED session {record.session.id}" if record.session.is_simulated else "",
        **_settings(record),
    )


def _trips(record: Record, figures: Figures) -> list[dict[str, Any]]:
    told = []
    for trip in figures.trips:
        plot: Markup | None = None
        if trip.number <= MOST_TRIP_PLOTS and trip.was_seen:
            plot = trip_plot(record, trip)
        rows = rows_around(record, trip.at_s)
        is_coarse = len(rows) == 0 or bool(rows.span_s[0] > CLOSE_UP_S)
        told.append({"trip": trip, "plot": plot, "is_coarse": is_coarse})
    return told


def _settings(record: Record) -> dict[str, Any]:
    settings = record.session.settings
    model = parsed(settings)
    own = limits(settings, is_known=model is not None)
    return {
        "is_known": model is not None,
        "limits": grouped(own),
        "other_profiles": _other_profiles(record, own),
        "calibration": calibration(settings),
        "without": without(settings),
        "uncommissioned": settings.get("uncommissioned_reason"),
        "fingerprint": record.session.settings_sha256,
    }


def _other_profiles(record: Record, own: list[Limit]) -> list[tuple[str, list[Group] | None]]:
    """What other profiles changed that came into force; None: nothing is known of them."""
    chosen = [str(e.data.get("profile", "")) for e in record.events if e.code == "profile"]
    model = parsed(record.session.settings)
    told: list[tuple[str, list[Group] | None]] = []
    for name in dict.fromkeys(n for n in chosen if n and n != record.session.profile):
        changed = as_profile(model, name)
        if changed is None:
            told.append((name, None))
            continue
        before = {limit.path: limit.value for limit in own}
        rows = limits(changed.model_dump(mode="json"), is_known=True)
        told.append((name, grouped(row for row in rows if before.get(row.path) != row.value)))
    return told


def rest_words(figures: Figures) -> str:
    """What the rest check found, with its figures; empty without one."""
    if figures.rest is None:
        return ""
    data = figures.rest.data
    front, lag_v = number(finite(data.get("front_v")), 3, "V"), finite(data.get("lag_v"))
    fall_v = finite(data.get("fall_v_per_h"))
    lag = UNKNOWN if lag_v is None else millivolts(lag_v)
    fall = UNKNOWN if fall_v is None else f"{millivolts(fall_v)}/h"
    return (
        f"{figures.rest.text}: front cell {front}, front minus far {lag}, falling {fall}, after"
        f" {duration(finite(data.get('for_s')))}"
    )
