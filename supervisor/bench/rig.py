"""One scenario on the bench: the real loop on a simulated world, with a simulated operator."""

import logging
from collections.abc import Sequence
from pathlib import Path

from supervisor.bench.scenario import Act, Scenario
from supervisor.control.assemble import assemble
from supervisor.control.publisher import Publisher
from supervisor.control.requests import Inbox, Mailbox
from supervisor.devices.protocols import Clock
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.world import World

log = logging.getLogger(__name__)


class Rig:
    """Loop and world under one clock. The timeline runs as the world's time passes."""

    def __init__(
        self,
        scenario: Scenario,
        settings: SupervisorSettings,
        *,
        clock: Clock,
        state_dir: Path,
        publisher: Publisher,
        inboxes: Sequence[Inbox] = (),
    ) -> None:
        self.scenario = scenario
        self.settings = settings
        self.clock = clock
        self.started_at_s = clock.now_s()
        self.operator = Mailbox()
        self.last_fault_at_s: float | None = None
        self.problems: list[str] = []
        self.said: list[tuple[float, str]] = []
        self.world = World(settings, scenario.plant, clock, seed=scenario.seed)
        self.loop = assemble(
            settings,
            clock=clock,
            open_bus=self.world.open_bus,
            pin_factory=self.world.pin_factory,
            one_wire=self.world.one_wire,
            state_dir=state_dir,
            inboxes=[*inboxes, self.operator],
            publisher=publisher,
            simulated=True,
        )
        for act in scenario.timeline:
            self._schedule(act)

    @property
    def elapsed_s(self) -> float:
        return self.clock.now_s() - self.started_at_s

    def _schedule(self, act: Act) -> None:
        self.world.at(self.started_at_s + act.at_seconds, lambda: self._try_to_perform(act))

    def _try_to_perform(self, act: Act) -> None:
        """A fault for a part that is not there is the scenario's mistake, not the loop's."""
        try:
            self._perform(act)
        except ValueError as error:
            self.problems.append(f"at {act.at_seconds:g} s: {error}")
            log.warning("timeline %s", self.problems[-1])

    def _perform(self, act: Act) -> None:
        if act.say:
            self.said.append((self.elapsed_s, act.say))
        if act.close:
            self.operator.put("close")
        if act.open:
            self.operator.put("open")
        if act.reset:
            self.operator.put("reset", act.reset)
        if act.knob:
            self.world.knob(act.knob.to, act.knob.over_seconds)
        if act.fault:
            self.last_fault_at_s = self.clock.now_s()
            self.world.fault(act.fault)
        if act.clear:
            self.world.clear(act.clear)
