"""The zero alone, of readings that come as they like."""

from math import isfinite

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.guidance.zero import Zero
from supervisor.settings.model import SupervisorSettings

GAPS_S = st.one_of(st.floats(0, 40), st.sampled_from([0.0, 0.1, 2.0, 29.999, 30.0, 86400.0]))


@given(readings=st.lists(st.tuples(GAPS_S, st.floats(-4, 4)), min_size=1, max_size=12))
def test_few_readings_far_apart_are_a_zero_of_which_little_is_known(
    hut_settings: SupervisorSettings, readings: list[tuple[float, float]]
) -> None:
    zero, now_s = Zero(hut_settings), 1000.0
    for gap_s, amperes in readings:
        now_s += gap_s
        zero.take(amperes, now_s)
        assert isfinite(zero.unsure_a)
        assert zero.amperes is None or abs(zero.amperes) <= 1.0


@pytest.mark.parametrize("gap_s", [10.0, 25.0, 30.0])
def test_seconds_without_a_reading_count_as_not_known(
    hut_settings: SupervisorSettings, gap_s: float
) -> None:
    """Two readings that agree say less than half a minute of them does."""
    sparse, dense = Zero(hut_settings), Zero(hut_settings)
    for k in range(2):
        sparse.take(0.3, k * gap_s)
    for k in range(301):
        dense.take(0.3, k * 0.1)
    assert sparse.amperes == pytest.approx(0.3)
    assert dense.amperes == pytest.approx(0.3)
    assert dense.unsure_a < 1e-6
    assert sparse.unsure_a > 0.3
