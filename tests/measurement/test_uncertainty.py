"""Published check values: ADS1115 data-sheet limits (gain +-0.15 %, match 0.1 %, offset 3 LSB,
INL 1 LSB, drift 40 ppm/K; +-0.256 V: 7 ppm/K), limits/sqrt3, 1 LSB/sqrt12, 20 K; GUM (JCGM 100),
k = 2; guard band ILAC-G8."""

from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.measurement.uncertainty import (
    acceptance_limit,
    cell_budget,
    cell_uncertainty_v,
    current_budget,
    current_uncertainty_a,
)
from supervisor.settings.hardware import CellChannel, ShuntChannel


def cell(**changes: object) -> CellChannel:
    return CellChannel.model_validate({"converter": "adc", "inputs": "0", **changes})


def shunt(**changes: object) -> ShuntChannel:
    plain = {"converter": "adc", "inputs": "2-3", "rated_amperes": 200.0, "rated_millivolts": 50.0}
    return ShuntChannel.model_validate({**plain, **changes})


@pytest.mark.parametrize(
    ("calibrated_percent", "standard_mv", "expanded_mv", "accept_v"),
    [(None, 4.1059, 8.2117, 3.59179), (0.02, 1.7294, 3.4589, 3.59654)],
)
def test_cell_at_3v6(
    calibrated_percent: float | None, standard_mv: float, expanded_mv: float, accept_v: float
) -> None:
    channel = cell(gain_uncertainty_percent=calibrated_percent)
    assert cell_budget(channel).standard(3.6) * 1000 == pytest.approx(standard_mv, abs=6e-5)
    expanded_v = cell_uncertainty_v(channel, 3.6)
    assert expanded_v * 1000 == pytest.approx(expanded_mv, abs=6e-5)
    assert acceptance_limit(3.6, expanded_v) == pytest.approx(accept_v, abs=6e-6)


@pytest.mark.parametrize(
    ("at_a", "u_a", "expanded_a"), [(200, 0.36092, 0.72184), (0, 0.05776, 0.11553)]
)
def test_current_on_a_50_mv_shunt(at_a: float, u_a: float, expanded_a: float) -> None:
    assert current_budget(shunt()).standard(at_a) == pytest.approx(u_a, abs=6e-6)
    assert current_uncertainty_a(shunt(), at_a) == pytest.approx(expanded_a, abs=6e-6)
    assert current_uncertainty_a(shunt(), -at_a) == pytest.approx(expanded_a, abs=6e-6)


def test_guard_band_of_u_accepts_by_mistake_in_at_most_2_275_percent() -> None:
    budget = cell_budget(cell())
    limit_v = 3.6
    accept_v = acceptance_limit(limit_v, budget.expanded(limit_v))
    readings_of_a_cell_on_the_limit = NormalDist(limit_v, budget.standard(limit_v))
    assert readings_of_a_cell_on_the_limit.cdf(accept_v) == pytest.approx(0.02275, abs=1e-5)


def test_a_divider_scales_the_steps_and_not_the_relative_terms() -> None:
    direct, divided = cell(range_volts=4.096), cell(range_volts=2.048, gain=2.0)
    assert cell_uncertainty_v(divided, 3.6) == pytest.approx(cell_uncertainty_v(direct, 3.6))
    assert cell_uncertainty_v(cell(gain=2.0), 0.0) == pytest.approx(
        2 * cell_uncertainty_v(cell(), 0.0)
    )


@given(st.floats(-500, 500), st.floats(0.01, 5), st.sampled_from([0.256, 0.512, 6.144]))
def test_short_form_equals_the_listed_contributions(
    at_a: float, accuracy_percent: float, range_volts: float
) -> None:
    budget = current_budget(shunt(shunt_accuracy_percent=accuracy_percent, range_volts=range_volts))
    listed = sum(c.standard(at_a) ** 2 for c in budget.contributions) ** 0.5
    assert budget.standard(at_a) == pytest.approx(listed, rel=1e-12)
