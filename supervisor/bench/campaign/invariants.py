"""What must hold in every run, whatever the rules are: judged from the plant's truth.

From the daemon come the figures that `check` prints for its settings, that it says it is locked
out, and what ``watch`` gives: its word and its file, for what the plant cannot show. What counts as
a cell's voltage is the true terminal voltage of any cell, the crest of the ripple included.
"""

from collections.abc import Callable, Iterable

from supervisor.bench.campaign.coil import Coil
from supervisor.bench.campaign.daemon import Daemon
from supervisor.bench.campaign.freshness import Freshness
from supervisor.bench.campaign.in_force import InForce
from supervisor.bench.campaign.pulses import Pulses
from supervisor.bench.campaign.reach import FASTER, Reach
from supervisor.bench.campaign.violation import Violation
from supervisor.bench.campaign.warmth import FreezingCells, HotPart
from supervisor.bench.campaign.watched import Watched
from supervisor.control.latch import Lockout
from supervisor.readings import Channel
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.world import World
from supervisor.sizing.blind_budgets import SHUNT_NEAR_ZERO
from supervisor.sizing.budget import RuleBudget

MOVING_S = 1e-3  # beside the release: the plant's own step


class Invariants:
    """Listens to one world. ``look`` after every cycle; ``asked`` when somebody asks for an act.

    ``clean``: nothing goes wrong in this run, so it must not trip either.
    """

    def __init__(
        self,
        settings: SupervisorSettings,
        world: World,
        lockout: Callable[[], Lockout | None],
        *,
        clean: bool,
    ) -> None:
        self._settings, self._world, self._lockout = settings, world, lockout
        self._began_s = self._seen_s = world.clock.now_s()
        self._in_force = InForce(settings, world)
        printed, named = self._in_force.now.printed, self._in_force.now.named
        self._reach = Reach(settings, world)
        self._hot_parts = [HotPart(settings, b) for b in printed if b.rule == "supply_thermal"]
        self._freezing = FreezingCells(settings, world, printed)
        self.coil = Coil(
            world.plant,
            Freshness(settings, world),
            Pulses(lambda: self._in_force.now.settings),
            hold_s=_hold_s(settings),
            frozen_s=_frozen_s(named),
            parts_s=_parts_s(settings, named),
            seen_from_a=_seen_from_a(settings, named),
            flutter_s=named["failed_to_close"].response_s if "failed_to_close" in named else 0.0,
        )
        self._over_s: float | None = None  # since when the highest cell is over the main limit
        self._peak_v = settings.bank.never_above_volts
        self._told: set[tuple[str, str, str | None]] = set()
        self._may_trip = not clean
        self._looked_s = self._began_s
        self._watched: Watched | None = None
        self.violations: list[Violation] = []
        self.beyond_reach: list[tuple[str, Violation]] = []
        world.plant.before_change.append(self._plant_changes)
        self._hear_pins(world.pin_factory.listener)

    def watch(self, daemon: Daemon) -> None:
        """From now on: what the daemon says and what it has on disk."""
        self._watched = Watched(daemon)

    def asked(self, act: str) -> None:
        self.coil.asked(act, self._world.now_s())

    def look(self) -> None:
        """After a cycle; the world is brought to the present first."""
        self._world.catch_up()
        now_s = self._world.clock.now_s()
        self._reach.look()
        self._note_cycle(self._lockout(), now_s)
        self._note(self.coil.look(now_s, now_s))
        flows = bool(self._world.plant.current_a)
        self._note_one(self._freezing.look(flows, self._looked_s, now_s))
        self._looked_s = now_s
        self._look_at_peak(now_s)

    def _note_cycle(self, lockout: Lockout | None, now_s: float) -> None:
        watched = self._watched
        if watched:
            self._look_at_daemon(watched, now_s)
        is_finished = watched is not None and watched.is_finished
        self.coil.note_cycle(now_s, locked=lockout is not None, finished=is_finished)
        if lockout and not self._may_trip:
            self._may_trip = True
            detail = f"by {lockout.tripped_by}: {lockout.reason}"
            self.violations.append(Violation("f", "trip", now_s, detail))

    def _look_at_daemon(self, watched: Watched, now_s: float) -> None:
        if watched.was_started_anew():
            self.coil.started_anew()
        if watched.profile is not None:
            self._in_force.adopt(watched.profile)
            self._reach.settings = self._in_force.now.settings
        self._note(watched.look(now_s))

    def _plant_changes(self, at_s: float) -> None:
        """Until now voltages and currents went in straight lines."""
        from_s, self._seen_s = self._seen_s, at_s
        plant = self._world.plant
        for found in self._in_force.now.look(from_s, at_s):
            self._note_one(found)
        for part in self._hot_parts:
            self._note_one(part.look(plant, from_s, at_s))
        self._note(self.coil.look(from_s, at_s))
        is_over = plant.max_cell_v > self._in_force.now.overvoltage_v
        if is_over and self._over_s is None:
            self._over_s = from_s
        elif not is_over:
            self._over_s = None
        self._look_at_peak(at_s)

    def _look_at_peak(self, now_s: float) -> None:
        peak_v, bank = self._world.plant.peak_cell_v, self._settings.bank
        if peak_v <= self._peak_v:
            return
        self._peak_v = peak_v
        detail = f"{peak_v:.4f} V, never above {bank.never_above_volts:g} V"
        violation = Violation("a", "voltage", now_s - self._began_s, detail)
        self._note_one(violation, FASTER if self._rose_faster(now_s) else None)

    def _rose_faster(self, now_s: float) -> bool:
        """The mean itself, within the time in which the limit must have acted."""
        if self._over_s is None:
            return False
        took_s = now_s - self._over_s
        promised = self._in_force.now
        rose_v = self._world.plant.max_cell_v - promised.overvoltage_v
        promised_v = took_s * self._settings.bank.fastest_rise_volts_per_second
        response_s = promised.named["overvoltage"].response_s
        return took_s <= response_s and rose_v > promised_v

    def _hear_pins(self, listener: Callable[[int, bool], None]) -> None:
        def hear(pin: int, level: bool) -> None:
            was_driven = self._world.plant.contactor.driven
            listener(pin, level)
            now_s = self._world.clock.now_s()
            if self._watched and self._world.plant.contactor.driven and not was_driven:
                self._note(self._watched.latched.goes_on(now_s))
            self._note(self.coil.look(now_s, now_s))

        self._world.pin_factory.listener = hear

    def _note(self, found: Iterable[Violation]) -> None:
        for violation in found:
            self._note_one(violation)

    def _note_one(self, violation: Violation | None, fact: str | None = None) -> None:
        """Each kind once; what goes on when its excuse has ended counts after all."""
        if violation is None:
            return
        self._reach.look()
        fact = fact or self._reach.excuse(violation)
        key = (violation.invariant, violation.about, fact)
        if key in self._told:
            return
        self._told.add(key)
        if fact is None:
            self.violations.append(violation)
        else:
            self.beyond_reach.append((fact, violation))


