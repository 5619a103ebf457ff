"""The rest after a full charge: from its opening until the check has ended, or the record does."""

from typing import NamedTuple

from supervisor.report.figures import Figures
from supervisor.report.record import Record
from supervisor.report.settings_told import dig
from supervisor.report.words import MINUTE_S


class RestPhase(NamedTuple):
    from_s: float
    to_s: float
    words: str


def rest_phases(record: Record, figures: Figures) -> list[RestPhase]:
    """In the order of time."""
    return [
        _phase(record, stage.from_s, stage.to_s)
        for stage in figures.stages
        if stage.stage == "rest"
    ]


def _phase(record: Record, from_s: float, to_s: float) -> RestPhase:
    ends = [e for e in record.events if e.code == "rest" and from_s <= e.at_s <= to_s]
    if ends:
        return RestPhase(from_s, ends[0].at_s, ends[0].text)
    minutes = dig(record.session.settings, "charge.rest.minutes")
    of = "" if minutes is None else f" of {minutes:g}"
    watched = f"{(to_s - from_s) / MINUTE_S:.0f}{of} min"
    return RestPhase(from_s, to_s, f"rest check not ended, {watched}")
