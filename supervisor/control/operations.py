"""How often the contactor has closed, over its life: its maker rates it for so many closings."""

from math import isfinite

from supervisor.protection.verdict import Memory
from supervisor.readings import ContactorState
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import with_profile

KEY = "contactor"


def _most_pulses(settings: SupervisorSettings) -> int:
    pulsed = settings.charge.pulsed_hold if settings.charge else None
    return pulsed.most_pulses if pulsed else 0


class Operations:
    """Counts closings. After an end without a word, those that may be missing are counted too."""

    def __init__(self, settings: SupervisorSettings) -> None:
        of_profiles = [with_profile(settings, name) for name in settings.profiles]
        self._most_lost = 1 + max(map(_most_pulses, (settings, *of_profiles)))
        self._closed_at_s: float | None = None
        self.count = 0

    def follow(self, contactor: ContactorState) -> None:
        """Once a cycle."""
        closed_at_s = contactor.told_at_s if contactor.told_to_close else None
        if closed_at_s is not None and closed_at_s != self._closed_at_s:
            self.count += 1
        self._closed_at_s = closed_at_s

    def memory(self) -> Memory:
        return {"closings": float(self.count)}

    def recall(self, memory: Memory | None, *, is_whole: bool) -> None:
        closings = (memory or {}).get("closings", 0.0)
        if isfinite(closings) and closings >= 0:
            self.count = int(closings) + (0 if is_whole else self._most_lost)
