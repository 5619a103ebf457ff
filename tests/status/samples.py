"""Sample snapshots of a mountain hut's storage bank, one a circuit state."""

import json
import time
from dataclasses import replace
from pathlib import Path

from supervisor.snapshot import (
    ChannelView,
    Counters,
    CueView,
    EventView,
    ForecastView,
    FullView,
    GuidanceView,
    JournalView,
    LockoutView,
    Moment,
    ProbeView,
    PulsesView,
    RestView,
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
    rule("rate_of_rise", "7", 0.0342, 0.060, "V/min", 0.0031, 12.26, None),
    rule("undervoltage", "27", 3.455, 2.500, "V", 0.0061, 2.66, None),
    rule("reverse_current", "32", 118.4, -3.0, "A", 0.12, 1.76, None),
    rule("sensing", "", 0.0, 0.3, "s", None, 0.46, 3.6111),
    rule("stale", "", 0.015, 0.3, "s", None, 0.46, 3.6111),
    rule("failed_to_open", "86 BF", None, 3.0, "A", 0.12, 0.76, None),
    rule("loop_overrun", "", 0.001, 0.2, "s", None, 0.36, 3.6102),
)


def unknown(words: str) -> ForecastView:
    return ForecastView(None, None, None, words)


# The voltage has left its flat part at more than the target current, and the knob is still there.
TAPER = GuidanceView(
    stage="taper",
    stage_for_s=95.0,
    advice="The voltage has left its flat part: ease down in small turns, each a few minutes after "
    "the last, and stay beside it.",
    cues=(
        CueView("too_fast", "now", "Too fast: 0.034 V/min. Ease down.", "0.060 V/min trips"),
        CueView("ease_down", "now", "Ease down: at this setting it will trip in 2 to 5 min.", ""),
    ),
    to_limit=ForecastView(214.0, 128.0, 330.0, "at this setting the limit in 3 min (2 to 5 min)"),
    to_full=unknown("cannot tell yet; at this current 36 h to the hold at the most"),
    measured_v=3.462,
    at_rest_v=3.4509,
    resistance_ohm=94e-6,
    resistance_u_ohm=6e-6,
    charged_ah=164.6,
    charged_u_ah=0.8,
    charged_wh=563.0,
    charge_is_whole=True,
    left_ah=4315.4,
    full=FullView(
        0.0,
        1800.0,
        (
            "3.462 V is below the hold, 3.520 V",
            "118.4 A (+-0.6) is not below 8.0 A",
            "164.6 Ah charged, less than 3000.0 Ah: too little to be full",
        ),
    ),
    rest=None,
    pulses=None,
)

FULL = FullView(
    0.0, 1800.0, ("9.4 A (+-0.6) is not below 8.0 A", "far cell lags by 14 mV, more than 10 mV")
)

# Hours later: nearly no current any more.
HOLD = replace(
    TAPER,
    stage="hold",
    stage_for_s=11_340.0,
    advice="Keep the voltage in its band: the current falls by itself, the knob must come down "
    "again and again. It ends when next to nothing flows.",
    cues=(
        CueView(
            "creeps",
            "soon",
            "Voltage creeps at this setting: it will trip in 11 to 29 min. Ease down.",
            "",
        ),
        CueView(
            "far_lags",
            "note",
            "Far cell lags by 14 mV: hold on.",
            "full at 10 mV or less; the bars take their time",
        ),
        CueView(
            "small_supply",
            "note",
            "9.4 A: low enough for the small bench supply.",
            "it gives 10 A, and holds by itself",
        ),
    ),
    to_limit=ForecastView(
        1140.0, 660.0, 1740.0, "at this setting the limit in 19 min (11 to 29 min)"
    ),
    to_full=ForecastView(7500.0, 4320.0, 13_200.0, "full in 2.0 h (72 min to 3.6 h)"),
    measured_v=3.552,
    at_rest_v=3.5511,
    charged_ah=3942.6,
    charged_u_ah=21.4,
    charged_wh=13_366.0,
    left_ah=537.4,
    full=FULL,
)

# With the circuit open, before a charge.
IDLE = replace(
    TAPER,
    stage="none",
    stage_for_s=610.0,
    advice="The circuit is open.",
    cues=(),
    to_limit=unknown("the circuit is open"),
    to_full=unknown("the circuit is open"),
    measured_v=3.341,
    at_rest_v=None,
    resistance_ohm=None,
    resistance_u_ohm=None,
    charged_ah=0.0,
    charged_u_ah=0.0,
    charged_wh=0.0,
    left_ah=4480.0,
    full=None,
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
    profile="bank",
    operations=214,
    rated_operations=100_000,
    guidance=TAPER,
    silent_s=0.0,
    journal=JournalView(
        session=7, size_bytes=81_000_000, most_bytes=500_000_000, disk_free_bytes=9_000_000_000
    ),
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
        cycles=351_750,
        conversions=1_055_250,
        bus_errors=3,
        bus_no_answers=2,
        retries=3,
        worst_late_s=0.0042,
        late_cycles=(351_000, 500, 200, 50, *[0] * 8),
        late_sum_s=31.2,
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
    guidance=IDLE,
    events=CLOSED.events[:1],
)

