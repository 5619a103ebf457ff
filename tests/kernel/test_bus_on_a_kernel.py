"""The daemon on /dev/i2c-N and the GPIO character device of a real kernel, with faults."""

from collections.abc import Callable
from typing import Any

import pytest

STALE_S = 0.2  # stale.trip_after_seconds
DROPOUT_S, RELEASE_S, LEASE_S = 0.25, 0.03, 0.4
MARGIN_S = 0.1
Facts = dict[tuple[str, ...], dict[str, Any]]


@pytest.fixture
def cases(find: Callable[..., Facts]) -> Facts:
    return find("bus_faults", "case", keeps_levels=True)


def of(cases: Facts, name: str) -> dict[str, Any]:
    facts = cases[name,]
    assert "error" not in facts, facts
    return facts


def test_a_charge_up_to_its_trip(cases: Facts) -> None:
    facts = of(cases, "charge to overvoltage")
    assert facts["tripped_by"] == "overvoltage"
    assert facts["latch"] == "locked"
    assert facts["circuit"] == "locked out"


@pytest.mark.parametrize("name", ["one transfer fails", "chip resets once"])
def test_what_is_over_at_once_opens_nothing(cases: Facts, name: str) -> None:
    facts = of(cases, name)
    assert facts["opened_in_s"] is None
    assert facts["circuit"] == "closed"


@pytest.mark.parametrize(
    ("name", "rule"),
    [
        ("EREMOTEIO for ever", "stale"),
        ("EIO for ever", "stale"),
        ("ETIMEDOUT for ever", "stale"),
        ("ENXIO for ever", "stale"),
        ("each transfer hangs 1 s", "stale"),
        ("current chip gone", "stale"),
        ("converter twenty times as slow", "sensing"),
        ("result frozen", "sensing"),
    ],
)
def test_what_lasts_opens_and_locks_out(cases: Facts, name: str, rule: str) -> None:
    facts = of(cases, name)
    assert facts["opened_in_s"] is not None
    assert facts["opened_in_s"] <= STALE_S + DROPOUT_S + RELEASE_S + MARGIN_S
    assert facts["still_open"]
    assert facts["tripped_by"] == rule
    assert facts["latch"] == "locked"
    assert facts["circuit"] == "locked out"


def test_a_loop_that_stands_in_the_kernel_is_ended_by_its_lease(cases: Facts) -> None:
    facts = of(cases, "a driver without a timeout")
    assert facts["opened_in_s"] is not None
    assert facts["opened_in_s"] <= LEASE_S + DROPOUT_S + RELEASE_S + MARGIN_S


def test_a_second_daemon_finds_folder_and_pins_taken(cases: Facts) -> None:
    facts = of(cases, "second instance")
    assert facts["same_exit"] == facts["other_exit"] == 69
    assert "GPIO 17 cannot be had" in facts["other_said"]
    assert "Traceback" not in facts["other_said"]
    assert facts["still_closed"]


def test_a_bus_that_is_not_there_is_told_at_once(cases: Facts) -> None:
    facts = of(cases, "no such bus")
    assert facts["exit"] == 69
    assert "there is no /dev/i2c-7" in facts["said"]


def test_without_a_chip_it_runs_unfit_and_refuses_to_close(cases: Facts) -> None:
    facts = of(cases, "chip absent at start")
    assert facts["exit"] is None
    assert not facts["refused"]["done"]
    assert facts["refused"]["circuit"] == "unfit"


def test_where_it_was_started_need_not_be_writable(cases: Facts) -> None:
    assert of(cases, "read-only working folder")["closed"]
