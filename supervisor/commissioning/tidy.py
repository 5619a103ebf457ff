"""What hands have taken off is remembered, so that it is put back, whatever came of a step."""

from supervisor.commissioning.deeds import (
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
    """A person who knows what has been taken off, and puts it back when asked to."""

    def __init__(self, person: Person) -> None:
        self.name = person.name
        self._person = person
        self._off: dict[str, None] = {}  # in the order in which they came off
        self._cables = False

    def does(self, deed: Deed) -> None:
        """Noted before it is asked for: who leaves in the middle may have done it."""
        match deed:
            case Source() | Raise() | Jump():
                self._off |= dict.fromkeys(deed.channels)
            case TakeOff():
                self._off[deed.channel] = None
            case NoCurrent() | Flow():
                self._cables = True
        self._person.does(deed)

    def puts_back(self) -> None:
        """Asks for what is off; for nothing when nothing is."""
        if deed := self._what_is_off():
            self._off, self._cables = {}, False
            self._person.does(deed)

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
        return self._person.meter(kind)

    def is_shown(self, text: str) -> None:
        self._person.is_shown(text)

    def _what_is_off(self) -> PutBack | None:
        if not (self._off or self._cables):
            return None
        return PutBack(tuple(self._off), self._cables)
