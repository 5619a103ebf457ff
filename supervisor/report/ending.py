"""How the newest closing ended, or that it is under way: in one place, for all who tell of it."""

from supervisor.journal.codes import CLOSES, FOUND_AT_START, OPENS
from supervisor.report.record import Event, Record

UNDER_WAY = CLOSES | {"paused"}
ENDS = OPENS | {FOUND_AT_START}
FAILED_TO_OPEN = "failed_to_open"


def last_turn(record: Record) -> Event | None:
    """The newest closing or how it ended; what happens to an open circuit ends nothing."""
    last: Event | None = None
    for event in record.events:
        is_under_way = last is None or last.code in UNDER_WAY
        if (
            event.code in CLOSES
            or has_failed_to_open(event)
            or (event.code in ENDS and is_under_way)
        ):
            last = event
    return last


def has_failed_to_open(event: Event) -> bool:
    return event.code == "trip" and event.data.get("rule") == FAILED_TO_OPEN


def is_under_way(record: Record) -> bool:
    """Closed, or between two pulses, when it was read. That its run was killed since only the next
    start finds out."""
    last = last_turn(record)
    return (
        last is not None
        and last.code in UNDER_WAY
        and record.session.ended_wall_s is None
        and last.run == record.timeline.stretches[-1].run
    )


def is_full(record: Record) -> bool:
    last = last_turn(record)
    return last is not None and last.code == "finished"
