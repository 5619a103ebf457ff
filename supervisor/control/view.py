"""Makes the snapshot from what the loop knows."""

import time
from collections.abc import Sequence
from typing import TYPE_CHECKING

from supervisor import __version__
from supervisor.control.lockout import LockoutKeeper
from supervisor.control.logbook import Logbook
from supervisor.control.pacing import Pacer
from supervisor.protection.decision import Decision
from supervisor.protection.verdict import Rule, Verdict
from supervisor.readings import ProbeReading, Reading, Readings
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.response import budgets
from supervisor.snapshot import (
    ChannelView,
    Circuit,
    Counters,
    GuidanceView,
    JournalView,
    LockoutView,
    ProbeView,
    RuleView,
    Snapshot,
    WithoutView,
)

if TYPE_CHECKING:
    from supervisor.control.loop import Parts


class Viewer:
    """Knows what never changes; is told the rest."""

    def __init__(
        self,
        settings: SupervisorSettings,
        parts: "Parts",
        rules: Sequence[Rule],
        logbook: Logbook,
        *,
        simulated: bool,
    ) -> None:
        self._parts = parts
        self.adopt(settings, rules)
        self._logbook = logbook
        self._simulated = simulated
        self._started_wall = logbook.wall()
        self._cycles = 0
        self._bad_samples = 0
        self.requests = 0
        self.last: Snapshot | None = None

    def adopt(self, settings: SupervisorSettings, rules: Sequence[Rule]) -> None:
        """These settings are in force."""
        self._settings = settings
        self._functions = {rule.key: rule.function for rule in rules}
        self._budgets: dict[str, list[RuleBudget]] = {}
        for budget in budgets(settings):
            self._budgets.setdefault(budget.rule, []).append(budget)
        reasons = settings.protection.without.reasons()
        self._without = tuple(WithoutView(rule, reason) for rule, reason in reasons.items())

    def count(self, readings: Readings) -> None:
        """Once a cycle."""
        self._cycles += 1
        for reading in readings.scan.values():
            self._bad_samples += not reading.quality.is_good

    def snapshot(
        self,
        circuit: Circuit,
        readings: Readings,
        decision: Decision,
        keeper: LockoutKeeper,
        pacer: Pacer,
        hindrances: list[str],
        *,
        guidance: GuidanceView | None,
        operations: int,
        silent_s: float,
        journal: JournalView,
    ) -> Snapshot:
        now_s = self._parts.clock.now_s()
        contactor = self._parts.contactor
        shown = readings.window or readings.scan
        self.last = Snapshot(
            bank=self._settings.bank.name,
            version=__version__,
            simulated=self._simulated,
            circuit=circuit.value,
            coil_on=readings.contactor.told_to_close,
            auxiliary_closed=readings.contactor.auxiliary_closed,
            lease_left_s=contactor.lease_left_s,
            now_s=now_s,
            published_at_s=time.monotonic(),
            wall=self._logbook.wall(),
            started_wall=self._started_wall,
            never_above_v=self._settings.bank.never_above_volts,
            channels=tuple(_channel_view(reading, now_s) for reading in shown.values()),
            probes=tuple(_probe_view(probe, now_s) for probe in readings.probes.values()),
            profile=self._settings.profile,
            operations=operations,
            rated_operations=self._settings.contactor.rated_operations,
            guidance=guidance,
            silent_s=silent_s,
            journal=journal,
            rules=tuple(self._rule_view(v, now_s) for v in decision.verdicts),
            without=self._without,
            lockout=_lockout_view(keeper),
            not_closing_because=tuple(hindrances),
            uncommissioned=self._settings.uncommissioned_reason,
            events=self._logbook.events(),
            counters=self._counters(pacer),
        )
        return self.last

    def _rule_view(self, verdict: Verdict, now_s: float) -> RuleView:
        promised = self._promise(verdict)
        highest_v = (budget.highest_v for budget in self._budgets.get(verdict.rule, []))
        return RuleView(
            rule=verdict.rule,
            function=self._functions[verdict.rule],
            state=verdict.state.value,
            measured=verdict.measured,
            limit=verdict.limit,
            unit=verdict.unit,
            for_s=None if verdict.since_s is None else now_s - verdict.since_s,
            left_s=verdict.left_s,
            reason=verdict.reason,
            guard_band=promised.guard_band if promised and promised.unit == verdict.unit else None,
            response_s=promised.response_s if promised and promised.response_at is None else None,
            highest_v=max((volts for volts in highest_v if volts is not None), default=None),
        )

    def _promise(self, verdict: Verdict) -> RuleBudget | None:
        """Of a rule's budgets the one of the limit that the verdict is about, if it says."""
        promised = self._budgets.get(verdict.rule, [])
        about = (abs(verdict.limit), verdict.unit)
        same = [budget for budget in promised if (budget.limit, budget.unit) == about]
        return next(iter(same or promised), None)

    def _counters(self, pacer: Pacer) -> Counters:
        bus = self._parts.bus.counters
        return Counters(
            cycles=self._cycles,
            conversions=bus.conversions,
            bus_errors=bus.errors,
            bus_no_answers=bus.no_answers,
            bus_timeouts=bus.timeouts,
            retries=bus.retries,
            reopenings=bus.reopenings,
            bad_samples=self._bad_samples,
            deadline_misses=pacer.misses,
            worst_late_s=pacer.worst_late_s,
            late_cycles=tuple(pacer.late_cycles),
            late_sum_s=pacer.late_sum_s,
            requests=self.requests,
        )


def _channel_view(reading: Reading, now_s: float) -> ChannelView:
    return ChannelView(
        channel=reading.channel.value,
        value=reading.good_value,
        unit=reading.channel.unit,
        quality=reading.quality.value,
        uncertainty=reading.uncertainty,
        age_s=now_s - reading.taken_at_s,
        low=reading.low,
        high=reading.high,
    )


def _probe_view(reading: ProbeReading, now_s: float) -> ProbeView:
    return ProbeView(
        probe=reading.probe,
        place=reading.place.value,
        celsius=reading.celsius,
        quality=reading.quality.value,
        age_s=now_s - reading.taken_at_s,
    )


def _lockout_view(keeper: LockoutKeeper) -> LockoutView | None:
    lockout = keeper.lockout
    if lockout is None:
        return None
    return LockoutView(
        tripped_by=lockout.tripped_by,
        reason=lockout.reason,
        remedy=lockout.remedy,
        measured=lockout.measured,
        limit=lockout.limit,
        unit=lockout.unit,
        wall=lockout.wall,
        opened_in_s=lockout.opened_in_s,
        failed_to_open=lockout.failed_to_open,
        stored=keeper.stored,
        before=lockout.before,
    )
