"""What hands have taken off is remembered, so that it is put back, whatever came of the steps.

It is put back when it has to be, not after every step: nobody wants to bolt a lead on for a minute.
"""

from dataclasses import replace

from supervisor.commissioning.deeds import (
    CoilOnly,
    Deed,
    DidIt,
    Flow,
    Jump,
    MeterReads,
    NoCurrent,
    PutBack,
    Raise,
    Source,
    TakeOff,
)
from supervisor.commissioning.person import MeterKind, Person
from supervisor.measurement.meter import Meter


class TidyPerson:
    """A person who knows what has been taken off, and puts it back when asked to, or before
    something that cannot be done without it. What is so already is not asked for again."""

    def __init__(self, person: Person, *, second_line: bool = False) -> None:
        """``second_line``: the build has one, with sense leads of its own."""
        self.name = person.name
        self._person = person
        self._second_line = second_line
        self._on: dict[str, tuple[str, ...]] = {}  # which leads are on one source, by each of them
        self._off: dict[str, None] = {}  # in the order in which they came off
        self._cables = False
        self._coil_only = self._flows = False
        self.references: dict[MeterKind, Meter] = {}
        """Those that were asked for since somebody has cleared it."""

    def does(self, deed: Deed) -> None:
        """Noted before it is asked for: who leaves in the middle may have done it."""
        match deed:
            case CoilOnly() if self._coil_only:
                return
            case CoilOnly():
                self._coil_only = True
            case Source():
                self._takes_off(deed.channels)
                deed = self._put_on(deed)
            case Raise() | Jump():
                self._takes_off(deed.channels)
            case TakeOff():
                self._takes_off((deed.channel,))
                self._on.pop(deed.channel, None)
            case NoCurrent() | Flow():  # by the shunt's own sense wires
                if self._off:
                    self.puts_back()
                self._cables, self._coil_only = True, False
                self._flows = isinstance(deed, Flow)
        self._person.does(deed)

    def ends_the_current(self) -> None:
        """Whatever came of the step that wanted one."""
        if self._flows:
            self.does(NoCurrent())

    def has_mended(self) -> None:
        """Nobody knows what was wired meanwhile."""
        self._coil_only = False

    def puts_back(self) -> None:
        """Asks for what is off; for nothing when nothing is."""
        if deed := self._what_is_off():
            self._off, self._on, self._cables, self._coil_only = {}, {}, False, False
            self._person.does(deed)

    def _put_on(self, deed: Source) -> Source:
        """As it has to be told: who has it on that very source already only turns a knob."""
        is_on = all(self._on.get(channel) == deed.channels for channel in deed.channels)
        self._on |= dict.fromkeys(deed.channels, deed.channels)
        return replace(deed, is_on=is_on, second_line=self._second_line)

    def _takes_off(self, channels: tuple[str, ...]) -> None:
        if self._cables:
            self.puts_back()
        self._off |= dict.fromkeys(channels)

    def is_told_what_is_off(self) -> None:
        """Who has left is asked for nothing any more."""
        if deed := self._what_is_off():
            self._person.tells(f"Before you go: {deed.text}")

    def tells(self, text: str) -> None:
        self._person.tells(text)

    def reads(self, question: MeterReads) -> float:
        return self._person.reads(question)

    def saw(self, question: DidIt) -> bool:
        return self._person.saw(question)

    def meter(self, kind: MeterKind) -> Meter:
        self.references[kind] = self._person.meter(kind)
        return self.references[kind]

    def is_shown(self, text: str) -> None:
        self._person.is_shown(text)

    def _what_is_off(self) -> PutBack | None:
        if not (self._off or self._cables):
            return None
        return PutBack(tuple(self._off), self._cables)
