"""One decision a cycle: may the contactor stay closed, and has anything tripped?"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from supervisor.protection.rulebook import build_rules
from supervisor.protection.verdict import Memory, Remembers, Rule, State, Verdict
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings

# When several rules cannot tell, these know why.
KNOW_WHY = ("sensing", "stale")


@dataclass(frozen=True, slots=True)
class Decision:
    """``permit``: no rule trips and none cannot tell. ``trip``: the first to trip, by priority; one
    ``by_doubt`` only when no rule is past its limit.

    ``verdicts`` are all rules' answers, in the order of priority.
    """

    permit: bool
    trip: Verdict | None
    verdicts: tuple[Verdict, ...]

    @property
    def doubt(self) -> Verdict | None:
        """Of the rules that cannot tell, the one that says best why."""
        return _knows_best(v for v in self.verdicts if v.state is State.CANNOT_TELL)

    def trip_of(self, rule: str) -> Verdict | None:
        """This rule's own trip, whichever came first."""
        own = (v for v in self.verdicts if v.rule == rule and v.state is State.TRIP)
        return next(own, None)


class Protection:
    """Asks every rule in every cycle. Pure: fed with readings and the monotonic time."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self.rules: list[Rule] = build_rules(settings)
        self._allowance_s = settings.lease_s
        self._doubtful_since_s: dict[str, float] = {}

    def memories(self, now_s: float) -> dict[str, Memory]:
        """What the rules must not forget, by their keys."""
        return {r.key: r.memory(now_s) for r in self.rules if isinstance(r, Remembers)}

    def recall(self, memories: Mapping[str, Memory], now_s: float, *, is_whole: bool) -> None:
        """Go on from what was kept; ``is_whole``: nothing can have happened since."""
        for rule in self.rules:
            if isinstance(rule, Remembers):
                rule.recall(memories.get(rule.key), now_s, is_whole=is_whole)

    def judge(self, readings: Readings, now_s: float) -> Decision:
        """Permit what every rule can tell to be within its limit.

        A rule that cannot tell for longer than permission lasts has tripped; it names the trip
        when no other rule does.
        """
        verdicts: list[Verdict] = []
        tripped: Verdict | None = None
        expired: list[Verdict] = []
        certain = True
        for rule in self.rules:
            verdict = _ask(rule, readings, now_s)
            if verdict.state is State.CANNOT_TELL:
                certain = False
                verdict = self._doubted(verdict, now_s)
                if verdict.state is State.TRIP:
                    expired.append(verdict)
            else:
                if self._doubtful_since_s:
                    self._doubtful_since_s.pop(verdict.rule, None)
                if tripped is None and verdict.state is State.TRIP:
                    tripped = verdict
            verdicts.append(verdict)
        permit = certain and tripped is None
        return Decision(permit, tripped or _knows_best(expired), tuple(verdicts))

    def _doubted(self, verdict: Verdict, now_s: float) -> Verdict:
        """With the time since when it cannot tell; a trip once that is too long ago."""
        since_s = self._doubtful_since_s.setdefault(verdict.rule, now_s)
        if now_s - since_s <= self._allowance_s:
            return replace(verdict, since_s=since_s)
        reason = f"could not tell for {now_s - since_s:.2f} s: {verdict.reason}"
        return replace(verdict, state=State.TRIP, since_s=since_s, reason=reason, by_doubt=True)


def _ask(rule: Rule, readings: Readings, now_s: float) -> Verdict:
    """The rule's verdict. A rule that fails, by a mistake in it, has not said "clear"."""
    try:
        return rule.judge(readings, now_s)
    except Exception as error:
        reason = f"the rule itself failed ({type(error).__name__}: {error}): report this"
        return Verdict(rule.key, State.CANNOT_TELL, None, 0.0, "", None, reason)


def _knows_best(verdicts: Iterable[Verdict]) -> Verdict | None:
    """The first by priority, but rather one that knows why."""
    return min(verdicts, key=lambda verdict: verdict.rule not in KNOW_WHY, default=None)
