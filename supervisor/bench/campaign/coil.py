"""The coil itself: whether it is energised, since when, and whether somebody asked for that."""

from collections.abc import Iterator, Mapping

from supervisor.bench.campaign.freshness import Freshness
from supervisor.bench.campaign.sustained import Sustained
from supervisor.bench.campaign.violation import Violation
from supervisor.readings import Channel
from supervisor.simulator.plant import Plant


class Coil:
    """Invariants d, g and h, and of e: the current ends when the coil is off."""

    def __init__(
        self,
        plant: Plant,
        freshness: Freshness,
        *,
        hold_s: float,
        frozen_s: Mapping[Channel, float],
        parts_s: float,
    ) -> None:
        """``hold_s``: age of the oldest reading at which the coil must be off; ``frozen_s``: the
        same while a chip goes on converting but its result stands still."""
        self._plant, self._freshness = plant, freshness
        self._hold_s, self._frozen_s = hold_s, frozen_s
        self._parts = Sustained(parts_s)
        self._was_on = False
        self._is_asked = self._is_tripped = self._is_reset = False
        self._told_blind = False

    def asked(self, act: str) -> None:
        self._is_asked |= act == "close"
        self._is_reset |= act == "reset" and self._is_tripped

    def note_lockout(self, locked: bool) -> None:
        """What the daemon itself says: locked out, or not (any more)."""
        if locked and not self._is_tripped:
            self._is_tripped, self._is_reset = True, False
        elif not locked and self._is_reset:
            self._is_tripped = False

    def look(self, from_s: float, until_s: float) -> Iterator[Violation]:
        is_on = self._plant.contactor.energised
        if is_on and not self._was_on:
            yield from self._goes_on(until_s)
        elif self._was_on and not is_on:
            self._is_asked = False
        self._was_on = is_on
        yield from self._is_blind(is_on, until_s)
        flows = not is_on and bool(self._plant.current_a)
        lasted_s = self._parts.lasts(flows, from_s, until_s)
        if lasted_s is not None:
            yield Violation("e", "coil", until_s, f"current {lasted_s:.3f} s after coil off")

    def _goes_on(self, at_s: float) -> Iterator[Violation]:
        if self._is_tripped:
            yield Violation("g", "coil", at_s, "the coil is on again")
        elif not self._is_asked:
            yield Violation("h", "coil", at_s, "the coil is on and nobody asked")

    def _is_blind(self, is_on: bool, at_s: float) -> Iterator[Violation]:
        too_old = self._too_old(at_s) if is_on else None
        if too_old and not self._told_blind:
            yield Violation("d", "coil", at_s, too_old)
        self._told_blind = too_old is not None

    def _too_old(self, at_s: float) -> str | None:
        read_s = at_s - min(self._freshness.read_at_s().values())
        if read_s > self._hold_s:
            return f"last conversion read {read_s:.3f} s ago, {self._hold_s:.3f} s allowed"
        for channel, live_at_s in self._freshness.live_at_s().items():
            allowed_s = self._frozen_s[channel]
            if at_s - live_at_s > allowed_s:
                lasted = f"frozen for {at_s - live_at_s:.3f} s, {allowed_s:.3f} s allowed"
                return f"result of {channel.value} {lasted}"
        return None