HELD = replace(
    CLOSED,
    channels=(
        channel("front_cell", 3.552, "V"),
        channel("far_cell", 3.538, "V"),
        channel("shunt", 9.4, "A"),
    ),
    guidance=HOLD,
    rules=(
        replace(RULES[0], measured=3.552),
        replace(RULES[1], measured=3.554),
        replace(RULES[2], measured=9.4),
        replace(RULES[3], measured=0.0025),
        *RULES[4:],
    ),
)

PULSES = PulsesView(4, 50, (1530.0, 251.0, 198.4, 160.0, 131.0), "3.531 V to fall below 3.500 V")

PAUSED = replace(
    OPEN,
    circuit="paused",
    channels=(
        channel("front_cell", 3.531, "V"),
        channel("far_cell", 3.524, "V"),
        channel("shunt", 0.0, "A"),
    ),
    profile="bench_end",
    guidance=replace(
        HOLD,
        cues=(),
        to_limit=unknown("the circuit is open"),
        to_full=unknown("the circuit is open"),
        measured_v=3.531,
        at_rest_v=3.531,
        full=None,
        pulses=PULSES,
    ),
    events=(
        *CLOSED.events,
        EventView("2025-03-14T18:21:30+00:00", "paused", "Pulsed hold: 3.571 V above 3.570 V."),
    ),
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


TRIP = LockoutView(
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
    lockout=TRIP,
    not_closing_because=("Locked out by overvoltage; a reset at the box is needed.",),
    events=(
        *CLOSED.events,
        EventView("2025-03-14T18:21:40+00:00", "trip", "Overvoltage: 3.607 V above 3.600 V."),
        EventView("2025-03-14T18:21:40+00:00", "opened", "Current gone 34 ms after the coil."),
    ),
)

# The contact is welded; the supply goes on.
FAILED = replace(
    LOCKED_OUT,
    auxiliary_closed=True,
    channels=(*LOCKED_OUT.channels[:2], channel("shunt", 104.4, "A")),
    rules=tuple(
        replace(rule, state="trip", measured=104.4, reason="104.4 A flow 0.76 s after the coil")
        if rule.rule == "failed_to_open"
        else rule
        for rule in LOCKED_OUT.rules
    ),
    lockout=replace(TRIP, opened_in_s=None, failed_to_open=True),
    events=LOCKED_OUT.events[:-1],
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
    guidance=replace(IDLE, measured_v=None),
    not_closing_because=(
        "Sensing cannot tell: far cell reads 0.012 V, outside 1.0 ... 4.05 V.",
        "No commissioning record for this build.",
    ),
    uncommissioned="Bench trial on two cells; the bleed resistors come before the real charge.",
)

WATCHED = RestView("watching", 1260.0, 3600.0, 3.496, 0.004, 0.118, ())
ENDED = "held at 3.558 V with 6.1 A, below 8.0 A for 30 min"

FINISHED = replace(
    OPEN,
    circuit="finished",
    channels=(
        channel("front_cell", 3.496, "V"),
        channel("far_cell", 3.492, "V"),
        channel("shunt", 0.0, "A"),
    ),
    guidance=replace(
        HOLD,
        stage="rest",
        stage_for_s=1261.0,
        advice="Full and open: leave it alone while the rest is watched.",
        cues=(
            CueView("full", "soon", "Full: the circuit is open. Knob to zero, supply off.", ENDED),
        ),
        to_limit=unknown("the circuit is open"),
        to_full=unknown("the circuit is open"),
        measured_v=3.496,
        at_rest_v=3.496,
        charged_ah=3957.2,
        charged_wh=13_418.0,
        left_ah=522.8,
        full=None,
        rest=WATCHED,
    ),
    events=(
        *CLOSED.events,
        EventView("2025-03-14T18:01:09+00:00", "finished", f"Full: {ENDED}."),
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

HOT = "rectifier at 92.3 % of the heat that trips; it trips at this current"

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
            reason=HOT,
        ),
        *PROBED.rules[len(RULES) + 1 :],
    ),
    guidance=replace(
        TAPER,
        cues=(*TAPER.cues, CueView("heat", "soon", "Supply near its limit: turn down.", HOT)),
    ),
)

WITHOUT = replace(
    CLOSED,
    without=(
        WithoutView("temperature", "no probes on hand; the heat sink is felt every ten minutes"),
        WithoutView("session_charge", "first cells of an unknown maker, capacity unknown"),
    ),
)

UNGUIDED = replace(CLOSED, guidance=None, rated_operations=None)

BY_STATE = {s.circuit: s for s in (OPEN, CLOSED, LOCKED_OUT, UNFIT, PAUSED, FINISHED)}
ALL = BY_STATE | {
    "held": HELD,
    "probed": PROBED,
    "warned": WARNED,
    "without": WITHOUT,
    "unguided": UNGUIDED,
}


def publish(run_dir: Path, snapshot: Snapshot, age_s: float = 0.0) -> Snapshot:
    """Writes the status file as if it were published so long ago."""
    aged = replace(snapshot, published_at_s=time.monotonic() - age_s)
    write(run_dir, aged)
    return aged


def write(run_dir: Path, snapshot: Snapshot) -> None:
    """At once, as the daemon does it: whoever reads meanwhile gets the one or the other."""
    fresh = run_dir / f"{FILE_NAME}.new"
    fresh.write_text(json.dumps(snapshot.as_dict()), encoding="utf-8")
    fresh.replace(run_dir / FILE_NAME)
