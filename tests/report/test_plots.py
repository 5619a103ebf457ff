"""The plots of a session: what is in them, and that a phone and a print can show them."""

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from drawings import SVG, drawings, said, texts

from supervisor.report.compare_plots import Compared, comparison_plot
from supervisor.report.figures import figures_of
from supervisor.report.in_force import in_force
from supervisor.report.limit_lines import temperature_limits
from supervisor.report.marks import marks_of
from supervisor.report.plots import View, session_plot
from supervisor.report.record import Curve, Record
from supervisor.report.series import Band
from supervisor.report.trip_plot import trip_plot

PHONE_PX, MARGINS_PX = 360.0, 26.0
LEAST_TEXT_PX = 8.0
SIZE = re.compile(r"\b([\d.]+)px")
AT_S = np.arange(0.0, 440.0, 10.0)


def plot(record: Record, from_s: float = 0.0, to_s: float | None = None) -> str:
    to_s = record.timeline.ends_s if to_s is None else to_s
    view = View(record, figures_of(record), marks_of(record.events), from_s, to_s)
    return str(session_plot(view, "a session"))


def with_probes(record: Record, **limits: float) -> Record:
    """Of a heat sink that goes from 20 to 86 °C, and of cells."""
    settings: dict[str, Any] = dict(record.session.settings)
    settings["probes"] = {"sink": {"place": "heat_sink"}, "_low": {"place": "cells"}}
    settings["protection"] = dict(settings["protection"]) | {"temperature": limits}
    curves = (Curve("_low", AT_S, np.full(44, 20.0)), Curve("sink", AT_S, 20 + 0.15 * AT_S))
    session = replace(record.session, settings=settings)
    return replace(record, session=session, temperatures=curves)


def simulated(record: Record) -> Record:
    return replace(record, session=replace(record.session, is_simulated=True))


def test_a_phone_can_read_its_format(charge: Record, tripped: Record) -> None:
    (trip,) = figures_of(tripped).trips
    sessions = [Compared(one, figures_of(one)) for one in (charge, tripped)]
    plots = (plot(charge), trip_plot(tripped, trip), comparison_plot(sessions, by_end=True))
    for markup in plots:
        narrow = drawings(str(markup))["narrow"]
        width = float(str(narrow.get("viewBox")).split()[2])
        styles = [text.get("style", "") for text in narrow.iter(f"{SVG}text")]
        sizes = [float(size) for style in styles for size in SIZE.findall(style)]
        assert len(sizes) > 10
        assert min(sizes) * (PHONE_PX - MARGINS_PX) / width >= LEAST_TEXT_PX


def test_every_format_of_every_plot_says_simulated(charge: Record, tripped: Record) -> None:
    one, other = simulated(charge), simulated(tripped)
    (trip,) = figures_of(other).trips
    sessions = [Compared(record, figures_of(record)) for record in (charge, one)]
    plots = (plot(one), trip_plot(other, trip), comparison_plot(sessions, by_end=False))
    for markup in plots:
        assert all("SIMULATED" in texts(drawing) for drawing in drawings(str(markup)).values())
    assert "SIMULATED" not in said(plot(charge))


def test_front_and_far_cell_are_told_apart_in_black_and_white(charge: Record) -> None:
    """By strokes and marks, and by a panel with their difference."""
    broad = drawings(plot(charge))["broad"]
    words = texts(broad)
    assert {"front cell", "far cell", "front minus far cell", "expected by current"} <= {*words}
    assert "mV" in words
    lines = [e.get("style", "") for e in broad.iter() if "#b4682c" in e.get("style", "")]
    assert any("stroke-dasharray" in style for style in lines)


def test_without_a_far_cell_there_is_no_difference(charge: Record) -> None:
    unknown = np.full(len(charge.seconds), np.nan)
    seconds = replace(charge.seconds, far_v=Band(unknown, unknown, unknown))
    record = replace(charge, seconds=seconds, minutes=charge.minutes[:0])
    assert "front minus far cell" not in said(plot(record))


def test_the_last_minutes_are_enlarged_on_what_was_measured(charge: Record) -> None:
    """The maker's limit was forced into view and flattened them. The charge ends at 400 s with
    3.54 V; in its last minute the cells rise by 36 mV."""
    words = said(plot(charge, 345.0, 400.0))
    assert "the maker's limit 3.650 V" in words
    assert "↑" in words
    numbers = [float(text) for text in re.findall(r"\b3\.\d{2,3}\b(?! V)", words)]
    assert numbers
    assert 3.49 < min(numbers) < max(numbers) < 3.58


@pytest.mark.parametrize(
    ("limits", "expected"),
    [
        ({"heat_sink_above_celsius": 80.0}, ["heat sink trips above 80.0 °C"]),
        ({"transformer_above_celsius": 80.0}, []),
        (
            {"cells_above_celsius": 45.0, "cells_below_celsius": 5.0},
            ["cells trip above 45.0 °C", "cells trip below 5.0 °C"],
        ),
    ],
)
def test_temperatures_stand_beside_the_limits_of_their_places(
    charge: Record, limits: dict[str, float], expected: list[str]
) -> None:
    """A transformer without a probe has no curve that its limit could belong to."""
    record = with_probes(charge, **limits)
    lines = temperature_limits(record, in_force(record))
    assert [line.words for line in lines] == expected
    words = said(plot(record))
    assert all(one in words for one in expected)
    assert "sink (heat sink)" in words
    assert "low (cells)" in words


def test_two_days_of_temperatures_are_thinned(charge: Record) -> None:
    at_s = np.arange(0.0, 172_800.0, 10.0)
    long = replace(charge, temperatures=(Curve("sink", at_s, 20 + np.sin(at_s)),))
    assert len(plot(long)) < 1_500_000


def test_a_limit_changes_with_the_profile(charge: Record) -> None:
    changed = replace(charge.events[1], at_s=200.0, code="profile", data={"profile": "final_hold"})
    events = sorted((*charge.events, changed), key=lambda event: event.at_s)
    words = said(plot(replace(charge, events=tuple(events))))
    assert "overcurrent trips 12.0 A" in words
    assert "overcurrent trips 130.0 A" in words


def test_nothing_known_is_still_a_plot(charge: Record) -> None:
    record = replace(charge, seconds=charge.seconds[:0], minutes=charge.minutes[:0])
    assert "overvoltage trips 3.600 V" in said(plot(record))
