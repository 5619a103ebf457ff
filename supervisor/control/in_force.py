"""All that follows from the settings in force: made anew when another profile is chosen."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from supervisor.control.remembered import TALLY
from supervisor.devices.sampler import ConverterSampler
from supervisor.guidance.guide import Guide
from supervisor.guidance.tally import Tally
from supervisor.measurement.chain import MeasurementChain
from supervisor.protection.decision import Protection
from supervisor.protection.verdict import Memory, Rule
from supervisor.settings.model import SupervisorSettings

if TYPE_CHECKING:
    from supervisor.control.loop import Parts


class InForce:
    """From the converter's codes to what the rules and the guide say."""

    def __init__(self, settings: SupervisorSettings, parts: "Parts") -> None:
        self.settings = settings
        self.sampler = ConverterSampler(settings, parts.bus, parts.clock)
        self.chain = MeasurementChain(settings)
        self.protection = Protection(settings)
        self.guide = Guide(settings) if settings.charge else None
        self.tally = self.guide.tally if self.guide else Tally(settings)

    @property
    def rules(self) -> list[Rule]:
        return self.protection.rules

    @property
    def remedies(self) -> dict[str, str]:
        """Of each rule, what to check before a reset."""
        return {rule.key: rule.remedy for rule in self.rules}

    def memories(self, now_s: float) -> dict[str, Memory]:
        """What must not be forgotten, by the rules' keys and ``tally``."""
        return self.protection.memories(now_s) | {TALLY: self.tally.memory()}

    def recall(self, memories: Mapping[str, Memory], now_s: float, *, is_whole: bool) -> None:
        self.protection.recall(memories, now_s, is_whole=is_whole)
        self.tally.recall(memories.get(TALLY), is_whole=is_whole)
