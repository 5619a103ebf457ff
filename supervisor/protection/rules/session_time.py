"""Closed for longer than any charge takes."""

from supervisor.protection.session_rule import SessionRule
from supervisor.readings import Channel, Reading
from supervisor.settings.model import SupervisorSettings


class SessionTimeRule(SessionRule):
    key = "session_time"
    remedy = (
        "find out why the charge does not end: a cell that leaks, a current that never falls, a "
        "reading that is wrong; measure every cell, then close again for a new session"
    )
    unit = "h"
    doing = "closed for"

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.session_time
        assert rule is not None
        super().__init__(settings, rule.trip_hours)

    def _rate(self, window: dict[Channel, Reading]) -> float | str:  # noqa: ARG002
        return 1.0
