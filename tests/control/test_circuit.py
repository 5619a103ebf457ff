"""The states of the circuit: the table is the whole truth."""

import itertools

import pytest

from supervisor.control.circuit import TRANSITIONS, Cause, NotAllowed, after, drawing
from supervisor.snapshot import Circuit


def test_closed_is_reached_by_a_request_or_between_two_pulses_and_in_no_other_way() -> None:
    ways = {key for key, to in TRANSITIONS.items() if to is Circuit.CLOSED}
    assert ways == {(Circuit.OPEN, Cause.CLOSE), (Circuit.PAUSED, Cause.RESUME)}


def test_between_two_pulses_is_reached_from_closed_alone() -> None:
    ways = {key for key, to in TRANSITIONS.items() if to is Circuit.PAUSED}
    assert ways == {(Circuit.CLOSED, Cause.PAUSE)}


def test_a_lockout_is_left_by_a_reset_only_and_not_into_closed() -> None:
    ways = {
        cause: to
        for (state, cause), to in TRANSITIONS.items()
        if state is Circuit.LOCKED_OUT and to is not Circuit.LOCKED_OUT
    }
    assert ways == {Cause.RESET: Circuit.OPEN}


def test_open_and_trip_are_possible_in_every_state_and_never_close() -> None:
    for state, cause in itertools.product(Circuit, (Cause.OPEN, Cause.TRIP)):
        assert after(state, cause) is not Circuit.CLOSED


def test_what_is_not_in_the_table_is_refused_in_words() -> None:
    with pytest.raises(NotAllowed, match="close is not possible while locked out"):
        after(Circuit.LOCKED_OUT, Cause.CLOSE)


def test_the_drawing_has_a_row_for_every_way() -> None:
    assert len(drawing().splitlines()) == len(TRANSITIONS) + 2
