"""A scenario told while it runs: real loop, simulated bank, time-lapse."""

import time
from collections.abc import Iterator
from pathlib import Path

from supervisor.bench.rig import Rig
from supervisor.bench.scenario import Scenario
from supervisor.control.latch import Lockout
from supervisor.control.publisher import StatusFile
from supervisor.journal.direct import DirectJournal
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.snapshot import Circuit, Snapshot

REFRESH_S = 0.2  # real seconds between two looks


class _Shown(StatusFile):
    """The status file for the page, at the screen's pace rather than the time-lapse's."""

    def __init__(self, run_dir: Path) -> None:
        super().__init__(run_dir)
        self.snapshot: Snapshot | None = None
        self._written_at_s = float("-inf")

    def publish(self, snapshot: Snapshot) -> None:
        changed = self.snapshot is None or snapshot.circuit != self.snapshot.circuit
        self.snapshot = snapshot
        if changed or time.monotonic() - self._written_at_s > REFRESH_S:
            self._written_at_s = time.monotonic()
            super().publish(snapshot)


class Story:
    """Plays a scenario; ``looks`` yields a snapshot for each refresh of the screen."""

    def __init__(
        self, scenario: Scenario, settings: SupervisorSettings, folder: Path, speed: float
    ) -> None:
        self._shown = _Shown(folder)
        self._clock = SimulatedClock(speed=speed)
        self.speed = speed
        self.rig = Rig(
            scenario,
            settings,
            clock=self._clock,
            state_dir=folder,
            publisher=self._shown,
            journal=DirectJournal(folder),
        )
        self._began_s = time.monotonic()
        self._last_act_s = max((act.at_seconds for act in scenario.timeline), default=0.0)
        self.tripped_at_s: float | None = None
        self.lockout: Lockout | None = None
        self.without_cutoff: list[tuple[float, float]] = []

    def looks(self, linger_s: float) -> Iterator[Snapshot]:
        """Until the scenario's end. A trip is shown in real time for ``linger_s`` real seconds; the
        story goes on after it if anything is to come."""
        next_look_s, lingers_until_s = 0.0, float("inf")
        while self.rig.elapsed_s < self.rig.scenario.seconds:
            self.rig.cycle()
            if self.tripped_at_s is None and self.rig.loop.guard.circuit is Circuit.LOCKED_OUT:
                self._note_trip()
                lingers_until_s = time.monotonic() + linger_s
            if self.lockout and not self.lockout.opened_in_s:
                self.lockout = self.rig.loop.keeper.lockout or self.lockout
            if time.monotonic() >= lingers_until_s and self.rig.loop.guard.is_open_for_good():
                if self.rig.elapsed_s > self._last_act_s:
                    return
                self._clock.speed, lingers_until_s = self.speed, float("inf")
            if time.monotonic() >= next_look_s and self._shown.snapshot:
                next_look_s = time.monotonic() + REFRESH_S
                yield self._shown.snapshot

    @property
    def snapshot(self) -> Snapshot | None:
        """The newest."""
        return self._shown.snapshot

    def _note_trip(self) -> None:
        self.tripped_at_s = self.rig.elapsed_s
        self.lockout = self.rig.loop.keeper.lockout
        self.without_cutoff = self.rig.world.unprotected(for_s=7200, every_s=10)
        self._clock.speed = 1.0  # from here on in real time

    @property
    def achieved_speed(self) -> float:
        """Simulated seconds per real second so far: a slow computer may not reach ``speed``."""
        return self.rig.elapsed_s / max(time.monotonic() - self._began_s, 1e-3)

    def minutes_to(self, volts: float) -> float | None:
        """Simulated minutes from the cutoff to this cell voltage, had there been none."""
        over = (at_s for at_s, cell_v in self.without_cutoff if cell_v >= volts)
        reached_s = next(over, None)
        return None if reached_s is None else reached_s / 60

    def __enter__(self) -> "Story":
        return self

    def __exit__(self, *_: object) -> None:
        self.rig.loop.close()
