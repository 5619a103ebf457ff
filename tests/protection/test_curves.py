"""Inverse-time curves: published values, an independent library, and their shape."""

import warnings
from math import inf, isnan, nan, nextafter
from typing import get_args

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pandapower.protection.example_grids import idmt_relay_net
from pandapower.protection.protection_devices.ocrelay import OCRelay

from supervisor.protection.curves import CURVES
from supervisor.settings.rules import OvercurrentInverse

# IEC 60255-151 and IEEE C37.112, time multiplier 1: seconds at 2, 5 and 10 times the pick-up.
OPERATES_S = {
    "iec_standard_inverse": (10.0290, 4.2797, 2.9706),
    "iec_very_inverse": (13.5, 3.375, 1.5),
    "iec_extremely_inverse": (26.6667, 3.3333, 0.8081),
    "iec_long_time_inverse": (120, 30, 13.3333),
    "ieee_moderately_inverse": (3.8033, 1.6883, 1.2068),
    "ieee_very_inverse": (7.0277, 1.3081, 0.6891),
    "ieee_extremely_inverse": (9.5217, 1.2967, 0.4066),
}
# IEEE C37.112, seconds from the brink of a trip back to rest, without current.
RESETS_S = {
    "ieee_moderately_inverse": 4.85,
    "ieee_very_inverse": 21.6,
    "ieee_extremely_inverse": 29.1,
}
PANDAPOWER_NAMES = {
    "iec_standard_inverse": "standard_inverse",
    "iec_very_inverse": "very_inverse",
    "iec_extremely_inverse": "extremely_inverse",
    "iec_long_time_inverse": "long_inverse",
}
every_curve = pytest.mark.parametrize("name", CURVES)


def test_the_settings_offer_just_these_curves() -> None:
    assert get_args(OvercurrentInverse.model_fields["curve"].annotation) == tuple(CURVES)
    assert set(OPERATES_S) == set(CURVES)


@pytest.mark.parametrize(
    ("name", "multiple", "seconds"),
    [
        (name, multiple, seconds)
        for name, times in OPERATES_S.items()
        for multiple, seconds in zip((2, 5, 10), times, strict=True)
    ],
)
def test_published_times(name: str, multiple: float, seconds: float) -> None:
    assert CURVES[name].operate_s(multiple) == pytest.approx(seconds, abs=0.001)


def pandapower_times_s(curve: str, multiples: tuple[float, ...]) -> list[float]:
    """From its relay on its own example grid, pick-up 1 kA, told the current of the switch."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", module=r"pandapower\.")  # its own, of what it calls
        net = idmt_relay_net()
        relay = OCRelay(
            net,
            switch_index=0,
            oc_relay_type="IDMT",
            time_settings=[1.0, 0.0],
            pickup_current_manual=pd.DataFrame({"switch_id": [0], "I_s": [1.0]}),
            curve_type=curve,
        )
    times_s = []
    for multiple in multiples:
        net.res_switch = pd.DataFrame({"i_ka": [multiple]})
        times_s.append(float(relay.protection_function(net, "pp")["trip_melt_time_s"]))
    return times_s


@pytest.mark.parametrize(("name", "library_name"), PANDAPOWER_NAMES.items())
def test_pandapower_agrees(name: str, library_name: str) -> None:
    multiples = (1.05, 1.5, 2.0, 7.3, 20.0)
    ours = [CURVES[name].operate_s(multiple) for multiple in multiples]
    assert ours == pytest.approx(pandapower_times_s(library_name, multiples), rel=1e-12)


@every_curve
def test_never_up_to_the_pickup_and_some_time_just_past_it(name: str) -> None:
    curve = CURVES[name]
    assert [curve.operate_s(m) for m in (0, 0.5, 1)] == [inf] * 3
    assert 1e10 < curve.operate_s(nextafter(1, 2)) < inf


@every_curve
@given(multiples=st.lists(st.floats(0, 1000), min_size=2, max_size=2).map(sorted))
def test_more_current_never_operates_later(name: str, multiples: list[float]) -> None:
    less, more = (CURVES[name].operate_s(multiple) for multiple in multiples)
    assert 0 < more <= less


@pytest.mark.parametrize(("name", "seconds"), RESETS_S.items())
def test_published_resets(name: str, seconds: float) -> None:
    """t_r / (1 - M^2): at half the pick-up 4/3 of it, from the pick-up on never."""
    curve = CURVES[name]
    assert curve.reset_s(0) == seconds
    assert curve.reset_s(0.5) == pytest.approx(seconds * 4 / 3)
    assert curve.reset_s(0.9) == pytest.approx(seconds / 0.19)
    assert [curve.reset_s(m) for m in (1, 1.5)] == [inf, inf]


@pytest.mark.parametrize("name", PANDAPOWER_NAMES)
def test_iec_curves_have_no_disk(name: str) -> None:
    assert [CURVES[name].reset_s(m) for m in (0, 0.5, 1, 2)] == [None] * 4


@every_curve
def test_no_number_gives_no_time(name: str) -> None:
    """Not "never": who compares it finds that it is none."""
    assert isnan(CURVES[name].operate_s(nan))
    reset_s = CURVES[name].reset_s(nan)
    assert reset_s is None or isnan(reset_s)
