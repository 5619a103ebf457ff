"""The units under systemd: who may what, how a start fails, what the sandbox denies."""

from collections.abc import Callable
from typing import Any

import pytest

from supervisor.cli.common import EXIT_HARDWARE, EXIT_SETTINGS

DROPOUT_S, RELEASE_S, MARGIN_S = 0.25, 0.03, 0.1
SCHED_RR = 2
READ_ONLY, NOT_PERMITTED, NO_ACCESS = "OSError 30", "PermissionError 1", "PermissionError 13"
pytestmark = pytest.mark.long
Facts = dict[tuple[str, ...], dict[str, Any]]
Case = Callable[[str], dict[str, Any]]


@pytest.fixture
def case(find: Callable[..., Facts]) -> Case:
    def facts(name: str) -> dict[str, Any]:
        found = find("systemd_units", "case", systemd=True)[name,]
        assert "error" not in found, found
        return found

    return facts


def test_two_circuits_are_ready_when_they_are(case: Case) -> None:
    told = case("two start")
    for name in ("hut", "barn"):
        assert told[name]["early"] != "active"
        assert told[name]["circuit"] in ("unfit", "open")  # unfit: the self-check is under way
        assert {"status.json", "requests.sock", "open.sock"} <= set(told[name]["files"])
        assert told[name]["mode"] == "0o660"


def test_the_group_closes_and_everybody_opens(case: Case) -> None:
    told = case("who may ask")
    assert told["member_closes"]
    assert told["closed"]
    assert told["page_asks"] == told["stranger_asks"] == NO_ACCESS
    assert told["stranger_opens"]
    assert told["opened"]


def test_the_daemon_comes_before_everything_else(case: Case) -> None:
    told = case("sandbox")
    assert (told["policy"], told["priority"]) == (SCHED_RR, 20)
    assert told["score"] == -900
    assert told["locked_kb"] > 0


def test_the_daemon_has_its_bus_its_pins_and_its_folders_only(case: Case) -> None:
    told = case("sandbox")
    assert told["user"]
    assert int(told["capabilities"], 16) == 0
    assert (told["no_new"], told["filter"]) == ("1", "2")
    assert set(told["opens"].values()) == {"opened"}
    assert set(told["without"].values()) == {"opened"}
    assert set(told["denied"].values()) == {NOT_PERMITTED}
    assert set(told["writes"].values()) == {"wrote"}
    assert set(told["read_only"].values()) == {READ_ONLY}
    assert set(told["not_its_own"].values()) <= {READ_ONLY, NO_ACCESS}
    assert told["home"] == []
    assert told["network"]


def test_one_of_two_killed_leaves_the_other_closed(case: Case) -> None:
    told = case("one of two killed")
    assert told["opened_in_s"] is not None
    assert told["opened_in_s"] <= DROPOUT_S + RELEASE_S + MARGIN_S
    assert told["barn"] == "locked out"
    assert told["hut"] == "closed", told["hut_said"]
    assert told["hut_closed"]


@pytest.mark.parametrize(
    ("name", "code", "again", "words"),
    [
        ("broken", EXIT_SETTINGS, False, ("protection.overvoltage.trip_volts", "Do: ")),
        ("elsewhere", EXIT_HARDWARE, True, ("there is no /dev/i2c-7", "what to do: ")),
        ("same-pin", EXIT_HARDWARE, True, ("GPIO 17 cannot be had", "what to do: ")),
    ],
)
def test_a_start_that_fails_says_why_and_is_tried_again_where_that_may_help(
    case: Case, name: str, code: int, again: bool, words: tuple[str, ...]
) -> None:
    told = case("starts that fail")[name]
    assert told["exit"] == code
    assert told["tried_again"] is again
    for word in words:
        assert word in told["said"]
    assert "Traceback" not in told["said"]


def test_and_leaves_the_coil_of_another_alone(case: Case) -> None:
    told = case("starts that fail")
    assert told["coil_high"], told["hut_said"]


def test_the_page_shows_and_cannot_write(case: Case) -> None:
    told = case("page")
    assert '"circuit"' in told["answer"]
    assert told["writes"].pop("/tmp") == "wrote"  # one of its own, and nothing else
    assert set(told["writes"].values()) <= {READ_ONLY, NO_ACCESS}
    assert told["devices"] != "opened"


def test_messages_are_at_work(case: Case) -> None:
    told = case("messages")
    assert (told["ActiveState"], told["NRestarts"]) == ("active", "0"), told["said"]


def test_a_trip_outlives_the_restart(case: Case) -> None:
    told = case("trip and restart")
    assert told["opened"]
    assert told["latch"] == "locked"
    assert told["after"] == "locked out"
    assert not told["close"]["done"]
    assert not told["closed"]


def test_commissioning_kills_a_unit_and_its_level_does_not_stay(case: Case) -> None:
    told = case("commissioning")
    assert told["steps"]["drive"]["passed"], told
    assert told["steps"]["kill"]["passed"], told
    assert not any("systemd is not here" in line for line in told["told"])
    assert not told["closed_after"]
