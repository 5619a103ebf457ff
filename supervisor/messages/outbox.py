"""What waits for one target: in which order, when again after a failure, how many an hour.

A message is marked as under way, on disk, before it is sent, and taken out afterwards. If this
process ends in between, nobody knows whether it arrived. An alarm is sent again then, under the
same number: rather twice than never. What can wait is not: rather never than twice.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf
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
ALARMS_PER_HOUR = 12  # of each kind, so that none waits for another: common practice, no source
MOST_WAITING = 20  # notes, or alarms of one kind; then they are summed up
NOTES = "notes"


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
    """``counted_wall_s``: when those of the last hour were sent, by what they are counted as."""

    last_sent: int = 0
    counted_wall_s: dict[str, list[float]] = field(default_factory=dict)
    waiting: list[Entry] = field(default_factory=list)


class Outbox:
    """``most_per_hour``: of notes. ``draw``: a number from 0 to 1, by chance. ``number``: the next
    message's."""

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
        for kind, alike in _by_kind(e for e in self._kept.waiting if not e.is_under_way).items():
            if kind and len(alike) > MOST_WAITING:
                self._sum_up(alike)

    def begin(self, now: Now) -> Entry | None:
        """The one to be sent now, marked as under way."""
        due = _by_kind(entry for entry in self._kept.waiting if self._is_due(entry, now))
        may_go = [e for kind, alike in due.items() for e in self._allowed(kind, alike, now.wall_s)]
        if not may_go:
            return None
        entry = min(may_go, key=lambda e: (e.message.weight, e.tries, e.message.number))
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
        if kind := _kind(entry):
            self._kept.counted_wall_s.setdefault(kind, []).append(wall_s)

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

    def _allowed(self, kind: str, alike: Sequence[Entry], wall_s: float) -> Sequence[Entry]:
        """The last of an hour sums up what waits."""
        left = self._left(kind, wall_s)
        return [self._sum_up(alike)] if left == 1 and len(alike) > 1 else alike if left else ()

    def _left(self, kind: str, wall_s: float) -> float:
        """Of this hour. Times that a clock set back makes later than now do not count."""
        if not kind:
            return inf
        sent = [s for s in self._kept.counted_wall_s.get(kind, []) if 0 <= wall_s - s < HOUR_S]
        self._kept.counted_wall_s[kind] = sent
        return max(0, (self._most_per_hour if kind == NOTES else ALARMS_PER_HOUR) - len(sent))

    def _sum_up(self, entries: Sequence[Entry]) -> Entry:
        """One in place of all these."""
        messages = sorted((e.message for e in entries), key=lambda message: -message.number)
        holds: Counter[str] = Counter()
        for message in messages:
            holds.update(dict(message.holds or [(message.what, 1)]))
        oldest = max(messages, key=lambda message: message.late_s - message.noticed_s)
        summary = replace(
            oldest,
            number=self._number(),
            what=f"{holds.total()} messages in one",
            place=messages[0].place,
            body=_lines(holds),
            holds=tuple(holds.items()),
        )
        summed_up = Entry(summary)
        self._kept.waiting = [e for e in self._kept.waiting if e not in entries] + [summed_up]
        return summed_up


def _lines(holds: Counter[str]) -> str:
    """What each is about, the newest first: as many as fit."""
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


def _kind(entry: Entry) -> str:
    """What is counted together: notes, and the alarms of one topic; empty for what is not."""
    message = entry.message
    if message.weight <= Weight.TRIP:
        return ""
    return NOTES if message.weight is Weight.NOTE else message.topic


def _by_kind(entries: Iterable[Entry]) -> Mapping[str, list[Entry]]:
    kinds = defaultdict(list)
    for entry in entries:
        kinds[_kind(entry)].append(entry)
    return kinds
