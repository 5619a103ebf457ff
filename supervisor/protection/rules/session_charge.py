"""More charge than fits into the bank."""

from supervisor.protection.believed import believed
from supervisor.protection.session_rule import SessionRule
from supervisor.protection.wording import flaw
from supervisor.readings import Channel, Reading
from supervisor.settings.model import SupervisorSettings


class SessionChargeRule(SessionRule):
    """Counts what goes in. What flows back out makes no room for more."""

    key = "session_charge"
    remedy = (
        "do not charge on before you know where the charge went: measure every cell, look for one "
        "that is warm or swollen, and check shunt and current with a meter of your own"
    )
    unit = "Ah"
    doing = "charged"

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.session_charge
        assert rule is not None
        super().__init__(settings, rule.trip_ampere_hours)

    def _rate(self, window: dict[Channel, Reading]) -> float | str:
        amperes = believed(window.get(Channel.SHUNT))
        if amperes is None:
            return f"no good reading, {flaw(Channel.SHUNT, window.get(Channel.SHUNT))}"
        return max(0.0, amperes)
