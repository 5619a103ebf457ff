"""Builds that differ from the example, and are sound all the same: the whole walk passes."""

from pathlib import Path
from typing import Any

import pytest
from commissioned import told, walk
from long_tests import long_but_for

from supervisor.bench.commissioning.defects import LEVEL
from supervisor.cli.commission_bench import overridden
from supervisor.control.build_record import why_not
from supervisor.control.build_steps import needed
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import with_profile

# A divider before both cells: the converter sees half of them, on the range below.
DIVIDER = {
    f"channels.{cell}.{key}": value
    for cell in ("front_cell", "far_cell")
    for key, value in (("gain", 2.0), ("range_volts", 2.048))
}
NO_AUXILIARY = {"contactor.auxiliary": None}
SECOND_LINE = {
    "converters.guard": {"address": 0x4A, "samples_per_second": 860, "supply_volts": 5.0},
    "second_line": {
        "converter": "guard",
        "inputs": "0-1",
        "pin": 26,
        "trip_volts": 3.64,
        "release_volts": 3.40,
    },
}
FRONT_ALONE = {
    "channels.far_cell": None,
    "protection.balance": None,
    "protection.without.balance": "One lead only, for a try",
}
LONG_WINDOW = {
    "loop.window_milliseconds": 200,
    "loop.scans_per_window": 14,
    "protection.failed_to_open.within_seconds": 0.7,
    "protection.overvoltage.trip_volts": 3.59,  # an answer takes longer then
}
VARIANTS: dict[str, dict[str, Any]] = {
    "divider": DIVIDER,
    "window of 200 ms": LONG_WINDOW,
    "level drive": LEVEL,
    "no auxiliary contact": NO_AUXILIARY,
    "second line": SECOND_LINE,
    "front cell alone": FRONT_ALONE,
    "final_hold": {},
    "final_hold, level drive": LEVEL,
}
SHORT = ("no auxiliary contact", "second line", "final_hold")


def variant(settings: SupervisorSettings, name: str) -> SupervisorSettings:
    """Settings that `holdwatch check` would pass."""
    if name.startswith("final_hold"):
        settings = with_profile(settings, "final_hold").model_copy(update={"profiles": {}})
    return overridden(settings, VARIANTS[name])


@pytest.mark.parametrize("name", [long_but_for(name, SHORT) for name in VARIANTS])
def test_the_whole_walk_passes_on_a_sound_build(
    hut_settings: SupervisorSettings, tmp_path: Path, name: str
) -> None:
    settings = variant(hut_settings, name)
    one = walk(settings, tmp_path)
    assert one.go(), told(one.done)
    assert not list(why_not(one.settings, one.lines, simulated=True))
    assert {done.step for done in one.done} == {step.key for step in needed(settings)}
