"""What waits for one target: in which order, when again after a failure, how many an hour.

A message is marked as under way, on disk, before it is sent, and taken out afterwards. If this
process ends in between, nobody knows whether it arrived. An alarm is sent again then, under the
same number: rather twice than never. What can wait is not: rather never than twice.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from supervisor.messages.message import (
    LONGEST,
    LONGEST_TITLE,
    ROOM_FOR_SENDING,
    Message,
    Weight,
)

# Doubled after each failure, and drawn between half and all of it, so that targets which failed
# together do not all try again together: common practice, no source.
FIRST_AGAIN_S, LAST_AGAIN_S = 5.0, 300.0
HOUR_S = 3600.0
MOST_WAITING = 20  # besides trips; then they are summed up


class Now(NamedTuple):
    """``is_kept``: what has to be remembered is on disk; else only an alarm is worth the risk."""

    now_s: float
    wall_s: float
    is_quiet: bool
    is_kept: bool


@dataclass
class Entry:
    """``again_s``: monotonic, of this process."""

    message: Message
    tries: int = 0
    is_under_way: bool = False
    again_s: float = 0.0


@dataclass
class OutboxKept:
    """``sent_wall_s``: of the last hour, trips left out."""

    last_sent: int = 0
    sent_wall_s: list[float] = field(default_factory=list)
    waiting: list[Entry] = field(default_factory=list)


class Outbox:
    """``draw``: a number from 0 to 1, by chance. ``number``: the next message's."""

    def __init__(
        self,
        kept: OutboxKept,
        most_per_hour: int,
        draw: Callable[[], float],
        number: Callable[[], int],
    ) -> None:
        self._kept = kept
        self._most_per_hour = most_per_hour
        self._draw = draw
        self._number = number

    def take_up(self, now_s: float, wall_s: float) -> list[Message]:
        """After a start. Returns those that were perhaps sent, and are given up for that."""
        given_up = [e.message for e in self._kept.waiting if e.is_under_way and _can_wait(e)]
        self._kept.waiting = [
            Entry(entry.message.at_start(now_s, wall_s), entry.tries)
            for entry in self._kept.waiting
            if entry.message not in given_up
        ]
        return given_up

    def put(self, message: Message) -> None:
        self._kept.waiting.append(Entry(message))
        counted = [e for e in self._kept.waiting if _is_counted(e) and not e.is_under_way]
        if len(counted) > MOST_WAITING:
            self._sum_up(counted)

    def begin(self, now: Now) -> Entry | None:
        """The one to be sent now, marked as under way."""
        due = [entry for entry in self._kept.waiting if self._is_due(entry, now)]
        counted = [entry for entry in due if _is_counted(entry)]
        left = self._left(now.wall_s)
        if left == 0 or (left == 1 and len(counted) > 1):
            due = [entry for entry in due if not _is_counted(entry)]
            due += [self._sum_up(counted)] if left else []
        if not due:
            return None
        entry = min(due, key=lambda e: (e.message.weight, e.tries, e.message.number))
        entry.is_under_way = True
        entry.tries += 1
        return entry

    def leave(self, entry: Entry) -> None:
        """It was not tried after all."""
        entry.is_under_way = False
        entry.tries -= 1

    def done(self, entry: Entry, wall_s: float) -> None:
        self._kept.waiting.remove(entry)
        self._kept.last_sent = entry.message.number
        for other in self._kept.waiting:
            other.again_s = 0.0  # it can be reached: no need to wait any longer
        if _is_counted(entry):
            self._kept.sent_wall_s.append(wall_s)

    def failed(self, entry: Entry, now_s: float) -> float:
        """Returns after how many seconds it is tried again."""
        entry.is_under_way = False
        longest_s = min(FIRST_AGAIN_S * 2.0 ** min(entry.tries - 1, 10), LAST_AGAIN_S)
        wait_s = longest_s * (0.5 + 0.5 * self._draw())
        entry.again_s = now_s + wait_s
        return wait_s

    def _is_due(self, entry: Entry, now: Now) -> bool:
        is_held = _can_wait(entry) and (now.is_quiet or not now.is_kept)
        return not entry.is_under_way and now.now_s >= entry.again_s and not is_held

    def _left(self, wall_s: float) -> int:
        """Of this hour. Times that a clock set back makes later than now do not count."""
        sent = [at_s for at_s in self._kept.sent_wall_s if 0 <= wall_s - at_s < HOUR_S]
        self._kept.sent_wall_s = sent
        return max(0, self._most_per_hour - len(sent))

    def _sum_up(self, entries: Sequence[Entry]) -> Entry:
        """One in place of all these."""
        messages = sorted((e.message for e in entries), key=lambda m: (m.weight, -m.number))
        holds: Counter[str] = Counter()
        for message in messages:
            holds.update(dict(message.holds or [(message.what, 1)]))
        oldest = max(messages, key=lambda message: message.late_s - message.noticed_s)
        summary = replace(
            oldest,
            number=self._number(),
            weight=messages[0].weight,
            what=f"{holds.total()} messages in one",
            place=messages[0].place,
            body=_lines(holds),
            holds=tuple(holds.items()),
        )
        summed_up = Entry(summary)
        self._kept.waiting = [e for e in self._kept.waiting if e not in entries] + [summed_up]
        return summed_up


def _lines(holds: Counter[str]) -> str:
    """What each is about, alarms first, then the newest: as many as fit."""
    room = LONGEST - ROOM_FOR_SENDING - LONGEST_TITLE - len("and 1000 others: see the page") - 2
    lines: list[str] = []
    for what, count in holds.items():
        line = what if count == 1 else f"{what}: {count} times"
        if sum(len(said) + 1 for said in lines) + len(line) > room:
            break
        lines.append(line)
    others = len(holds) - len(lines)
    return "\n".join([*lines, *([f"and {others} others: see the page"] if others else [])])


def _can_wait(entry: Entry) -> bool:
    return entry.message.weight is Weight.NOTE


def _is_counted(entry: Entry) -> bool:
    return entry.message.weight > Weight.TRIP
