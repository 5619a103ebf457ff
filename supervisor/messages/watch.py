"""Watches journal and status, and sends what somebody has to know. One thread; never waits.

What is noticed is on disk, for every target, together with how far the journal was read, before
anything is sent: so a restart neither forgets it nor notices it again.
"""

import copy
import logging
import random
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple, Protocol

from supervisor.messages.courier import Courier, Delivery, Outcome
from supervisor.messages.lockouts import Lockouts
from supervisor.messages.memory import Memory
from supervisor.messages.message import Draft, Message, Place, Weight
from supervisor.messages.outbox import Entry, Now, Outbox, OutboxKept
from supervisor.messages.present import Present
from supervisor.messages.quiet import is_quiet
from supervisor.messages.settings import MessageSettings, Target
from supervisor.messages.story import Story
from supervisor.messages.tail import Found, Position, Tail
from supervisor.status import status_file

log = logging.getLogger(__name__)
DEADLINE_S = 30.0  # of one delivery
SAVE_AGAIN_AFTER_S = 5.0  # of a disk that does not take it
KINDS = {
    Weight.FAILED_TO_OPEN: "failure",
    Weight.TRIP: "failure",
    Weight.ALARM: "warning",
    Weight.NOTE: "info",
}


class Clock(Protocol):
    def now_s(self) -> float:
        """Monotonic, the machine's own: the status file is dated by it."""

    def wall_s(self) -> float:
        """UTC since 1970; may be set at any time."""


class MachineClock:
    def now_s(self) -> float:
        return time.monotonic()

    def wall_s(self) -> float:
        return time.time()


class UnderWay(NamedTuple):
    entry: Entry
    delivery: Delivery
    until_s: float


