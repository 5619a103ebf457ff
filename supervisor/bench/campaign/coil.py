"""The coil itself: whether it is energised, since when, and whether somebody asked for that."""

from collections.abc import Iterator, Mapping

from supervisor.bench.campaign.asked import HONOURED_S, Asked
from supervisor.bench.campaign.freshness import Freshness
from supervisor.bench.campaign.pulses import Pulses
from supervisor.bench.campaign.sustained import Sustained
from supervisor.bench.campaign.violation import Violation
from supervisor.readings import Channel
from supervisor.simulator.plant import Plant

NEVER = float("inf")


BOUNCES_S = 0.5


class Coil:
    """Invariants d, g, h and k, and of e: the current ends when the coil is off."""

    def __init__(
        self,
        plant: Plant,
        freshness: Freshness,
        pulses: Pulses,
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
        self._plant, self._freshness, self._pulses = plant, freshness, pulses
        self._hold_s, self._frozen_s = hold_s, frozen_s
        self._flutter_s = max(flutter_s, BOUNCES_S)
        self._parts = Sustained(parts_s)
        self._seen_from_a = seen_from_a
        self._was_driven = self._was_closed = False
        self._closed_until_s = -NEVER  # by itself: when the contact was closed last
        self._went_on_s = -NEVER  # when the driver took it last
        self._asked = Asked()
        self._asked_at_s = self._opened_at_s = -NEVER
        self._tripped_at_s = -NEVER  # a reset asked for before is none
        self._finished_at_s: float | None = None
        self._looked_s = -NEVER
        self._is_tripped = False

    def asked(self, act: str, at_s: float) -> None:
        self._asked.note(act, at_s)
        if act == "close":
            self._asked_at_s = at_s
        elif act == "open":
            self._asked_at_s, self._opened_at_s = -NEVER, at_s

    def ended_without_a_word(self) -> None:
        """The daemon was killed while closed: as good as a trip."""
        self._trips()

    def started_anew(self) -> None:
        """Another process: it knows nothing of an end, nor of pulses."""
        self._finished_at_s = None
        self._pulses.end("the daemon was started anew")

    def note_cycle(self, now_s: float, *, locked: bool, finished: bool) -> None:
        """What the daemon itself says: locked out, or not (any more); finished."""
        if locked and not self._is_tripped:
            self._trips()
        elif not locked and self._asked.reset(now_s, self._tripped_at_s):
            self._is_tripped = False
        if finished and self._finished_at_s is None:
            self._finished_at_s = self._looked_s
            self._pulses.end("it has finished")
        for asked_s in self._asked.look(now_s):
            self._pulses.end("somebody asked to open", asked_s)
        self._looked_s = now_s

    def _trips(self) -> None:
        self._is_tripped, self._finished_at_s = True, None
        self._tripped_at_s = self._looked_s
        self._asked.tripped()
        self._pulses.end("it has tripped")

    def look(self, from_s: float, until_s: float) -> Iterator[Violation]:
        contactor = self._plant.contactor
        if contactor.driven and not self._was_driven:
            yield from self._goes_on(until_s)
        elif contactor.closed and not self._was_closed:
            yield from self._closes(until_s)
        if self._was_driven and not contactor.driven:
            self._pulses.goes_off(until_s)
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
        elif not self._asked.closing(at_s):
            if forbidden := self._pulses.closes_again(at_s):
                yield Violation("h", "coil", at_s, f"the coil goes on by itself: {forbidden}")
        else:
            yield from self._carries_out(at_s)
        self._went_on_s = at_s

    def _carries_out(self, at_s: float) -> Iterator[Violation]:
        finished_s = self._finished_at_s
        if finished_s is not None and self._opened_at_s < finished_s:
            yield Violation("k", "coil", at_s, "nobody asked to open since it finished")
        self._finished_at_s = None
        self._asked.closed()
        self._pulses.asked_for(at_s)

    def _closes(self, at_s: float) -> Iterator[Violation]:
        """By itself, the driver never having let go: a wire that touches, a contact that frees."""
        open_s = at_s - max(self._closed_until_s, self._asked_at_s, self._went_on_s)
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
