"""What the daemon says of itself: the content of the status file.

Frozen dataclasses of plain values; ``as_dict`` is the JSON. Every other process (page, metrics,
status command) knows the circuit only through this.
"""

import json
from dataclasses import asdict, dataclass, fields
from enum import Enum
from typing import Any

FORMAT = 5


class Circuit(Enum):
    """State of the charging circuit; transitions are in ``control.circuit``."""

    OPEN = "open"
    CLOSED = "closed"
    LOCKED_OUT = "locked out"
    UNFIT = "unfit"  # not closed, and a rule stands in the way of closing
    PAUSED = "paused"  # between two pulses of a pulsed hold; closes again by itself
    FINISHED = "finished"


class Stage(Enum):
    """Stage of the charge; recognised in ``protection.charge_stage``."""

    NONE = "none"  # the circuit is open, and nothing has ended
    BULK = "bulk"  # the current is the limit
    TAPER = "taper"  # the limit voltage is near
    HOLD = "hold"  # at the voltage to hold, the current falling
    REST = "rest"  # open after full


@dataclass(frozen=True, slots=True)
class ChannelView:
    """One channel: mean of the newest mains window, in ``unit``; ``value`` None if not good."""

    channel: str
    value: float | None
    unit: str
    quality: str
    uncertainty: float
    age_s: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class ProbeView:
    """One temperature probe; ``celsius`` is None if not good."""

    probe: str
    place: str
    celsius: float | None
    quality: str
    age_s: float


@dataclass(frozen=True, slots=True)
class RuleView:
    """One rule's answer; ``measured``, ``limit`` and ``guard_band`` in ``unit``.

    ``left_s`` is the time until it trips if things stay as they are. From the response budget,
    None where it does not say: ``guard_band`` (expanded uncertainty at the limit), ``response_s``
    (limit passed to circuit open, at worst) and ``highest_v`` (of a cell, by then).
    """

    rule: str
    function: str
    state: str
    measured: float | None
    limit: float
    unit: str
    for_s: float | None
    left_s: float | None
    reason: str
    guard_band: float | None
    response_s: float | None
    highest_v: float | None


@dataclass(frozen=True, slots=True)
class WithoutView:
    """A rule the risk needs and these settings do without, and why."""

    rule: str
    reason: str


class Urgency(Enum):
    """How soon a cue asks for a hand."""

    NOW = "now"
    SOON = "soon"
    NOTE = "note"  # nothing is lost by waiting


class Sound(Enum):
    """What the buzzer does; its patterns are in ``devices.panel``."""

    NONE = "none"
    NOTE = "note"
    SOON = "soon"
    NOW = "now"
    ALARM = "alarm"


@dataclass(frozen=True, slots=True)
class CueView:
    """One hint to the operator: what to do, and why. ``urgency`` as in ``Urgency``."""

    cue: str
    urgency: str
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class ForecastView:
    """Time until something, with the interval it lies in; no numbers when ``words`` say why not."""

    best_s: float | None
    low_s: float | None
    high_s: float | None
    words: str


@dataclass(frozen=True, slots=True)
class FullView:
    """How near it is to full: met for ``for_s`` of ``of_s``; ``missing`` says what is not."""

    for_s: float
    of_s: float
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RestView:
    """The rest after a full charge; ``state`` is watching, passed or failed."""

    state: str
    for_s: float
    of_s: float
    front_v: float | None
    lag_v: float | None
    fall_v_per_h: float | None
    findings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PulsesView:
    """A pulsed hold: ``lengths_s`` of the newest pulses, which shorten as the bank fills."""

    count: int
    most: int
    lengths_s: tuple[float, ...]
    waits_for: str  # what the next pulse waits for; empty while closed


@dataclass(frozen=True, slots=True)
class GuidanceView:
    """What the charge does and how it will go on, beside the protection.

    ``at_rest_v``: the highest cell's voltage less the drop that the current causes at once, by
    ``resistance_ohm``, learned from turns of the knob (standard uncertainty ``resistance_u_ohm``).
    ``charged_ah`` and ``charged_wh`` are of this session, ``left_ah`` is what the bank's rating
    leaves at the most. ``cues`` are ranked.
    """

    stage: str
    stage_for_s: float
    advice: str
    cues: tuple[CueView, ...]
    to_limit: ForecastView
    to_full: ForecastView
    measured_v: float | None
    at_rest_v: float | None
    resistance_ohm: float | None
    resistance_u_ohm: float | None
    charged_ah: float
    charged_u_ah: float
    charged_wh: float
    charge_is_whole: bool
    left_ah: float
    full: FullView | None
    rest: RestView | None
    pulses: PulsesView | None


@dataclass(frozen=True, slots=True)
class Moment:
    """What was measured so long before a trip: means of the channels in their units."""

    before_s: float
    front_cell: float | None
    far_cell: float | None
    shunt: float | None


@dataclass(frozen=True, slots=True)
class LockoutView:
    """Why the circuit is locked out. ``wall`` is UTC, ISO 8601."""

    tripped_by: str
    reason: str
    remedy: str
    measured: float | None
    limit: float | None
    unit: str
    wall: str
    opened_in_s: float | None  # coil off to confirmed open; None when not confirmed
    failed_to_open: bool
    stored: bool  # on disk
    before: tuple[Moment, ...]  # oldest first; empty when nothing is known


