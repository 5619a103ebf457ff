"""The coil itself: whether it is energised, since when, and whether somebody asked for that."""

from collections.abc import Iterator, Mapping

from supervisor.bench.campaign.freshness import Freshness
from supervisor.bench.campaign.sustained import Sustained
from supervisor.bench.campaign.violation import Violation
from supervisor.readings import Channel
from supervisor.simulator.plant import Plant

NEVER = float("inf")


BOUNCES_S = 0.5
HONOURED_S = 2.0  # after a request nobody waits for it any longer, pull-in included


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
        seen_from_a: float,
        flutter_s: float,
    ) -> None:
        """``hold_s``: age of the oldest reading at which the coil must be off; ``frozen_s``: the
        same while a chip goes on converting but its result stands still; ``seen_from_a``: less
        current shows nobody that the contact is welded; ``flutter_s``: so short an opening by
        itself may go unseen."""
        self._plant, self._freshness = plant, freshness
        self._hold_s, self._frozen_s = hold_s, frozen_s
        self._flutter_s = max(flutter_s, BOUNCES_S)
        self._parts = Sustained(parts_s)
        self._seen_from_a = seen_from_a
        self._was_driven = self._was_closed = False
        self._closed_until_s = -NEVER  # by itself: when the contact was closed last
        self._asked_at_s = self._reset_at_s = -NEVER
        self._admitted_at_s = -NEVER  # of requests to close that no coil has gone on for yet
        self._is_tripped = False

    def asked(self, act: str, at_s: float) -> None:
        if act == "close":
            self._asked_at_s = self._admitted_at_s = at_s
        elif act == "reset" and self._is_tripped:
            self._reset_at_s = at_s
        elif act == "open":
            self._asked_at_s = self._admitted_at_s = -NEVER

    def ended_without_a_word(self) -> None:
        """The daemon was killed while closed: as good as a trip."""
        self._is_tripped = True

    def note_lockout(self, locked: bool, at_s: float) -> None:
        """What the daemon itself says: locked out, or not (any more)."""
        if locked:
            self._is_tripped = True
        elif at_s - self._reset_at_s <= HONOURED_S:
            self._is_tripped = False

    def look(self, from_s: float, until_s: float) -> Iterator[Violation]:
        contactor = self._plant.contactor
        if contactor.driven and not self._was_driven:
            yield from self._goes_on(until_s)
        elif contactor.closed and not self._was_closed:
            yield from self._closes(until_s)
        if contactor.closed:
            self._closed_until_s = until_s
        self._was_driven, self._was_closed = contactor.driven, contactor.closed
        is_on = contactor.energised
        yield from self._is_blind(is_on, until_s)
        flows = not is_on and abs(self._plant.current_a) > self._seen_from_a
        lasted_s = self._parts.lasts(flows, from_s, until_s)
        if lasted_s is not None:
            yield Violation("e", "coil", until_s, f"current {lasted_s:.3f} s after coil off")

    def _goes_on(self, at_s: float) -> Iterator[Violation]:
        """By the driver: somebody decided it."""
        if self._is_tripped:
            yield Violation("g", "coil", at_s, "the coil is on again")
        elif at_s - self._admitted_at_s > HONOURED_S:
            yield Violation("h", "coil", at_s, "the coil is on and nobody asked")
        self._admitted_at_s = -NEVER  # one request, one closing

    def _closes(self, at_s: float) -> Iterator[Violation]:
        """By itself, the driver never having let go: a wire that touches, a contact that frees."""
        open_s = at_s - max(self._closed_until_s, self._asked_at_s)
        if open_s > max(self._flutter_s, HONOURED_S if self._closed_until_s == -NEVER else 0.0):
            yield Violation("h", "coil", at_s, f"it closes by itself after {open_s:.3f} s")

    def _is_blind(self, is_on: bool, at_s: float) -> Iterator[Violation]:
        too_old = self._too_old(at_s) if is_on else None
        if too_old:
            yield Violation("d", "coil", at_s, too_old)

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
