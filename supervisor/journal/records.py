"""What the loop tells the journal. Plain values: they pass through a queue to another thread.

Every record has two times. ``mono_s`` is the loop's monotonic clock and says how things follow
one another within one run of the daemon. ``wall_s`` is UTC since 1970 and dates them; it may be
stepped by years, and nothing is reckoned from it.
"""

from collections.abc import Mapping
from typing import NamedTuple

Value = float | int | str | bool | None


class Run(NamedTuple):
    """One life of the daemon. ``settings`` is all of the file in force at its start, as JSON."""

    mono_s: float
    wall_s: float
    version: str
    bank: str
    is_simulated: bool
    settings: str


class SettingsInForce(NamedTuple):
    """Others than before, by a profile; calibration is a part of them."""

    mono_s: float
    wall_s: float
    profile: str
    settings: str


class Closing(NamedTuple):
    """The circuit closes: a new session, or the newest one of so many cells goes on."""

    mono_s: float
    wall_s: float
    is_new: bool
    cells: int
    profile: str


class SessionEnd(NamedTuple):
    """Open for so long that the next closing will be a new session."""

    mono_s: float
    wall_s: float


class SessionLeft(NamedTuple):
    """Other settings come into force; the session goes on when its own are back."""

    mono_s: float
    wall_s: float


class UnseenEnd(NamedTuple):
    """Found at a start: the run before this one ended while closed, and nobody saw it."""

    mono_s: float
    wall_s: float
    text: str
    remedy: str


class Span(NamedTuple):
    """Mean, lowest and highest single value; None where nothing good was read."""

    mean: float | None
    low: float | None
    high: float | None


UNKNOWN = Span(None, None, None)


class Window(NamedTuple):
    """Means over one window of the loop. ``is_good``: every fitted channel could be told.

    ``is_fine``: worth a row a second, else one a minute.
    """

    mono_s: float
    wall_s: float
    front_v: Span
    far_v: Span
    current_a: Span
    is_good: bool
    is_fine: bool


class Temperature(NamedTuple):
    mono_s: float
    wall_s: float
    probe: str
    celsius: float | None


class Progress(NamedTuple):
    """How far the session is. ``charged_u_ah``: expanded uncertainty. ``zero_a``: what the shunt
    showed before the closing, taken out of the charge."""

    mono_s: float
    wall_s: float
    circuit: str
    stage: str
    charged_ah: float | None
    charged_u_ah: float | None
    charged_wh: float | None
    is_whole: bool
    zero_a: float | None
    at_rest_v: float | None
    resistance_ohm: float | None


class Counted(NamedTuple):
    """What the session has counted by now. ``text`` is the loop's own, and only the newest is kept:
    after an end without a word the next start goes on from there."""

    mono_s: float
    wall_s: float
    text: str


class Event(NamedTuple):
    """``code`` is stable, ``text`` is for people, ``data`` holds the numbers behind it.

    ``is_close``: worth every window of the minute around it.
    """

    mono_s: float
    wall_s: float
    code: str
    text: str
    data: Mapping[str, Value]
    is_close: bool


Record = (
    Run
    | SettingsInForce
    | Closing
    | SessionEnd
    | SessionLeft
    | UnseenEnd
    | Window
    | Temperature
    | Progress
    | Counted
    | Event
)  # fmt: skip