@dataclass(frozen=True, slots=True)
class JournalView:
    """How the record is kept: ``depth`` records wait; ``trouble`` says why none can be written.

    ``session`` is the number of the one under way. Totals are since the start of the daemon.
    """

    depth: int = 0
    written: int = 0
    dropped_samples: int = 0
    dropped_events: int = 0
    cpu_s: float = 0.0
    session: int | None = None
    trouble: str = ""
    size_bytes: int | None = None  # of its pages in use
    most_bytes: int | None = None  # what it is kept below
    disk_free_bytes: int | None = None


@dataclass(frozen=True, slots=True)
class EventView:
    wall: str
    code: str
    text: str


# Upper ends of the classes that a cycle's lateness is counted in; one more class is beyond.
LATE_UP_TO_S = (0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)


@dataclass(frozen=True, slots=True)
class Counters:
    """Totals since the start of the daemon. ``late_cycles``: by the classes of ``LATE_UP_TO_S``.
    Of ``bus_errors``, some are no answer, some a transfer that took too long."""

    cycles: int = 0
    conversions: int = 0
    bus_errors: int = 0
    bus_no_answers: int = 0
    bus_timeouts: int = 0
    retries: int = 0
    reopenings: int = 0
    bad_samples: int = 0
    deadline_misses: int = 0
    worst_late_s: float = 0.0
    late_cycles: tuple[int, ...] = ()
    late_sum_s: float = 0.0
    requests: int = 0


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The circuit at one instant.

    ``now_s`` is the loop's monotonic clock (simulated in a simulation); ``published_at_s`` is
    always the machine's own monotonic clock, so that any process of this machine can tell the
    snapshot's age. ``wall`` is UTC, ISO 8601. ``profile`` is what the settings in force are called.
    ``operations``: closings of the contactor so far. ``silent_s``: so long the buzzer stays quiet.
    """

    bank: str
    version: str
    simulated: bool
    circuit: str
    coil_on: bool
    auxiliary_closed: bool | None
    lease_left_s: float
    now_s: float
    published_at_s: float
    wall: str
    started_wall: str
    never_above_v: float
    channels: tuple[ChannelView, ...]
    probes: tuple[ProbeView, ...]
    profile: str
    operations: int
    rated_operations: int | None
    guidance: GuidanceView | None
    silent_s: float
    journal: JournalView
    rules: tuple[RuleView, ...]
    without: tuple[WithoutView, ...]
    lockout: LockoutView | None
    not_closing_because: tuple[str, ...]
    uncommissioned: str | None
    events: tuple[EventView, ...]
    counters: Counters
    format: int = FORMAT

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)

    def as_json(self) -> str:
        """The same as text, without the copies: four times a second, beside the loop.

        Raises ValueError for a number that JSON does not have.
        """
        return json.dumps(self, default=_own_fields, allow_nan=False, ensure_ascii=False)

    def channel(self, name: str) -> ChannelView | None:
        return next((c for c in self.channels if c.channel == name), None)


def _own_fields(part: Any) -> dict[str, Any]:
    return {field.name: getattr(part, field.name) for field in fields(part)}


def from_dict(data: dict[str, Any]) -> Snapshot:
    """A snapshot from its JSON.

    Raises ValueError when the format is another one or fields are missing.
    """
    if data.get("format") != FORMAT:
        raise ValueError(f"status format {data.get('format')!r}, expected {FORMAT}")
    names = {f.name for f in fields(Snapshot)}
    try:
        plain = {k: v for k, v in data.items() if k in names}
        plain["channels"] = tuple(ChannelView(**c) for c in data["channels"])
        plain["probes"] = tuple(ProbeView(**p) for p in data["probes"])
        plain["guidance"] = _guidance(data["guidance"]) if data["guidance"] else None
        plain["journal"] = JournalView(**data["journal"])
        plain["rules"] = tuple(RuleView(**r) for r in data["rules"])
        plain["without"] = tuple(WithoutView(**w) for w in data["without"])
        plain["lockout"] = _lockout(data["lockout"]) if data["lockout"] else None
        plain["events"] = tuple(EventView(**e) for e in data["events"])
        plain["not_closing_because"] = tuple(data["not_closing_because"])
        counters = {"late_cycles": ()} | data["counters"]
        plain["counters"] = Counters(**counters | {"late_cycles": tuple(counters["late_cycles"])})
        return Snapshot(**plain)
    except (TypeError, KeyError) as error:
        raise ValueError(f"status incomplete: {error}") from error


def _guidance(data: dict[str, Any]) -> GuidanceView:
    known: dict[str, Any] = {
        "cues": tuple(CueView(**cue) for cue in data["cues"]),
        "to_limit": ForecastView(**data["to_limit"]),
        "to_full": ForecastView(**data["to_full"]),
    }
    if full := data["full"]:
        known["full"] = FullView(**full | {"missing": tuple(full["missing"])})
    if rest := data["rest"]:
        known["rest"] = RestView(**rest | {"findings": tuple(rest["findings"])})
    if pulses := data["pulses"]:
        known["pulses"] = PulsesView(**pulses | {"lengths_s": tuple(pulses["lengths_s"])})
    return GuidanceView(**data | known)


def _lockout(data: dict[str, Any]) -> LockoutView:
    return LockoutView(**data | {"before": tuple(Moment(**m) for m in data["before"])})
