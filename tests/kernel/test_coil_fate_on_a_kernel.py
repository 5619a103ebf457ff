"""How the coil fares on a real kernel when the process ends or stands: hardware/coil-fate.md.

``kept``: a line keeps its level when its process has gone, as on Raspberry Pi OS.
"""

from collections.abc import Callable
from typing import Any

import pytest

DROPOUT_S, RELEASE_S = 0.25, 0.03
LEASE_S = 0.4
MARGIN_S = 0.1  # a cycle, and the bench's own look
CAUGHT = ("SIGTERM", "SIGINT", "SIGHUP", "SIGABRT", "unhandled exception")
UNCAUGHT = ("SIGKILL", "SIGSEGV", "out of memory")
EXITS = {"SIGKILL": -9, "SIGSEGV": -11, "out of memory": -9, "unhandled exception": 1}
Facts = dict[tuple[str, ...], dict[str, Any]]


@pytest.fixture(scope="module", params=[False, True], ids=["let go", "kept"])
def kept(request: pytest.FixtureRequest) -> bool:
    return bool(request.param)


@pytest.fixture
def fates(find: Callable[..., Facts], kept: bool) -> Facts:
    return find("coil_fate", "drive", "cause", keeps_levels=kept)


@pytest.mark.xdist_group("coil fate")
@pytest.mark.parametrize("cause", [*CAUGHT, *UNCAUGHT, "SIGSTOP"])
def test_a_pulse_driver_lets_go_whatever_happens(fates: Facts, cause: str) -> None:
    fate = fates["pulse", cause]
    assert "error" not in fate, fate
    assert fate["opened_in_s"] is not None
    assert fate["opened_in_s"] <= DROPOUT_S + RELEASE_S + MARGIN_S


@pytest.mark.xdist_group("coil fate")
@pytest.mark.parametrize("cause", CAUGHT)
def test_a_level_driver_lets_go_when_the_end_can_be_caught(fates: Facts, cause: str) -> None:
    fate = fates["level", cause]
    assert "error" not in fate, fate
    assert fate["opened_in_s"] is not None
    assert fate["opened_in_s"] <= RELEASE_S + MARGIN_S
    assert not fate["pin_high"]


@pytest.mark.xdist_group("coil fate")
@pytest.mark.parametrize("cause", UNCAUGHT)
def test_a_level_driver_holds_after_a_kill_where_the_kernel_keeps_levels(
    fates: Facts, cause: str, kept: bool
) -> None:
    """Why the hardware page asks for pulse drive, and the unit file for ExecStopPost."""
    fate = fates["level", cause]
    assert "error" not in fate, fate
    assert (fate["opened_in_s"] is None) is kept
    assert fate["pin_high"] is kept


@pytest.mark.xdist_group("coil fate")
def test_a_level_driver_holds_while_the_process_is_stopped(fates: Facts) -> None:
    fate = fates["level", "SIGSTOP"]
    assert "error" not in fate, fate
    assert fate["opened_in_s"] is None
    assert fate["pin_high"]


@pytest.mark.xdist_group("coil fate")
@pytest.mark.parametrize("drive", ["level", "pulse"])
@pytest.mark.parametrize("cause", [*CAUGHT, *UNCAUGHT])
def test_the_latch_tells_the_next_start_what_happened(fates: Facts, drive: str, cause: str) -> None:
    fate = fates[drive, cause]
    assert "error" not in fate, fate
    ended_by_signal = cause in CAUGHT and cause != "unhandled exception"
    assert fate["exit"] == (0 if ended_by_signal else EXITS[cause])
    expected = "clear" if ended_by_signal else "armed" if cause in UNCAUGHT else "locked"
    assert fate["latch"] == expected
