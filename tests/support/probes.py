"""Temperature probes: settings that have them, and a rule fed with their answers."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from cycles import cycle

from supervisor.protection.rules.temperature import TemperatureRule
from supervisor.protection.verdict import Verdict
from supervisor.readings import Place, ProbeReading, Quality, Readings
from supervisor.settings.hardware import Probe
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import Temperature

SERIAL = "28-0316a2795bff"
SINK = {"chip": "lm75", "place": "heat_sink", "address": 0x4C}
IRON = {"chip": "lm75", "place": "transformer", "address": 0x4D}
CELL = {"chip": "ds18b20", "place": "cells", "serial": SERIAL}
PROBES = {"sink": SINK, "iron": IRON, "cell": CELL}

# Common practice without a source, but the lowest: makers' sheets forbid charging below 0 degrees
# (from memory).
LIMITS = {
    "heat_sink_above_celsius": 80.0,
    "transformer_above_celsius": 100.0,
    "cells_above_celsius": 45.0,
    "cells_below_celsius": 5.0,
    "delay_seconds": 4.0,
    "lost_after_seconds": 15.0,
}
GONE = Quality.NO_ANSWER
Celsius = float | Quality
Answers = Mapping[str, Celsius | None]
WELL: Answers = {"sink": 40.0, "iron": 40.0, "cell": 20.0}


def reading(probe: str, place: Place, what: Celsius, taken_at_s: float) -> ProbeReading:
    if isinstance(what, Quality):
        return ProbeReading(probe, place, None, what, taken_at_s)
    return ProbeReading(probe, place, what, Quality.GOOD, taken_at_s)


def with_probes(
    settings: SupervisorSettings, probes: dict[str, dict[str, Any]], **rule: Any
) -> SupervisorSettings:
    """Without ``rule``'s keys, there is none."""
    temperature = Temperature(**rule) if rule else None
    protection = settings.protection.model_copy(update={"temperature": temperature})
    fitted = {name: Probe(**probe) for name, probe in probes.items()}
    return settings.model_copy(update={"probes": fitted, "protection": protection})


class Fed:
    """A rule, fed with answers that are one second apart unless said otherwise."""

    def __init__(self, settings: SupervisorSettings, **limits: float | None) -> None:
        self.settings = with_probes(settings, PROBES, **{**LIMITS, **limits})
        self.rule = TemperatureRule(self.settings)
        self.places = {name: Place(probe.place) for name, probe in self.settings.probes.items()}
        self.seen: dict[str, ProbeReading] = {}

    def readings(self, now_s: float) -> Readings:
        return replace(cycle(now_s), probes=dict(self.seen))

    def at(self, now_s: float, /, taken_at_s: float | None = None, **answers: Celsius) -> Verdict:
        """A cycle in which these answers are new."""
        for name, what in answers.items():
            taken_s = now_s if taken_at_s is None else taken_at_s
            self.seen[name] = reading(name, self.places[name], what, taken_s)
        return self.rule.judge(self.readings(now_s), now_s)

    def course(
        self, probe: str, values: Iterable[Celsius], step_s: float = 1.0, start_s: float = 0.0
    ) -> list[Verdict]:
        """This probe's values one after the other, the others well."""
        return [
            self.at(start_s + k * step_s, **{**WELL, probe: value})
            for k, value in enumerate(values)
        ]
