"""Cycles of readings to feed a rule with: everything is well unless said otherwise."""

from collections.abc import Iterable
from typing import Any, Literal

from supervisor.protection.verdict import Rule, State, Verdict
from supervisor.readings import Channel, ContactorState, Pace, Quality, Reading, Readings
from supervisor.settings.model import SupervisorSettings

Value = float | Quality

FRONT, FAR, SHUNT = Channel.FRONT_CELL, Channel.FAR_CELL, Channel.SHUNT
GOOD = Quality.GOOD
CLEAR, TIMING, TRIP, CANNOT_TELL = State.CLEAR, State.TIMING, State.TRIP, State.CANNOT_TELL

CYCLE_S = 0.1 / 7
WINDOW_S = 0.1
CLOSED = ContactorState(told_to_close=True, told_at_s=-1000.0, auxiliary_closed=True)


def told_open(at_s: float, auxiliary_closed: bool | None = False) -> ContactorState:
    return ContactorState(False, at_s, auxiliary_closed)


def told_closed(at_s: float) -> ContactorState:
    return ContactorState(True, at_s, True)


def reading(channel: Channel, what: Value, at_s: float) -> Reading:
    if isinstance(what, Quality):
        return Reading(channel, None, what, 0.0, at_s)
    return Reading(channel, what, GOOD, 0.001, at_s, what, what)


def cycle(
    at_s: float,
    *,
    front: Value = 3.40,
    far: Value | None = 3.40,
    amperes: Value = 50.0,
    means: dict[Channel, Reading] | Literal["as scanned", "none yet"] = "as scanned",
    new: bool = True,
    contactor: ContactorState = CLOSED,
    late_s: float = 0.0,
    misses: int = 0,
) -> Readings:
    """A cycle at a time; its means are those of its scan unless given."""
    values = {FRONT: front, FAR: far, SHUNT: amperes}
    scan = {c: reading(c, v, at_s) for c, v in values.items() if v is not None}
    window = None if means == "none yet" else averaged(scan) if means == "as scanned" else means
    return Readings(scan, window, new, contactor, Pace(late_s, misses))


def averaged(scan: dict[Channel, Reading]) -> dict[Channel, Reading]:
    """Means like the scan's readings; a bad one has too few."""
    return {
        channel: single if single.quality is GOOD
        else reading(channel, Quality.TOO_FEW, single.taken_at_s)
        for channel, single in scan.items()
    }  # fmt: skip


def feed(rule: Rule, steps: Iterable[tuple[float, dict[str, Any]]]) -> list[Verdict]:
    """The rule's verdict in each of these cycles."""
    return [rule.judge(cycle(at_s, **what), at_s) for at_s, what in steps]


def states(verdicts: Iterable[Verdict]) -> list[State]:
    return [verdict.state for verdict in verdicts]


def windows(
    what: str, values: Iterable[Value | None], step_s: float = 0.125
) -> list[tuple[float, dict[str, Any]]]:
    """One cycle a window, of one quantity; the step is exact in binary."""
    return [(k * step_s, {what: value}) for k, value in enumerate(values)]


def with_rule(settings: SupervisorSettings, rule: str, **changes: Any) -> SupervisorSettings:
    """The settings with one rule's block changed."""
    block = getattr(settings.protection, rule).model_copy(update=changes)
    protection = settings.protection.model_copy(update={rule: block})
    return settings.model_copy(update={"protection": protection})


def without_far_cell(settings: SupervisorSettings) -> SupervisorSettings:
    channels = settings.channels.model_copy(update={"far_cell": None})
    return settings.model_copy(update={"channels": channels})
