"""What a cell's reading shows: a live cell, or which fault of its sense lead.

Levels of open and shorted leads: common practice, no source.
"""

from math import inf, nextafter
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.measurement.plausible import PlausibleCell, any_current, plausible_cell
from supervisor.readings import Quality
from supervisor.settings.hardware import CellChannel

GOOD, OUT = Quality.GOOD, Quality.OUT_OF_RANGE
OPEN, SHORTED, REVERSED = Quality.LEAD_OPEN, Quality.LEAD_SHORTED, Quality.LEAD_REVERSED

PLAIN = PlausibleCell(1.0, 4.05)  # a bleed resistor to 0 V
BIASED = PlausibleCell(1.0, 4.05, open_lead_v=0.5)


def just_above(volts: float) -> float:
    return nextafter(volts, inf)


def just_below(volts: float) -> float:
    return nextafter(volts, -inf)


@pytest.mark.parametrize("cell", [PLAIN, BIASED])
@pytest.mark.parametrize(
    ("volts", "quality"),
    [
        (1.0, GOOD),
        (4.05, GOOD),
        (3.3, GOOD),
        (just_below(1.0), OUT),
        (just_above(4.05), OUT),
        (-3.3, REVERSED),
        (-1.0, REVERSED),
        (-4.05, REVERSED),
        (just_above(-1.0), OUT),
        (just_below(-4.05), OUT),
        (5.0, OUT),
        (-5.0, OUT),
    ],
)
def test_cells_alive_and_the_wrong_way_round(
    cell: PlausibleCell, volts: float, quality: Quality
) -> None:
    assert cell.quality(volts) is quality


@pytest.mark.parametrize("volts", [0.0, 0.05, -0.05, 0.003])
def test_near_zero_is_an_open_lead_on_a_plain_bleed_and_a_shorted_one_on_a_bias(
    volts: float,
) -> None:
    assert PLAIN.quality(volts) is OPEN
    assert BIASED.quality(volts) is SHORTED


@pytest.mark.parametrize("volts", [just_above(0.05), just_below(-0.05), 0.2])
def test_not_quite_zero_is_neither(volts: float) -> None:
    assert PLAIN.quality(volts) is OUT
    assert BIASED.quality(volts) is OUT


@pytest.mark.parametrize(
    ("volts", "quality"),
    [(0.5, OPEN), (0.3, OPEN), (0.7, OPEN), (0.299, OUT), (0.701, OUT), (-0.5, OUT)],
)
def test_a_bias_holds_an_open_lead_at_its_level_give_or_take_40_percent(
    volts: float, quality: Quality
) -> None:
    assert BIASED.quality(volts) is quality
    assert PLAIN.quality(volts) is OUT


def test_a_live_cell_is_one_even_where_an_open_lead_would_be() -> None:
    """Such settings are refused; but no value is ever called two things."""
    assert PlausibleCell(1.0, 4.05, open_lead_v=0.9).quality(1.1) is GOOD


def test_dead_zero_is_what_the_converter_reads_at_no_volts() -> None:
    """An offset is added to the zero of a shorted lead, too."""
    shifted = PlausibleCell(1.0, 4.05, zero_v=0.1, open_lead_v=0.5)
    assert shifted.quality(0.1) is SHORTED
    assert shifted.quality(0.151) is OUT
    assert shifted.quality(0.0) is OUT


def channel(**changes: Any) -> CellChannel:
    return CellChannel.model_validate({"converter": "cells", "inputs": "0-1"} | changes)


def test_settings_of_a_channel() -> None:
    assert plausible_cell(channel()) == PlausibleCell(1.0, 4.05, 0.0, None)
    assert plausible_cell(
        channel(plausible_volts=(0.8, 3.9), offset_volts=0.02, open_lead_volts=0.4)
    ) == PlausibleCell(0.8, 3.9, 0.02, 0.4)


@given(st.floats(-7, 7), st.none() | st.floats(0.1, 0.7))
def test_good_is_in_range_and_nothing_else(volts: float, open_lead_v: float | None) -> None:
    quality = PlausibleCell(1.0, 4.05, open_lead_v=open_lead_v).quality(volts)
    assert quality.is_good is (1.0 <= volts <= 4.05)
    assert quality in (GOOD, OUT, OPEN, SHORTED, REVERSED)


@pytest.mark.parametrize("amperes", [0.0, -1024.0, 1024.0])
def test_a_shunt_may_carry_anything(amperes: float) -> None:
    assert any_current(amperes) is GOOD
