"""Which stage of the charge it is: recognised from the highest cell, with hysteresis and patience.

A turn of the knob moves the voltage by the current's drop, a few millivolts for seconds; the stages
are wider than that, and to fall back takes minutes.
"""

from supervisor.protection.believed import believed
from supervisor.readings import Readings
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Stage

UP_AFTER_S = 5.0
DOWN_AFTER_S = 120.0
HYSTERESIS_V = 0.02

# From, to, and what it takes: the highest cell, for how long. Opening ends every stage.
TRANSITIONS = (
    (Stage.NONE, Stage.BULK, "the contactor closes; on a full bank taper or hold at once"),
    (Stage.BULK, Stage.TAPER, f"above taper_above_volts for {UP_AFTER_S:g} s"),
    (Stage.BULK, Stage.HOLD, f"in the band of the hold for {UP_AFTER_S:g} s"),
    (Stage.TAPER, Stage.HOLD, f"in the band of the hold for {UP_AFTER_S:g} s"),
    (
        Stage.HOLD,
        Stage.TAPER,
        f"{HYSTERESIS_V * 1000:g} mV below that band for {DOWN_AFTER_S:g} s",
    ),
    (
        Stage.TAPER,
        Stage.BULK,
        f"{HYSTERESIS_V * 1000:g} mV below taper_above_volts for {DOWN_AFTER_S:g} s",
    ),
    (Stage.HOLD, Stage.BULK, f"likewise below both, for {DOWN_AFTER_S:g} s"),
    (Stage.HOLD, Stage.REST, "full: the circuit opens by itself"),
)
ORDER = (Stage.BULK, Stage.TAPER, Stage.HOLD)
DOWNWARDS = (Stage.HOLD, Stage.TAPER)


class ChargeStage:
    """Fed with every cycle's readings. A voltage that cannot be told changes nothing."""

    def __init__(self, settings: SupervisorSettings) -> None:
        charge = settings.charge
        assert charge is not None
        self._cells = fitted_cells(settings)
        self._from_v = {Stage.TAPER: charge.taper_above_volts, Stage.HOLD: charge.hold_from_v}
        self._stage = Stage.NONE
        self.since_s = 0.0
        self._crossed_at_s: dict[Stage, float] = {}  # by the boundary below a stage

    @property
    def stage(self) -> Stage:
        return self._stage

    def take(self, readings: Readings, now_s: float) -> Stage:
        """The stage by now: NONE while the contactor is told to open."""
        if not readings.contactor.told_to_close:
            self._enter(Stage.NONE, now_s)
        elif readings.window_is_new and (volts := self._highest_v(readings)) is not None:
            just_closed = self._stage is Stage.NONE
            self._enter(self._by(volts) if just_closed else self._after(volts, now_s), now_s)
        return self._stage

    def _highest_v(self, readings: Readings) -> float | None:
        window = readings.window or {}
        volts = (believed(window.get(cell)) for cell in self._cells)
        return max((v for v in volts if v is not None), default=None)

    def _by(self, volts: float) -> Stage:
        return next((s for s in DOWNWARDS if volts >= self._from_v[s]), Stage.BULK)

    def _after(self, volts: float, now_s: float) -> Stage:
        """Each boundary has its own time: who flickers about one has passed the one below."""
        inside = [stage for stage in DOWNWARDS if self._is_inside(stage, volts, now_s)]
        return inside[0] if inside else Stage.BULK

    def _is_inside(self, stage: Stage, volts: float, now_s: float) -> bool:
        """This stage or a higher one, once its boundary has been crossed for long enough."""
        inside, from_v = ORDER.index(self._stage) >= ORDER.index(stage), self._from_v[stage]
        crossed = volts < from_v - HYSTERESIS_V if inside else volts >= from_v
        if not crossed:
            self._crossed_at_s.pop(stage, None)
            return inside
        crossed_for_s = now_s - self._crossed_at_s.setdefault(stage, now_s)
        if crossed_for_s < (DOWN_AFTER_S if inside else UP_AFTER_S):
            return inside
        del self._crossed_at_s[stage]
        return not inside

    def _enter(self, stage: Stage, now_s: float) -> None:
        if stage is not self._stage:
            self._stage, self.since_s = stage, now_s
        if stage is Stage.NONE:
            self._crossed_at_s.clear()


def drawing() -> str:
    """The transition table as Markdown, for the documentation."""
    rows = [f"| {a.value} | {b.value} | {when} |" for a, b, when in TRANSITIONS]
    return "\n".join(["| from | to | when the highest cell is, or else |", "|---|---|---|", *rows])
