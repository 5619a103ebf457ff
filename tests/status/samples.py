"""Sample snapshots of a mountain hut's storage bank, one a circuit state."""

import json
import time
from dataclasses import replace
from pathlib import Path

from supervisor.snapshot import (
    ChannelView,
    Counters,
    EventView,
    LockoutView,
    Moment,
    ProbeView,
    RuleView,
    Snapshot,
    WithoutView,
)
from supervisor.status.status_file import FILE_NAME


def channel(name: str, value: float | None, unit: str, quality: str = "good") -> ChannelView:
    uncertainty = 0.008 if unit == "V" else 0.6
    return ChannelView(name, value, unit, quality, uncertainty, 0.05, value, value)


def probe(name: str, place: str, celsius: float | None, quality: str = "good") -> ProbeView:
    return ProbeView(name, place, celsius, quality, 0.8)


def rule(
    name: str,
    function: str,
    measured: float | None,
    limit: float,
    unit: str,
    *promise: float | None,
) -> RuleView:
    """A clear rule; ``promise`` is its guard band, response in s and highest cell voltage."""
    reason = "within its limit"
    said = promise or (None, None, None)
    return RuleView(name, function, "clear", measured, limit, unit, None, None, reason, *said)


# The clear rules of a bank in charge.
RULES = (
    rule("overvoltage", "59", 3.462, 3.600, "V", 0.0082, 1.66, 3.6165),
    rule("overvoltage_high_set", "59", 3.464, 3.640, "V", 0.0083, 0.16, 3.6491),
    rule("overcurrent", "76", 118.4, 133.0, "A", 0.72, 3.76, None),
    rule("rate_of_rise", "7", 0.0042, 0.060, "V/min", 0.0031, 12.26, None),
    rule("undervoltage", "27", 3.455, 2.500, "V", 0.0061, 2.66, None),
    rule("reverse_current", "32", 118.4, -3.0, "A", 0.12, 1.76, None),
    rule("sensing", "", 0.0, 0.3, "s", None, 0.46, 3.6111),
    rule("stale", "", 0.015, 0.3, "s", None, 0.46, 3.6111),
    rule("failed_to_open", "86 BF", None, 3.0, "A", 0.12, 0.76, None),
    rule("loop_overrun", "", 0.001, 0.2, "s", None, 0.36, 3.6102),
)

CLOSED = Snapshot(
    bank="Mountain hut storage bank",
    version="0.1.0",
    simulated=False,
    circuit="closed",
    coil_on=True,
    auxiliary_closed=True,
    lease_left_s=0.39,
    now_s=5025.0,
    published_at_s=0.0,
    wall="2025-03-14T18:22:09+00:00",
    started_wall="2025-03-14T16:58:24+00:00",
    never_above_v=3.65,
    channels=(
        channel("front_cell", 3.462, "V"),
        channel("far_cell", 3.455, "V"),
        channel("shunt", 118.4, "A"),
    ),
    probes=(),
    rules=RULES,
    without=(),
    lockout=None,
    not_closing_because=(),
    uncommissioned=None,
    events=(
        EventView("2025-03-14T16:58:24+00:00", "started", "Supervisor started, circuit open."),
        EventView("2025-03-14T17:02:51+00:00", "closed", "Closed by the operator at the box."),
    ),
    counters=Counters(
        cycles=351_750, conversions=1_055_250, bus_errors=3, retries=3, worst_late_s=0.0042
    ),
)

OPEN = replace(
    CLOSED,
    circuit="open",
    coil_on=False,
    auxiliary_closed=False,
    lease_left_s=0.0,
    channels=(
        channel("front_cell", 3.341, "V"),
        channel("far_cell", 3.340, "V"),
        channel("shunt", 0.0, "A"),
    ),
    events=CLOSED.events[:1],
)


def _before_the_trip() -> tuple[Moment, ...]:
    """A minute of a front cell that runs away: 3.560 V, then past 3.600 V in the last 1.4 s."""
    times_s = [float(s) for s in range(60, 3, -1)] + [s / 10 for s in range(30, -1, -1)]
    return tuple(
        Moment(
            before_s=s,
            front_cell=round(3.6074 - 0.0053 * min(s, 6) - 0.0003 * max(0.0, s - 6), 4),
            far_cell=round(3.5851 - 0.0041 * min(s, 6) - 0.0003 * max(0.0, s - 6), 4),
            shunt=round(104.6 + 0.2 * min(s, 40), 2),
        )
        for s in times_s
    )


