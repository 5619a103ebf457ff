"""What the guide said to the operator, each cue from its first words to its last."""

from collections.abc import Iterable
from typing import NamedTuple

from supervisor.report.record import Event


class CueTold(NamedTuple):
    """``last_words``: as it was when it ended; empty where they were the same, or it was renewed
    before, or its end is not in the record."""

    event: Event
    last_words: str


def cues_told(events: Iterable[Event]) -> list[CueTold]:
    """In the order of time. A cue's end belongs to the newest one of its name and run."""
    told: list[CueTold] = []
    open_at: dict[tuple[int, str], int] = {}
    for event in events:
        name = (event.run, str(event.data.get("cue", "?")))
        if event.code == "cue":
            open_at[name] = len(told)
            told.append(CueTold(event, ""))
        elif event.code == "cue_ended" and (place := open_at.pop(name, None)) is not None:
            first = told[place].event
            told[place] = CueTold(first, event.text if event.text != first.text else "")
    return told
