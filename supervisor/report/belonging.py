"""Which events are of a session.

The journal gives an event to the session under way. What happened beside one has none: the closing
that begins it, and after a restart the lockout that was found, its reset, another profile.
"""

from collections.abc import Iterator

from supervisor.journal.reader import EventRow, Reader, Session

BEFORE_FIRST_ROW_S = 5.0
BESIDE = {"locked_out_at_start", "reset", "profile", "trip", "opening", "opened", "ended"}


def events_of(reader: Reader, session: Session) -> list[EventRow]:
    """In the order they were written; but those that say what a build does without."""
    owners = {e.id: s.id for s in reader.sessions() for e in reader.events(s.id)}
    begins = [(row.run, row.mono_s) for row in reader.progress(session.id)]
    return list(_chosen(reader.events(), owners, begins, session))


def _chosen(
    events: list[EventRow],
    owners: dict[int, int],
    begins: list[tuple[int, float]],
    session: Session,
) -> Iterator[EventRow]:
    newest_owner: int | None = None
    for event in events:
        owner = owners.get(event.id)
        if owner is not None:
            newest_owner = owner
        if owner == session.id:
            yield event
        elif owner is not None or event.code == "without":
            continue
        elif event.code == "closed":
            if _begins_one(event, begins):
                newest_owner = session.id
                yield event
        elif event.code in BESIDE and newest_owner == session.id and not _is_later(event, session):
            yield event


def _begins_one(event: EventRow, begins: list[tuple[int, float]]) -> bool:
    return any(
        run == event.run and 0 <= mono_s - event.mono_s < BEFORE_FIRST_ROW_S
        for run, mono_s in begins
    )


def _is_later(event: EventRow, session: Session) -> bool:
    return session.ended_wall_s is not None and event.wall_s > session.ended_wall_s
