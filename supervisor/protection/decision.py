"""All verdicts of a cycle, and what follows: permission to be closed, or a trip."""

from dataclasses import dataclass, replace

from supervisor.protection.rulebook import build_rules
from supervisor.protection.verdict import Rule, State, Verdict
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings


@dataclass(frozen=True, slots=True)
class Decision:
    """``permit``: no rule trips and none cannot tell. ``trip``: the first to trip, by priority."""

    permit: bool
    trip: Verdict | None
    verdicts: tuple[Verdict, ...]


class Protection:
    """Asks every rule in every cycle."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self.rules: list[Rule] = build_rules(settings)
        self._allowance_s = settings.lease_s
        self._not_telling_since_s: dict[str, float] = {}

    def judge(self, readings: Readings, now_s: float) -> Decision:
        verdicts = tuple(self._ask(rule, readings, now_s) for rule in self.rules)
        trip = next((verdict for verdict in verdicts if verdict.state is State.TRIP), None)
        knows = all(verdict.state is not State.CANNOT_TELL for verdict in verdicts)
        return Decision(trip is None and knows, trip, verdicts)

    def _ask(self, rule: Rule, readings: Readings, now_s: float) -> Verdict:
        try:
            verdict = rule.judge(readings, now_s)
        except Exception as error:  # a rule that fails has not said "clear"
            reason = f"the rule itself failed ({type(error).__name__}: {error}): report this"
            verdict = Verdict(rule.key, State.CANNOT_TELL, None, 0.0, "", now_s, reason)
        return self._with_allowance(verdict, now_s)

    def _with_allowance(self, verdict: Verdict, now_s: float) -> Verdict:
        """A rule that cannot tell for longer than permission lasts trips."""
        if verdict.state is not State.CANNOT_TELL:
            self._not_telling_since_s.pop(verdict.rule, None)
            return verdict
        since_s = self._not_telling_since_s.setdefault(verdict.rule, now_s)
        if now_s - since_s <= self._allowance_s:
            return verdict
        reason = f"could not tell for {now_s - since_s:.1f} s: {verdict.reason}"
        return replace(verdict, state=State.TRIP, since_s=since_s, reason=reason)