def _frozen_s(named: dict[str, RuleBudget]) -> dict[Channel, float]:
    """A shunt near 0 A has only its noise to show that it is alive."""
    allowed = dict.fromkeys(Channel, named["sensing"].response_s)
    allowed[Channel.SHUNT] = named[f"sensing, {SHUNT_NEAR_ZERO}"].response_s
    return allowed


def _parts_s(settings: SupervisorSettings, named: dict[str, RuleBudget]) -> float:
    """From the coil off to no current: the release; with a relay on the mains side and a main
    contact that stays, what it takes to find that out, and that relay's own time."""
    release_s = settings.contactor.release_milliseconds / 1000
    if settings.mains_contactor is None:
        return release_s + MOVING_S
    return named["failed_to_open"].response_s + release_s + MOVING_S


def _seen_from_a(settings: SupervisorSettings, named: dict[str, RuleBudget]) -> float:
    """An auxiliary contact tells of the main one at any current."""
    if settings.contactor.auxiliary:
        return 0.0
    limit_a = named["failed_to_open"].effective_limit
    assert limit_a is not None
    return limit_a


def _hold_s(settings: SupervisorSettings) -> float:
    """A reading may be renewed upon until it is stale; then the lease ends, or the driver drops."""
    dropout_ms = settings.contactor.dropout_milliseconds
    hold_s = dropout_ms / 1000 if dropout_ms else settings.lease_s
    return hold_s + settings.protection.stale.trip_after_seconds
