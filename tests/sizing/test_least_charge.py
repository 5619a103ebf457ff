"""A charge that no session can reach, for its limit or a night: it never counts as full."""

import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.fitness import with_value
from supervisor.sizing.least_charge import LONGEST_DAY_H, LONGEST_NIGHT_H, least_charge_cautions

PROPOSED = re.compile(r"(session\.\w+|charge\.full\.least_percent): (\d+)")
LIMIT = "protection.session_charge.trip_ampere_hours"
NEW_AFTER, LEAST = "session.new_after_open_hours", "charge.full.least_percent"


def test_the_example_goes_on_over_the_nights(hut_settings: SupervisorSettings) -> None:
    assert list(least_charge_cautions(hut_settings)) == []


def test_it_says_how_long_and_what_to_do(hut_settings: SupervisorSettings) -> None:
    """30 % of 8960 Ah at 100 A: 26.88 h, and 10 h are 11 %."""
    (told,) = least_charge_cautions(with_value(hut_settings, NEW_AFTER, 6.0))
    assert told == (
        "charge.full.least_percent: 30 % are 2688 Ah, which takes 26.9 h at 100 A, and a night "
        "with the circuit open for 6 h (session.new_after_open_hours) begins a new session. "
        "Charged by day only, the bank never counts as full: a hold that nobody stands beside does "
        "not end. Write session.new_after_open_hours: 16, or charge.full.least_percent: 11 at "
        "most; or charge without such a night."
    )


@pytest.mark.parametrize(
    ("new_after_h", "percent", "is_told"),
    [
        (LONGEST_NIGHT_H, 30.0, True),
        (LONGEST_NIGHT_H + 0.1, 30.0, False),
        (6.0, 100 * LONGEST_DAY_H * 100 / 8960, False),
        (6.0, 100 * LONGEST_DAY_H * 100 / 8960 + 0.01, True),
        (6.0, 0.0, False),
    ],
)
def test_only_what_takes_longer_than_a_day_and_does_not_outlast_a_night(
    hut_settings: SupervisorSettings, new_after_h: float, percent: float, is_told: bool
) -> None:
    made = with_value(with_value(hut_settings, NEW_AFTER, new_after_h), LEAST, percent)
    assert bool(list(least_charge_cautions(made))) is is_told


@pytest.mark.parametrize("changes", [{"charge": None}, {"full": None}])
def test_without_an_end_there_is_nothing_to_miss(
    hut_settings: SupervisorSettings, changes: dict[str, None]
) -> None:
    short = with_value(hut_settings, NEW_AFTER, 6.0)
    if "full" in changes:
        assert short.charge is not None
        changes = {"charge": short.charge.model_copy(update=changes)}  # type: ignore[dict-item]
    assert list(least_charge_cautions(short.model_copy(update=changes))) == []


@pytest.mark.parametrize(
    ("trips_at_ah", "most"), [(2688.0, 29), (2687.9, 29), (1.5, 0), (896.0, 9), (2688.1, None)]
)
def test_a_limit_that_comes_first(
    hut_settings: SupervisorSettings, trips_at_ah: float, most: int | None
) -> None:
    told = list(least_charge_cautions(with_value(hut_settings, LIMIT, trips_at_ah)))
    assert len(told) == (most is not None)
    for which in told:
        assert f"30 % are 2688 Ah, and session_charge trips at {trips_at_ah:g} Ah" in which
        assert which.endswith(f"Write {LEAST}: {most} at most.")


def kind(caution: str) -> bool:
    return "session_charge" in caution


@given(
    cells=st.integers(1, 200),
    target_a=st.floats(1, 300),
    percent=st.floats(0, 100),
    new_after_h=st.floats(1, 30),
    trips_at_ah=st.floats(1, 60_000),
)
def test_each_value_that_it_proposes_is_enough(
    hut_settings: SupervisorSettings,
    cells: int,
    target_a: float,
    percent: float,
    new_after_h: float,
    trips_at_ah: float,
) -> None:
    made = with_value(hut_settings, "bank.cells_in_parallel", cells)
    made = with_value(made, "charge.target_amperes", target_a)
    made = with_value(with_value(made, LEAST, percent), NEW_AFTER, new_after_h)
    made = with_value(made, LIMIT, trips_at_ah)
    told = list(least_charge_cautions(made))
    assume(told)
    for which in told:
        proposed = PROPOSED.findall(which.partition("Write ")[2])
        assert LEAST in dict(proposed)
        for path, value in proposed:
            again = least_charge_cautions(with_value(made, path, float(value)))
            assert kind(which) not in map(kind, again), which
