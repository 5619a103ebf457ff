"""The person of a simulation: does what is asked for, and reads a meter of the stated accuracy."""

import math
from collections.abc import Callable
from functools import partial, singledispatchmethod
from random import Random

from supervisor.bench.commissioning.build import SimulatedBuild
from supervisor.commissioning.deeds import (
    CoilOnly,
    Deed,
    DidIt,
    Flow,
    Jump,
    MeterReads,
    NoCurrent,
    Press,
    PutBack,
    Raise,
    Source,
    TakeOff,
)
from supervisor.commissioning.person import MeterKind
from supervisor.measurement.meter import Meter
from supervisor.readings import Channel
from supervisor.simulator.lead import Lead

METERS = {
    "volts": Meter(reading_percent=0.05, counts=3, resolution=0.0001),
    "millivolts": Meter(reading_percent=0.05, counts=5, resolution=0.00001),
    "amperes": Meter(reading_percent=0.5, counts=3, resolution=0.1),
}
KINDS = {"V": "volts", "mV": "millivolts", "A": "amperes"}


class SimulatedHands:
    """At a build whose world does as the hands do. ``meter_share``: how much of its stated error
    the meter really has, -1 to 1."""

    name = "simulated hands"

    def __init__(
        self,
        build: SimulatedBuild,
        tell: Callable[[str], None] = lambda _text: None,
        *,
        meter_share: float = 0.3,
        seed: int = 1,
    ) -> None:
        self._world = build.world
        self._clock = build.clock
        self._tell = tell
        self._meter_share = meter_share
        self._rng = Random(seed)

    def tells(self, text: str) -> None:
        self._tell(text)

    def is_shown(self, text: str) -> None:
        pass

    def meter(self, kind: MeterKind) -> Meter:
        return METERS[kind]

    def does(self, deed: Deed) -> None:
        self._tell(deed.text)
        self._world.catch_up()
        self._do(deed)

    def reads(self, question: MeterReads) -> float:
        """With the error the meter has, to the last digit it shows."""
        self._world.catch_up()
        if question.unit not in KINDS:
            return self._world.probes[question.channel].celsius(self._clock.now_s())
        meter = METERS[KINDS[question.unit]]
        true = self._true(question)
        shown = true + self._meter_share * meter.limit(true)
        factor = 1000 if question.unit == "mV" else 1
        return factor * round(shown / meter.resolution) * meter.resolution

    def saw(self, question: DidIt) -> bool:
        self._world.catch_up()
        is_on = self._is_on(question.output)
        asks_for_off = any(word in question.asked for word in ("again", "let go"))
        return not is_on if asks_for_off else is_on

    @singledispatchmethod
    def _do(self, deed: object) -> None:
        raise TypeError(f"nobody knows how to do {deed}")

    @_do.register
    def _(self, _deed: CoilOnly) -> None:
        """Nothing flows: the world's supply is at zero, as long as nobody turns it up."""
        self._world.knob(0.0)

    @_do.register
    def _(self, _deed: NoCurrent) -> None:
        self._put("shunt", lambda _at_s: 0.0)

    @_do.register
    def _(self, deed: Flow) -> None:
        true_a = deed.amperes * (1 + self._rng.uniform(-0.02, 0.02))
        self._put("shunt", lambda _at_s: true_a)

    @_do.register
    def _(self, deed: Source) -> None:
        for channel in deed.channels:
            lead = self._lead(channel)
            lead.held_v = None
            value = deed.value
            if deed.millivolts is not None:
                value = deed.millivolts / 1000 / lead.volts_per_unit
            self._put(channel, _steady(value))

    @_do.register
    def _(self, deed: Jump) -> None:
        self._do(Source(deed.channels, deed.value, deed.millivolts))

    @_do.register
    def _(self, deed: Raise) -> None:
        begin_s = self._clock.now_s()
        for channel in deed.channels:
            factor = 1.0
            if deed.millivolts_per_ampere is not None:
                factor = deed.millivolts_per_ampere / 1000 / self._lead(channel).volts_per_unit
            self._put(channel, _ramp(deed, begin_s, factor))

    @_do.register
    def _(self, deed: TakeOff) -> None:
        lead = self._lead(deed.channel)
        self._world.change(lambda: setattr(lead, "held_v", 0.0))

    @_do.register
    def _(self, deed: PutBack) -> None:
        for channel in {*deed.channels, *(("shunt",) if deed.cables else ())}:
            self._lead(channel).held_v = None
            self._put(channel, None)

    @_do.register
    def _(self, deed: Press) -> None:
        setattr(self._world, deed.button.replace("_button", "_pressed"), deed.pressed)
        self._world.pin_factory.refresh()

    def _put(self, channel: str, source: Callable[[float], float] | None) -> None:
        leads = [self._lead(channel)]
        if channel == "front_cell" and self._world.second_line:
            leads.append(self._world.second_line.lead)
        for lead in leads:
            self._world.change(partial(lead.put_on, source, self._clock.now_s()))

    def _lead(self, channel: str) -> Lead:
        return self._world.leads[Channel(channel)]

    def _true(self, question: MeterReads) -> float:
        """At the source itself: what the leads do is not the meter's."""
        lead = self._lead(question.channel)
        value = lead.source(self._clock.now_s()) if lead.source else math.nan
        return value * lead.volts_per_unit if question.unit == "mV" else value

    def _is_on(self, output: str) -> bool:
        world = self._world
        match output:
            case "contactor":  # by its lever, which the coil pulls and a weld holds
                return world.plant.contactor_closed or world.plant.contactor.energised
            case "main_contacts":
                return world.plant.contactor_closed
            case "mains_contactor":
                return world.plant.mains_on
            case "buzzer" | "lamp":
                pin = getattr(world.settings.panel, output).pin
                return bool(world.pin_factory.pin(pin).state)
        return True


def _steady(value: float) -> Callable[[float], float]:
    return lambda _at_s: value


def _ramp(deed: Raise, begin_s: float, factor: float) -> Callable[[float], float]:
    """Evenly, and then it stays where it ends."""
    way = math.copysign(deed.per_s, deed.end - deed.begin)

    def value(at_s: float) -> float:
        gone = way * min(max(at_s - begin_s, 0.0), deed.lasts_s)
        return (deed.begin + gone) * factor

    return value
