"""Watches a rig from outside: what the plant really did, and when."""

from dataclasses import dataclass
from typing import Any

from supervisor.bench.rig import Rig
from supervisor.bench.scenario import Seen
from supervisor.control.latch import Lockout
from supervisor.control.publisher import LastSnapshot
from supervisor.snapshot import Circuit

SETTLED_S = 5.0


@dataclass
class Trip:
    """One trip. Times are simulated seconds from the scenario's start: seen locked out; the newest
    fault before it; a rule's true limit passed before it; no current (None: it still flows)."""

    at_s: float
    fault_at_s: float | None
    passed_at_s: dict[str, float]
    lockout: Lockout
    stopped_at_s: float | None = None


class Witness:
    """Looks after every cycle; knows the plant's truth, not the daemon's opinion."""

    def __init__(self, rig: Rig, publisher: LastSnapshot) -> None:
        self._rig = rig
        self._publisher = publisher
        self._expectations = sorted(
            ((act.at_seconds, act.expect) for act in rig.scenario.timeline if act.expect),
            key=lambda expectation: expectation[0],
        )
        self._limits = _true_limits(rig)
        self._passed_at_s: dict[str, float] = {}
        self._is_locked_out = False
        self.failures: list[str] = []
        self.was_closed = False
        self.trips: list[Trip] = []
        self.finished_at_s: float | None = None  # since when it is

    @property
    def peak_cell_v(self) -> float:
        return self._rig.world.plant.peak_cell_v

    @property
    def current_flows(self) -> bool:
        return bool(self._rig.world.plant.current_a)

    def look(self) -> None:
        circuit = self._rig.loop.guard.circuit
        self.was_closed |= circuit is Circuit.CLOSED
        if circuit is Circuit.LOCKED_OUT:
            self._note_trip()
        else:
            self._note_limits()
        self._is_locked_out = circuit is Circuit.LOCKED_OUT
        if circuit is not Circuit.FINISHED:
            self.finished_at_s = None
        elif self.finished_at_s is None:
            self.finished_at_s = self._rig.elapsed_s
        while self._expectations and self._expectations[0][0] <= self._rig.elapsed_s:
            at_s, seen = self._expectations.pop(0)
            self._compare(at_s, seen)

    @property
    def nothing_to_come(self) -> bool:
        """Locked out or finished for a while, and the timeline holds nothing to change it."""
        ended_s = self.trips[-1].at_s if self._is_locked_out else self.finished_at_s
        if ended_s is None:
            return False
        last_act_s = max((act.at_seconds for act in self._rig.scenario.timeline), default=0.0)
        return self._rig.elapsed_s > max(last_act_s, ended_s) + SETTLED_S

    def response_s(self, rule: str | None) -> float | None:
        """From the true value passing the rule's limit, or else the newest fault, to no current, at
        the last trip. None when no current flowed any more at its cause."""
        if not self.trips:
            return None
        trip = self.trips[-1]
        began_s = trip.passed_at_s.get(rule or "", trip.fault_at_s)
        if began_s is None or trip.stopped_at_s is None:
            return None
        return trip.stopped_at_s - began_s

    @property
    def lockout(self) -> Lockout | None:
        """Of the last trip."""
        return self.trips[-1].lockout if self.trips else None

    @property
    def trip_at_s(self) -> float | None:
        """Of the last trip."""
        return self.trips[-1].at_s if self.trips else None

    def _note_trip(self) -> None:
        lockout = self._rig.loop.keeper.lockout
        assert lockout
        if not self._is_locked_out:
            fault_at_s = self._rig.last_fault_at_s
            since_s = None if fault_at_s is None else fault_at_s - self._rig.started_at_s
            passed_at_s, self._passed_at_s = self._passed_at_s, {}
            self.trips.append(Trip(self._rig.elapsed_s, since_s, passed_at_s, lockout))
        trip, plant = self.trips[-1], self._rig.world.plant
        trip.lockout = lockout
        if trip.stopped_at_s is None and not plant.current_a and plant.stopped_at_s is not None:
            trip.stopped_at_s = plant.stopped_at_s - self._rig.started_at_s

    def _note_limits(self) -> None:
        plant = self._rig.world.plant
        truth = {"V": plant.max_cell_v, "A": plant.current_a}
        for rule, (unit, limit) in self._limits.items():
            if truth[unit] <= limit:
                self._passed_at_s.pop(rule, None)
            else:
                self._passed_at_s.setdefault(rule, self._rig.elapsed_s)

    def _compare(self, at_s: float, seen: Seen) -> None:
        lockout = self._rig.loop.keeper.lockout
        current_a = self._shown("shunt")
        cell_v = self._shown("front_cell")
        for name, found, wanted in (
            ("circuit", self._rig.loop.guard.circuit.value, seen.circuit),
            ("stage", self._guidance("stage"), seen.stage),
            ("tripped by", lockout and lockout.tripped_by, seen.tripped_by),
        ):
            if wanted is not None and found != wanted:
                self._fail(at_s, f"{name} was {found}, expected {wanted}")
        cues = [cue.cue for cue in self._guidance("cues") or ()]
        if seen.cue is not None and seen.cue not in cues:
            self._fail(at_s, f"cues were {', '.join(cues) or 'none'}, expected {seen.cue}")
        if seen.cell_above_volts and not (cell_v and cell_v > seen.cell_above_volts):
            self._fail(at_s, f"cell was {cell_v} V, expected above {seen.cell_above_volts}")
        if seen.current_above_amperes and not (
            current_a and current_a > seen.current_above_amperes
        ):
            self._fail(
                at_s, f"current was {current_a} A, expected above {seen.current_above_amperes} A"
            )
        if seen.current_below_amperes and not (
            current_a is not None and abs(current_a) < seen.current_below_amperes
        ):
            self._fail(
                at_s, f"current was {current_a} A, expected below {seen.current_below_amperes} A"
            )

    def _guidance(self, name: str) -> Any:
        snapshot = self._publisher.snapshot
        return getattr(snapshot.guidance, name) if snapshot and snapshot.guidance else None

    def _shown(self, channel: str) -> float | None:
        snapshot = self._publisher.snapshot
        view = snapshot.channel(channel) if snapshot else None
        return None if view is None or view.value is None else round(view.value, 4)

    def _fail(self, at_s: float, what: str) -> None:
        self.failures.append(f"at {at_s:g} s: {what}")


def _true_limits(rig: Rig) -> dict[str, tuple[str, float]]:
    rules = rig.settings.protection
    return {
        "overvoltage": ("V", rules.overvoltage.trip_volts),
        "overvoltage_high_set": ("V", rules.overvoltage_high_set.trip_volts),
        "overcurrent": ("A", rules.overcurrent.trip_amperes),
    }
