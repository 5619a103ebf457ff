"""A charge whose figures are known in closed form, in a journal.

The current falls as AMPERES * exp(-t / TAU_S), and the shunt shows ZERO_A more. The front cell
rises by RISE_V_PER_S; one single value stands out.
"""

from collections.abc import Iterator
from math import exp
from pathlib import Path

from journals import WALL_S, closing, end, event, run, window, written

from supervisor.journal.reader import Reader
from supervisor.journal.records import Event, Progress, Span, Window
from supervisor.journal.records import Record as Told
from supervisor.report.record import Record, read_record
from supervisor.settings.model import SupervisorSettings

CLOSED_S, LENGTH_S, AFTER_S = 10.0, 400.0, 40.0
FINISHED_S = CLOSED_S + LENGTH_S
HOLD_S = 310.0  # when the hold begins
AMPERES, TAU_S, ZERO_A = 40.0, 200.0, 0.5
BEGIN_V, RISE_V_PER_S, LAG_V = 3.30, 0.0006, 0.001
PEAK_V, PEAK_S = 3.612, 133.4
CHARGE_AH = AMPERES * TAU_S * (1 - exp(-LENGTH_S / TAU_S)) / 3600
# Integral of I(t) * V(t): by parts, with V linear.
ENERGY_WH = (
    BEGIN_V * CHARGE_AH
    + RISE_V_PER_S
    * AMPERES
    * (TAU_S**2 - exp(-LENGTH_S / TAU_S) * TAU_S * (LENGTH_S + TAU_S))
    / 3600
)


def record_of(path: Path, number: int = 1) -> Record:
    with Reader(path) as reader:
        session = reader.session(number)
        assert session is not None
        return read_record(reader, session, lambda _text: None)


def amperes(since_s: float) -> float:
    return AMPERES * exp(-since_s / TAU_S)


def charge_window(mono_s: float) -> Window:
    since_s = mono_s - CLOSED_S - 0.05  # means: the middle of the window counts
    is_closed = 0 < since_s < LENGTH_S
    flows_a = ZERO_A + (amperes(since_s) if is_closed else 0.0)
    volts = BEGIN_V + RISE_V_PER_S * min(since_s, LENGTH_S)
    high_v = PEAK_V if mono_s == PEAK_S else volts + 0.0005
    return window(
        mono_s,
        front_v=Span(volts, volts - 0.0005, high_v),
        far_v=Span(volts - LAG_V, volts - LAG_V - 0.0005, volts - LAG_V + 0.0005),
        current_a=Span(flows_a, flows_a - 1.0, flows_a + 1.0),
    )


def progress(mono_s: float) -> Progress:
    since_s = min(max(mono_s - CLOSED_S, 0.0), LENGTH_S)
    charged_ah = AMPERES * TAU_S * (1 - exp(-since_s / TAU_S)) / 3600
    circuit = "closed" if mono_s < FINISHED_S else "finished"
    return Progress(
        mono_s, WALL_S + mono_s, circuit, "bulk", charged_ah, 0.02, 3.4 * charged_ah,
        is_whole=True, zero_a=ZERO_A, at_rest_v=None, resistance_ohm=None,
    )  # fmt: skip


def told(mono_s: float, code: str, text: str, **data: object) -> Event:
    return event(mono_s, code, **data)._replace(text=text)


def charge_records() -> Iterator[Told]:
    """Closed, taper, hold, a cue, full, passed at rest; all in one run."""
    events = [
        told(15.0, "stage", "none to bulk", stage="bulk"),
        told(HOLD_S, "stage", "bulk to hold", stage="hold"),
        told(320.0, "cue", "Ease down.", cue="ease_down", urgency="now", reason=""),
        told(FINISHED_S, "finished", "full: held at 3.540 V with 5.4 A, below 8.0 A for 2 min"),
        told(FINISHED_S + 0.2, "stage", "hold to rest", stage="rest"),
        told(FINISHED_S + 0.3, "opening", "opening confirmed in 243 ms", outcome="confirmed"),
        told(FINISHED_S + 30, "rest", "rest check passed", state="passed", front_v=3.45,
             lag_v=-0.00001, fall_v_per_h=0.02, for_s=30.0),
    ]  # fmt: skip
    yield told(CLOSED_S, "closed", "closed, asked by Anna")
    yield closing(CLOSED_S)
    last = round((FINISHED_S + AFTER_S) * 10)
    for k in range(round(CLOSED_S * 10) + 1, last + 1):
        mono_s = round(k / 10, 3)
        while events and events[0].mono_s <= mono_s:
            yield events.pop(0)
        yield charge_window(mono_s)
        if (k - 101) % 600 == 0 or mono_s == FINISHED_S:
            yield progress(mono_s)


def a_run(settings: SupervisorSettings, *, is_simulated: bool = False, mono_s: float = 0.0) -> Told:
    text = settings.model_dump_json()
    return run(mono_s, settings=text, bank=settings.bank.name, is_simulated=is_simulated)


def ended_charge(folder: Path, settings: SupervisorSettings, *, is_simulated: bool = False) -> Path:
    return written(folder, a_run(settings, is_simulated=is_simulated), *charge_records())


def charge_with_trip(folder: Path, settings: SupervisorSettings, text: str = "too high") -> Path:
    """It trips 100 s after closing, is reset, and closes no more."""
    at_s = CLOSED_S + 100.0
    before = (round(k / 10, 3) for k in range(101, round(at_s * 10) + 1))
    after = (round(at_s + k / 10, 3) for k in range(1, 300))
    trip = told(
        at_s, "trip", f"overvoltage: {text}", rule="overvoltage", measured=3.6004, limit=3.6,
        unit="V", remedy="measure both cells by hand", was_closed=True,
    )  # fmt: skip
    return written(
        folder,
        a_run(settings),
        told(CLOSED_S, "closed", "closed, asked by Anna"),
        closing(CLOSED_S),
        progress(CLOSED_S + 0.1),
        *map(charge_window, before),
        trip,
        told(at_s + 0.3, "opening", "opening confirmed in 243 ms", outcome="confirmed",
             opened_in_s=0.243),
        *(w._replace(current_a=Span(0.0, -0.1, 0.1)) for w in map(charge_window, after)),
        told(at_s + 90, "reset", "reset by Anna: cells sound", who="Anna", reason="cells sound"),
        end(at_s + 100),
    )  # fmt: skip