class Watch:
    """Of one circuit. ``tick`` it about once a second."""

    def __init__(
        self,
        settings: MessageSettings,
        journal: Path,
        run_dir: Path,
        memory: Memory,
        courier: Courier,
        clock: Clock,
        draw: Callable[[], float] = random.random,
    ) -> None:
        kept = memory.kept
        self._settings, self._run_dir, self._clock = settings, run_dir, clock
        self._memory, self._courier = memory, courier
        self._tail = Tail(journal, kept.position)
        self._story = Story(kept.story)
        self._present = Present(settings, kept.present, kept.story, f"circuit of {run_dir}")
        self._under_way: dict[str, UnderWay] = {}
        self._read_at_s = float("-inf")
        self._has_changed, self._save_again_s = False, float("-inf")
        self._problem = ""
        for gone in set(kept.targets) - set(settings.targets):
            log.warning("target %s is no longer there; what waited for it is given up", gone)
            del kept.targets[gone]
        self._outboxes = {
            name: Outbox(
                kept.targets.setdefault(name, OutboxKept()),
                settings.most_per_hour,
                draw,
                kept.next_number,
            )
            for name in settings.targets
        }
        self._take_up()

    # --- what there is to tell

    def tick(self) -> None:
        self._notice()
        self._collect()
        self._save()
        for name, target in self._settings.targets.items():
            if name not in self._under_way:
                self._send(name, target)

    @property
    def is_busy(self) -> bool:
        """Something is under way: the sooner its end is seen, the less can be sent twice."""
        return bool(self._under_way)

    def _take_up(self) -> None:
        for name, outbox in self._outboxes.items():
            for message in outbox.take_up(self._clock.now_s(), self._clock.wall_s()):
                log.warning("%s: message %d was perhaps sent; not again", name, message.number)
        if self._memory.was_lost:
            place = Place(f"circuit of {self._run_dir}", False)
            text = "what was sent before is not known any more; look at the page for what is now"
            wall_s = self._clock.wall_s()
            self._post([Draft("record", Weight.NOTE, "MESSAGES LOST", place, wall_s, told=text)])

    def _notice(self) -> None:
        now_s = self._clock.now_s()
        found = self._tail.read()
        if self._tail.position is None:
            self._begin_first(found)
        else:
            for one, drafts in self._story.take(found, now_s):
                self._post(drafts)
                self._tail.advance(one)
                self._memory.kept.position = self._tail.position
                self._has_changed = True
        self._say_problem()
        if not self._tail.problem:
            self._read_at_s = now_s
        self._look(now_s)

    def _look(self, now_s: float) -> None:
        kept = self._memory.kept
        before = copy.deepcopy((kept.present, kept.story))
        status = status_file.current(self._run_dir, self._clock.now_s)
        problem = self._tail.problem
        self._post(self._present.look(status, problem, now_s, self._clock.wall_s()))
        self._has_changed |= (kept.present, kept.story) != before

    def _begin_first(self, found: Sequence[Found]) -> None:
        """The first start of all: what was before is no news."""
        if self._tail.problem and not self._tail.is_missing:
            return  # there is something, and nobody knows what
        self._tail.position = Position()
        self._story.replay(found)
        if self._memory.was_lost:  # what stands now was perhaps never told: rather twice
            self._memory.kept.story.lockouts = Lockouts()
        for one in found:
            self._tail.advance(one)
        self._memory.kept.position = self._tail.position
        self._has_changed = True
        log.info("tells what happens from now on; %d events were before", len(found))

    def _say_problem(self) -> None:
        if self._tail.problem != self._problem:
            self._problem = self._tail.problem
            log.warning(
                "%s", f"waiting: {self._problem}" if self._problem else "the journal is read"
            )

    def _post(self, drafts: Sequence[Draft]) -> None:
        now_s, wall_s = self._clock.now_s(), self._clock.wall_s()
        for draft in drafts:
            # It has happened since the journal was read last, whatever the clock on the wall says.
            late_s = min(max(0.0, wall_s - draft.wall_s), now_s - self._read_at_s)
            body = draft.body(self._settings.zone, self._settings.page)
            message = Message(
                self._memory.kept.next_number(), draft.topic, draft.weight, draft.what,
                draft.place, body, late_s, now_s, wall_s,
            )  # fmt: skip
            self._has_changed = True
            for name, target in self._settings.targets.items():
                if draft.topic in target.tell:
                    self._outboxes[name].put(message)

    # --- sending

    def _send(self, name: str, target: Target) -> None:
        now_s, wall_s = self._clock.now_s(), self._clock.wall_s()
        quiet = is_quiet(self._settings.quiet_hours, wall_s, self._settings.zone)
        outbox = self._outboxes[name]
        entry = outbox.begin(Now(now_s, wall_s, quiet, is_kept=not self._has_changed))
        if entry is None:
            return
        self._has_changed = True
        message = entry.message
        if not self._save() and message.weight is Weight.NOTE:
            outbox.leave(entry)
            return
        body, kind = message.text(now_s, entry.tries), KINDS[message.weight]
        delivery = self._courier.start(target.url, message.title, body, kind)
        self._under_way[name] = UnderWay(entry, delivery, now_s + DEADLINE_S)

    def _collect(self) -> None:
        for name, (entry, delivery, until_s) in list(self._under_way.items()):
            outcome = delivery.outcome()
            if outcome is None and self._clock.now_s() >= until_s:
                delivery.end()
                outcome = Outcome(False, f"not done within {DEADLINE_S:.0f} s")
            if outcome is not None:
                del self._under_way[name]
                self._conclude(name, entry, outcome)

    def _conclude(self, name: str, entry: Entry, outcome: Outcome) -> None:
        number, outbox = entry.message.number, self._outboxes[name]
        self._has_changed = True
        if outcome.sent:
            outbox.done(entry, self._clock.wall_s())
            self._save()  # first of all: until then nobody would know
            log.info("%s: message %d sent: %s", name, number, entry.message.what)
        else:
            wait_s = outbox.failed(entry, self._clock.now_s())
            self._save()
            log.warning(
                "%s: message %d not sent, again in %.0f s: %s", name, number, wait_s, outcome.why
            )

    def _save(self) -> bool:
        """Whether all is on disk."""
        now_s = self._clock.now_s()
        if self._has_changed and now_s >= self._save_again_s:
            self._has_changed = not self._memory.save()
            self._save_again_s = now_s + SAVE_AGAIN_AFTER_S if self._has_changed else now_s
        return not self._has_changed

    def leave(self) -> bool:
        """Begin nothing more. Whether all that is under way has come to its end."""
        self._collect()
        return not self._under_way

    def end(self) -> None:
        """Whatever is still under way; nobody will know whether it arrived."""
        for under_way in self._under_way.values():
            under_way.delivery.end()
