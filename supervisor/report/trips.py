"""The story of every trip, and of every run that ended without a word."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from supervisor.protection.wording import amount, beside
from supervisor.report.record import Event
from supervisor.report.words import minute, plain


@dataclass(frozen=True, slots=True)
class Trip:
    """``is_unseen_end``: the process or the power ended while closed; nothing was measured."""

    number: int
    at_s: float
    wall_s: float
    rule: str
    reason: str
    measured: float | None
    limit: float | None
    unit: str
    remedy: str
    was_closed: bool
    opening: str
    opened_in_s: float | None
    reset: Event | None
    is_unseen_end: bool

    @property
    def title(self) -> str:
        return "ended without a word" if self.is_unseen_end else plain(self.rule)

    @property
    def against(self) -> str:
        """What was measured against its limit; empty where the rule has no such figures."""
        if self.measured is None or self.limit is None or not self.unit:
            return ""
        measured = beside(self.measured, self.limit, self.unit)
        return f"{measured} against {amount(self.limit, self.unit)}"

    @property
    def how_opened(self) -> str:
        if not self.was_closed:
            return "was open already"
        if self.opened_in_s is not None:
            return f"{self.opening} in {self.opened_in_s * 1000:.0f} ms"
        return self.opening or "not recorded"

    @property
    def how_reset(self) -> str:
        if self.reset is None:
            return "not reset within this session"
        who, why = self.reset.data.get("who", "?"), self.reset.data.get("reason", "?")
        return f"by {who} at minute {minute(self.reset.at_s)}: {why}"


def find_trips(events: Sequence[Event]) -> list[Trip]:
    return list(_told(events))


def _told(events: Sequence[Event]) -> Iterator[Trip]:
    number, is_locked = 0, False
    for place, event in enumerate(events):
        if event.code == "reset":
            is_locked = False
        # A restart finds the lockout of a trip again: no story of its own.
        if event.code == "trip" or (event.code == "locked_out_at_start" and not is_locked):
            number, is_locked = number + 1, True
            yield _story(number, event, events[place + 1 :])


def _story(number: int, event: Event, later: Sequence[Event]) -> Trip:
    until_next = list(_until_next_trip(later))
    opening = next((e for e in until_next if e.code == "opening"), None)
    data, is_unseen_end = event.data, event.code != "trip"
    rule = str(data.get("rule", ""))
    return Trip(
        number, event.at_s, event.wall_s, rule,
        reason=event.text.removeprefix(f"{rule}: "),
        measured=_figure(data.get("measured")),
        limit=_figure(data.get("limit")),
        unit=str(data.get("unit", "")),
        remedy=str(data.get("remedy", "")),
        was_closed=bool(data.get("was_closed", True)),
        opening=str(opening.data.get("outcome", "")) if opening else "",
        opened_in_s=_figure(opening.data.get("opened_in_s")) if opening else None,
        reset=next((e for e in later if e.code == "reset"), None),
        is_unseen_end=is_unseen_end,
    )  # fmt: skip


def _until_next_trip(later: Sequence[Event]) -> Iterator[Event]:
    for event in later:
        if event.code in ("trip", "closed"):
            return
        yield event


def _figure(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None
