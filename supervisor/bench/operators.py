"""Simulated operators: they see what the tool shows and the knob, look up now and then, and act."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from supervisor.control.publisher import Publisher
from supervisor.settings.base import Amperes, Settings, Volts
from supervisor.snapshot import CueView, Snapshot

Position = Annotated[float, Field(ge=0, le=1)]
Span = Annotated[float, Field(gt=0, le=60)]

TURNS_DOWN_S = 2.0
NUDGE = 0.5  # of a step of the knob, while the voltage is being held
NEAR = 0.9  # of the current wanted: near enough
WINDOW_V = 0.01  # below the voltage to hold: near enough
ASK_TO_EASE = ("ease_down", "too_fast", "creeps", "heat")


class OperatorSettings(Settings):
    """Who stands at the knob, and what they are after."""

    kind: Literal["careful", "hasty", "asleep", "wrong_way"] = Field(
        description="careful: small steps, down in time. hasty: large steps, resets and closes "
        "again. asleep: leaves the knob once the current flows. wrong_way: turns up near the limit."
    )
    looks_every_seconds: Span = Field(default=3.0, description="Between two looks at the page.")
    reaction_seconds: Annotated[float, Field(ge=0, le=10)] = Field(
        default=0.7, description="From a look to the hand on the knob."
    )
    target_amperes: Amperes = Field(description="The current they want.")
    hold_volts: Volts = Field(description="The cell voltage they mean to stay below.")
    knob_step: Position = Field(default=0.01, description="Largest turn in one go.")
    follows_cues: bool = Field(
        default=False,
        description="true: does what the cues say, no more once the current was brought up, and "
        "the buzzer wakes who is asleep.",
    )


@dataclass(frozen=True, slots=True)
class Turn:
    """Turn the knob to a position, evenly over some seconds."""

    to: float
    over_s: float


@dataclass(frozen=True, slots=True)
class Ask:
    """A request to the daemon."""

    act: str
    reason: str = ""


Deed = Turn | Ask


class Overlooked:
    """A publisher that lets the operator see what it passes on."""

    def __init__(self, publisher: Publisher) -> None:
        self._publisher = publisher
        self.snapshot: Snapshot | None = None

    def publish(self, snapshot: Snapshot) -> None:
        self.snapshot = snapshot
        self._publisher.publish(snapshot)


class Operator:
    """``look`` yields what the operator does about what is to be seen, the knob included."""

    def __init__(self, settings: OperatorSettings) -> None:
        self.settings = settings
        self._has_charged = False
        self._dozed_off = False
        self._was_brought_up = False  # the current, or as far as the cues let it

    def look(self, shown: Snapshot, knob: float) -> Iterator[Deed]:
        match shown.circuit:
            case "open":
                if not shown.not_closing_because and not (
                    self._has_charged and self.settings.kind == "careful"
                ):
                    yield Ask("close")
            case "closed":
                self._has_charged = True
                cue = _urgent_cue(shown) if self.settings.follows_cues else None
                if cue is not None:
                    self._dozed_off, self._was_brought_up = False, True
                    yield from self._heed(cue, knob)
                elif not self._dozed_off:
                    yield from self._charge(shown, knob)
            case "finished":
                if knob > 0:
                    yield Turn(0.0, TURNS_DOWN_S)
            case "locked out":
                yield from self._after_a_trip(knob)

    def _after_a_trip(self, knob: float) -> Iterator[Deed]:
        kind = self.settings.kind
        if kind == "hasty":
            yield Ask("reset", "it looked fine to me")
        elif kind == "careful" and knob > 0:
            yield Turn(0.0, TURNS_DOWN_S)

    def _heed(self, cue: CueView, knob: float) -> Iterator[Deed]:
        """A turn down, a larger one when it is urgent."""
        if cue.cue in ASK_TO_EASE:
            step = self.settings.knob_step
            yield from self._turn(knob, -2 * step if cue.urgency == "now" else -step)

    def _charge(self, shown: Snapshot, knob: float) -> Iterator[Deed]:
        cell_v, current_a = _highest_cell_v(shown), _value(shown, "shunt")
        if cell_v is None or current_a is None:
            return
        step = self.settings.knob_step
        self._was_brought_up |= current_a >= NEAR * self.settings.target_amperes
        if cell_v >= self.settings.hold_volts:
            yield from self._too_high(knob)
        elif cell_v >= self.settings.hold_volts - WINDOW_V or _is_timing(shown):
            yield from self._turn(knob, -NUDGE * step if _is_timing(shown) else 0.0)
        elif current_a < NEAR * self.settings.target_amperes:
            if self._may_turn_up(shown):
                yield from self._turn(knob, step)
        elif current_a > self.settings.target_amperes / NEAR:
            yield from self._turn(knob, -step)
        elif self.settings.kind == "asleep":
            self._dozed_off = True

    def _may_turn_up(self, shown: Snapshot) -> bool:
        """Who follows the cues waits for that one, once the current was brought up."""
        if not (self.settings.follows_cues and self._was_brought_up):
            return True
        cues = shown.guidance.cues if shown.guidance else ()
        return any(cue.cue == "turn_up" for cue in cues)

    def _too_high(self, knob: float) -> Iterator[Deed]:
        step = self.settings.knob_step
        yield from self._turn(knob, step if self.settings.kind == "wrong_way" else -step)

    def _turn(self, knob: float, by: float) -> Iterator[Deed]:
        to = min(max(knob + by, 0.0), 1.0)
        if to != knob:
            hurry = self.settings.kind == "hasty" and by > 0
            yield Turn(to, 0.2 if hurry else TURNS_DOWN_S)


def _urgent_cue(shown: Snapshot) -> CueView | None:
    cues = shown.guidance.cues if shown.guidance else ()
    return next((cue for cue in cues if cue.urgency != "note"), None)


def _highest_cell_v(shown: Snapshot) -> float | None:
    cells = (_value(shown, name) for name in ("front_cell", "far_cell"))
    return max((volts for volts in cells if volts is not None), default=None)


def _value(shown: Snapshot, channel: str) -> float | None:
    view = shown.channel(channel)
    return None if view is None else view.value


def _is_timing(shown: Snapshot) -> bool:
    return any(rule.state == "timing" for rule in shown.rules)
