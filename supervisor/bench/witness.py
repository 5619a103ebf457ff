"""Watches a rig from outside: what the plant really did, and when."""

from supervisor.bench.rig import Rig
from supervisor.bench.scenario import Seen
from supervisor.control.latch import Lockout
from supervisor.control.publisher import LastSnapshot
from supervisor.snapshot import Circuit

NO_CURRENT_A = 0.5


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
        self._fault_at_s: float | None = None
        self._stopped_at_s: float | None = None
        self.failures: list[str] = []
        self.was_closed = False
        self.trip_at_s: float | None = None
        self.lockout: Lockout | None = None

    @property
    def peak_cell_v(self) -> float:
        return self._rig.world.plant.peak_cell_v

    def look(self) -> None:
        circuit = self._rig.loop.guard.circuit
        self.was_closed |= circuit is Circuit.CLOSED
        if circuit is Circuit.LOCKED_OUT:
            self._note_trip()
        else:
            self._note_limits()
        while self._expectations and self._expectations[0][0] <= self._rig.elapsed_s:
            at_s, seen = self._expectations.pop(0)
            self._compare(at_s, seen)

    def response_s(self, rule: str | None) -> float | None:
        """From the true value passing the rule's limit, or else the newest fault, to no current."""
        began_s = self._passed_at_s.get(rule or "", self._fault_at_s)
        if began_s is None or self._stopped_at_s is None:
            return None
        return max(0.0, self._stopped_at_s - began_s)

    def _note_trip(self) -> None:
        if self.trip_at_s is None:
            self.trip_at_s = self._rig.elapsed_s
        self.lockout = self._rig.loop.keeper.lockout
        if self._stopped_at_s is None and abs(self._rig.world.plant.current_a) < NO_CURRENT_A:
            self._stopped_at_s = self._rig.elapsed_s

    def _note_limits(self) -> None:
        if self._rig.last_fault_at_s is not None:
            self._fault_at_s = self._rig.last_fault_at_s - self._rig.started_at_s
        plant = self._rig.world.plant
        truth = {"V": plant.max_cell_v, "A": plant.current_a}
        for rule, (unit, limit) in self._limits.items():
            if truth[unit] <= limit:
                self._passed_at_s.pop(rule, None)
            else:
                self._passed_at_s.setdefault(rule, self._rig.elapsed_s)

    def _compare(self, at_s: float, seen: Seen) -> None:
        snapshot = self._publisher.snapshot
        lockout = self._rig.loop.keeper.lockout
        current = snapshot and snapshot.channel("shunt")
        current_a = current.value if current else None
        cell = snapshot and snapshot.channel("front_cell")
        cell_v = cell.value if cell else None
        checks = [
            ("circuit", self._rig.loop.guard.circuit.value, seen.circuit, _same),
            ("tripped_by", lockout and lockout.tripped_by, seen.tripped_by, _same),
            ("front cell V", cell_v, seen.cell_above_volts, _above),
            ("current A", current_a, seen.current_above_amperes, _above),
            ("current A", current_a, seen.current_below_amperes, _below),
        ]
        for name, found, wanted, holds in checks:
            if wanted is not None and not holds(found, wanted):
                self.failures.append(
                    f"at {at_s:g} s: {name} was {found}, expected {holds.__name__[1:]} {wanted}"
                )


def _same(found: object, wanted: object) -> bool:
    return found == wanted


def _above(found: float | None, wanted: float) -> bool:
    return found is not None and found > wanted


def _below(found: float | None, wanted: float) -> bool:
    return found is not None and found < wanted


def _true_limits(rig: Rig) -> dict[str, tuple[str, float]]:
    rules = rig.settings.protection
    return {
        "overvoltage": ("V", rules.overvoltage.trip_volts),
        "overvoltage_high_set": ("V", rules.overvoltage_high_set.trip_volts),
        "overcurrent": ("A", rules.overcurrent.trip_amperes),
    }
