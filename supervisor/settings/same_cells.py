"""Settings for the same cells count the same session: none may be a way around its limits."""

from collections.abc import Iterator
from typing import NamedTuple

from supervisor.settings.document import Document, KeyPath, as_keys
from supervisor.settings.faults import Fault
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profile_paths import where
from supervisor.settings.profiles import with_profile

RULES = ("session_charge", "session_time")  # the risk needs them; a reason is no count


class _Lack(NamedTuple):
    """One that does without a rule, and one of the same cells that has it."""

    rule: str
    without: SupervisorSettings
    counted_by: str


def uncounted_faults(settings: SupervisorSettings, document: Document) -> Iterator[Fault]:
    """Of settings that are sound, and so are those that each of their profiles makes."""
    names = (settings.profile, *settings.profiles)
    for lack in _lacks([with_profile(settings, name) for name in names]):
        name, path = lack.without.profile, f"protection.{lack.rule}"
        profile = settings.profiles.get(name)
        leaves_out = profile is not None and path in profile.leave_out
        at: KeyPath = as_keys(f"protection.without.{lack.rule}")
        if profile is not None and path in profile.changes:
            at = where(name, profile, path)
        yield document.fault(
            at,
            f"{name} does without {lack.rule}, and {lack.counted_by} has it for the same "
            f"{lack.without.bank.cells_in_parallel} cells.",
            "What goes in meanwhile is not counted: there and back would be a way around the limit "
            "of the session.",
            "Take it out of leave_out. Another value of it belongs in overrides."
            if leaves_out
            else f"Write {path} for {name} as well, or do without it in both.",
        )


def _lacks(jobs: list[SupervisorSettings]) -> Iterator[_Lack]:
    for rule in RULES:
        counts = [job for job in jobs if getattr(job.protection, rule) is not None]
        by_cells = {job.bank.cells_in_parallel: job.profile for job in reversed(counts)}
        for job in jobs:
            counted_by = by_cells.get(job.bank.cells_in_parallel)
            if counted_by is not None and getattr(job.protection, rule) is None:
                yield _Lack(rule, job, counted_by)