LOCKED_OUT = replace(
    OPEN,
    circuit="locked out",
    channels=(
        channel("front_cell", 3.587, "V"),
        channel("far_cell", 3.571, "V"),
        channel("shunt", 0.1, "A"),
    ),
    rules=(replace(RULES[0], measured=3.587), *RULES[1:]),
    lockout=LockoutView(
        tripped_by="overvoltage",
        reason="Front cell stayed above its limit for 1.0 s in 4 of 4 windows.",
        remedy=(
            "Turn the knob fully down. Measure the front cell with a meter of your own; it must "
            "read below 3.50 V and agree with this page within 20 mV."
        ),
        measured=3.6074,
        limit=3.6,
        unit="V",
        wall="2025-03-14T18:21:40+00:00",
        opened_in_s=0.034,
        failed_to_open=False,
        stored=True,
        before=_before_the_trip(),
    ),
    not_closing_because=("Locked out by overvoltage; a reset at the box is needed.",),
    events=(
        *CLOSED.events,
        EventView("2025-03-14T18:21:40+00:00", "trip", "Overvoltage: 3.607 V above 3.600 V."),
        EventView("2025-03-14T18:21:40+00:00", "opened", "Current gone 34 ms after the coil."),
    ),
)

UNFIT = replace(
    OPEN,
    circuit="unfit",
    channels=(
        channel("front_cell", 3.341, "V"),
        channel("far_cell", None, "V", "out of range"),
        channel("shunt", 0.0, "A"),
    ),
    rules=(
        *RULES[:6],
        replace(
            RULES[6],
            state="cannot tell",
            measured=None,
            for_s=41.2,
            reason="far cell reads 0.012 V: no live cell does; sense lead open?",
        ),
        *RULES[7:],
    ),
    not_closing_because=(
        "Sensing cannot tell: far cell reads 0.012 V, outside 1.0 ... 4.05 V.",
        "No commissioning record for this build.",
    ),
    uncommissioned="Bench trial on two cells; the bleed resistors come before the real charge.",
)

FINISHED = replace(
    OPEN,
    circuit="finished",
    events=(
        *CLOSED.events,
        EventView("2025-03-14T18:22:00+00:00", "finished", "Current below 14 A for 30 min."),
    ),
)

SIMULATED = replace(CLOSED, simulated=True)

PROBED = replace(
    CLOSED,
    probes=(
        probe("rectifier", "heat_sink", 61.4),
        probe("core", "transformer", 58.0),
        probe("cell_16", "cells", None, "no answer"),
    ),
    rules=(
        *RULES,
        rule("supply_thermal", "49", 71.2, 100.0, "%", None, 0.46, None),
        rule("temperature", "26", 61.4, 85.0, "°C", 2.0, 6.5, None),
        rule("knob_speed", "7", 0.4, 15.0, "A/s", 1.1, 2.26, None),
        rule("balance", "60", -0.012, 0.15, "V", 0.0116, 5.66, None),
        replace(rule("session_time", "", 1.39, 120.0, "h"), left_s=426_996.0),
        rule("session_charge", "", 164.6, 8960.0, "Ah"),
    ),
)

# Hot and getting hotter: 12 minutes and some seconds are left.
WARNED = replace(
    PROBED,
    rules=(
        *RULES,
        replace(
            PROBED.rules[len(RULES)],
            state="timing",
            measured=92.3,
            for_s=431.0,
            left_s=779.0,
            reason="rectifier at 92.3 % of the heat that trips; it trips at this current",
        ),
        *PROBED.rules[len(RULES) + 1 :],
    ),
)

WITHOUT = replace(
    CLOSED,
    without=(
        WithoutView("temperature", "no probes on hand; the heat sink is felt every ten minutes"),
        WithoutView("session_charge", "first cells of an unknown maker, capacity unknown"),
    ),
)

BY_STATE = {s.circuit: s for s in (OPEN, CLOSED, LOCKED_OUT, UNFIT, FINISHED)}
ALL = BY_STATE | {"probed": PROBED, "warned": WARNED, "without": WITHOUT}


def publish(run_dir: Path, snapshot: Snapshot, age_s: float = 0.0) -> Snapshot:
    """Writes the status file as if it were published so long ago."""
    aged = replace(snapshot, published_at_s=time.monotonic() - age_s)
    (run_dir / FILE_NAME).write_text(json.dumps(aged.as_dict()), encoding="utf-8")
    return aged
