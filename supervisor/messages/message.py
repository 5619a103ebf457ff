"""A message: what has happened, as a title and a few lines that fit a push and a text message."""

import unicodedata
from dataclasses import dataclass, replace
from datetime import tzinfo
from enum import IntEnum

from supervisor.guidance.words import span
from supervisor.messages.quiet import both_times
from supervisor.messages.settings import Topic

# A concatenated text message of three parts, 153 letters each (3GPP TS 23.038, 23.040). What a
# push shows of a title differs: common practice, no source; so what happened stands first in it.
LONGEST_TITLE, LONGEST = 70, 3 * 153
ROOM_FOR_SENDING = 48  # "late by ...", "message 123, try 12"
LATE_AFTER_S = 120.0
LEAST_SAID = 20  # letters of a text that is cut; less tells nothing
LONGEST_LINE = 80  # of those that are not cut to fit; none of our own is longer


class Weight(IntEnum):
    """What goes first. An alarm is never held back, a trip not even counted."""

    FAILED_TO_OPEN = 0
    TRIP = 1
    ALARM = 2
    NOTE = 3


@dataclass(frozen=True, slots=True)
class Place:
    """Where: the bank. A simulated one says so in front of everything."""

    bank: str
    is_simulated: bool

    def title(self, what: str) -> str:
        """What stands first: a screen may cut the end."""
        simulated = "SIMULATED " if self.is_simulated else ""
        return cut(f"{simulated}{plain(what)}: {plain(self.bank)}", LONGEST_TITLE)


@dataclass(frozen=True, slots=True)
class Draft:
    """What there is to tell; empty parts are left out. ``wall_s``: UTC since 1970, as is
    ``last_sign_wall_s``: when a run was last heard of that ended unseen."""

    topic: Topic
    weight: Weight
    what: str
    place: Place
    wall_s: float
    measured: str = ""
    told: str = ""
    did: str = ""
    check: str = ""
    last_sign_wall_s: float | None = None

    def body(self, zone: tzinfo | None, page: str | None) -> str:
        """``told`` and ``check`` are cut where all of it would be too long."""
        when = f"when: {both_times(self.wall_s, zone)}"
        did = self.did and cut(f"did: {plain(self.did)}", LONGEST_LINE)
        first = cut(plain(self.measured), LONGEST_LINE)
        if self.last_sign_wall_s is not None:
            first = f"last noted: {both_times(self.last_sign_wall_s, zone)}"
        fixed = [first, when, did, page or ""]
        taken = sum(len(line) + 1 for line in fixed if line) + len(self.place.title(self.what)) + 1
        room = LONGEST - ROOM_FOR_SENDING - taken
        check = self.check and f"check: {plain(self.check)}"
        told = cut(plain(self.told), max(room - len(check) - 2, room // 2))
        check = cut(check, room - len(told) - 2)
        return "\n".join(filter(None, [first, told, when, did, check, page]))


@dataclass(frozen=True, slots=True)
class Message:
    """As it is kept until it is sent. ``late_s``: so old it was when it was noticed, then; so that
    a clock that is set meanwhile makes nothing late. ``noticed_s`` is monotonic, of this process.
    """

    number: int
    topic: Topic
    weight: Weight
    what: str
    place: Place
    body: str
    late_s: float
    noticed_s: float
    noticed_wall_s: float
    holds: tuple[tuple[str, int], ...] = ()  # what it sums up, and how many of each

    @property
    def title(self) -> str:
        return self.place.title(self.what)

    def at_start(self, now_s: float, wall_s: float) -> "Message":
        """Of an earlier process: what passed since is only known by the clock on the wall."""
        passed_s = max(0.0, wall_s - self.noticed_wall_s)
        return replace(self, late_s=self.late_s + passed_s, noticed_s=now_s, noticed_wall_s=wall_s)

    def text(self, now_s: float, tries: int) -> str:
        """The body as it is sent now."""
        late_s = self.late_s + now_s - self.noticed_s
        late = f"late by {span(late_s)}" if late_s >= LATE_AFTER_S else ""
        again = f", try {tries}" if tries > 1 else ""
        return "\n".join(filter(None, [late, self.body, f"message {self.number}{again}"]))


def plain(text: str) -> str:
    """On one line, without what a terminal or telephone might obey, and without the degree sign:
    one letter outside the text message's own alphabet halves what goes into each part."""
    text = " ".join(text.replace("°C", "deg C").split())
    return "".join(c for c in text if not unicodedata.category(c).startswith("C"))


def cut(text: str, most: int) -> str:
    if len(text) <= most:
        return text
    return f"{text[: most - 3].rstrip()}..." if most >= LEAST_SAID else ""
