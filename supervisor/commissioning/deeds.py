"""What a person is asked to do, and to read off: in words, and so that a simulation can do it.

``key`` names a question in an answers file. Channels by their settings key: ``front_cell``,
``far_cell``, ``shunt``.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from supervisor.readings import in_words

Button = Literal["stop_button", "reset_button"]
Output = Literal[
    "buzzer", "lamp", "mains_contactor", "contactor", "main_contacts", "phone", "alert"
]


@dataclass(frozen=True, slots=True)
class CoilOnly:
    """The coil alone is fed: nothing can flow through the main contacts."""

    key = "coil_only"

    @property
    def text(self) -> str:
        return (
            "Leave the main contacts without any wire to supply or bank, and the supply unplugged. "
            "Feed the coil alone."
        )


@dataclass(frozen=True, slots=True)
class NoCurrent:
    """The shunt carries nothing, its sense wires are on."""

    key = "no_current"

    @property
    def text(self) -> str:
        return (
            "Let no current flow through the shunt: contactor open, supply unplugged, one of the "
            "shunt's cables off. Its sense wires stay on. Wait until it is as warm as the room."
        )


@dataclass(frozen=True, slots=True)
class Source:
    """A bench supply on the sense leads of these channels (V), or a source of millivolts on the
    shunt's sense wires, told in the amperes that they stand for (A). ``is_on``: these leads are on
    that source already; ``second_line``: the build has one, whose leads go with the front cell's.
    """

    channels: tuple[str, ...]
    value: float
    millivolts: float | None = None
    is_on: bool = False
    second_line: bool = False

    key = "source"

    @property
    def text(self) -> str:
        if self.millivolts is not None:
            shown = f"{self.millivolts:.2f} mV"
            if self.is_on:
                return f"Set the source on the shunt's sense wires to {shown} ({self.value:g} A)."
            return (
                f"Take the shunt's sense wires off the shunt and put a source of {shown} on them "
                f"({self.value:g} A)."
            )
        leads = f"the sense leads of {_listed(self.channels)}"
        if self.is_on:
            return f"Set the bench supply on {leads} to {self.value:.3f} V."
        more = "; those of the second line go with the front cell's" * (
            self.second_line and "front_cell" in self.channels
        )
        return (
            f"With {leads} off the cells, put {self.value:.3f} V from a bench supply on them, plus "
            f"to plus{more}."
        )


@dataclass(frozen=True, slots=True)
class Raise:
    """Turn that source slowly and evenly to another value; until then, or until it trips."""

    channels: tuple[str, ...]
    begin: float
    end: float
    per_s: float
    millivolts_per_ampere: float | None = None

    key = "raise"

    @property
    def text(self) -> str:
        way = "up" if self.end > self.begin else "down"
        if (ratio := self.millivolts_per_ampere) is not None:
            return (
                f"Turn the source slowly {way} from {self.begin * ratio:.2f} to "
                f"{self.end * ratio:.2f} mV, by {self.per_s * ratio:.3g} mV a second at most. Stop "
                "when it trips, and touch nothing."
            )
        return (
            f"Turn the bench supply slowly {way} from {self.begin:.3f} to {self.end:.3f} V, by "
            f"{self.per_s * 1000:.3g} mV a second at most. Stop when it trips, and touch nothing."
        )

    @property
    def lasts_s(self) -> float:
        return abs(self.end - self.begin) / self.per_s


@dataclass(frozen=True, slots=True)
class Jump:
    """Change that source at once, as by a switch."""

    channels: tuple[str, ...]
    value: float
    millivolts: float | None = None

    key = "jump"

    @property
    def text(self) -> str:
        to = f"{self.value:.3f} V" if self.millivolts is None else f"{self.millivolts:.2f} mV"
        return f"Switch the source on {_listed(self.channels)} at once to {to}."


@dataclass(frozen=True, slots=True)
class Flow:
    """A true current through the shunt, with the reference around the same cable. ``from_none``:
    none flowed before, and a cable of the shunt is off."""

    amperes: float
    from_none: bool = True
    key = "flow"

    @property
    def text(self) -> str:
        if not self.from_none:
            return f"Let about {self.amperes:g} A flow now. Wait until it stands still."
        return (
            "Supply unplugged, put the shunt's cable back. The contactor stays open, and nothing "
            "goes to the cells: lead the current from before the contactor through the reference "
            "and a load or a short bar into the shunt. Then begin with the supply at its lowest, "
            f"and let about {self.amperes:g} A flow. Wait until it stands still."
        )


@dataclass(frozen=True, slots=True)
class TakeOff:
    """The plus lead of a channel off its terminal, insulated."""

    channel: str
    key = "take_off"

    @property
    def text(self) -> str:
        return (
            f"Take the plus lead of {in_words(self.channel)} off and keep its end away from metal."
        )


@dataclass(frozen=True, slots=True)
class PutBack:
    """What was taken off goes back: the sense leads of these channels, the shunt's cables."""

    channels: tuple[str, ...] = ()
    cables: bool = False

    key = "put_back"

    @property
    def text(self) -> str:
        return " ".join(self._sentences())

    def _sentences(self) -> Iterator[str]:
        if self.cables:
            yield (
                "With the supply unplugged, take reference and load away, and put the cables of "
                "the shunt back as they were."
            )
        if cells := tuple(channel for channel in self.channels if channel != "shunt"):
            yield (
                f"Take the source off, and put the sense leads of {_listed(cells)} back to where "
                "they were: on the cells if these are connected already, else apart and insulated."
            )
        if "shunt" in self.channels:
            yield "Take the source off the shunt's sense wires, and put them back on the shunt."


@dataclass(frozen=True, slots=True)
class Press:
    """A button pressed and held, or let go."""

    button: Button
    pressed: bool
    key = "press"

    @property
    def text(self) -> str:
        name = self.button.replace("_", " ")
        return f"Press the {name} and hold it." if self.pressed else f"Let the {name} go."


Deed = CoilOnly | NoCurrent | Flow | Source | Raise | Jump | TakeOff | PutBack | Press


@dataclass(frozen=True, slots=True)
class MeterReads:
    """What the reference meter shows of a channel's source: V, or A of a clamp."""

    channel: str
    unit: str

    @property
    def key(self) -> str:
        return f"meter_{self.channel}"

    @property
    def text(self) -> str:
        if self.unit == "mV":
            return "What does the meter show across the shunt's sense wires, in mV?"
        return f"What does the reference meter show for {in_words(self.channel)}, in {self.unit}?"


@dataclass(frozen=True, slots=True)
class DidIt:
    """Whether an output did what it was just told: yes or no."""

    output: Output
    asked: str

    @property
    def key(self) -> str:
        return f"saw_{self.output}"

    @property
    def text(self) -> str:
        return self.asked


# Of contacts that nothing else is wired to, whether the coil is on or off.
CLOSED_BY_OHMMETER = DidIt(
    "main_contacts",
    "Does an ohmmeter across the main contacts, with no other wire on them, show them closed now?",
)


def _listed(channels: tuple[str, ...]) -> str:
    return " and ".join(in_words(channel) for channel in channels)
