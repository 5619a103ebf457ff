"""What is wrong with the paths of a profile, before anything is made of them."""

from collections.abc import Iterator
from typing import Any, get_args

from supervisor.settings.document import Document, KeyPath, as_keys, dotted
from supervisor.settings.expected import Spot, locate
from supervisor.settings.faults import Fault
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import CHANGEABLE, Profile, is_changeable
from supervisor.settings.protection import Without
from supervisor.settings.schema_faults import NOT_APPLIED, nearest

Words = tuple[str, str, str]  # problem, why, remedy


def path_faults(
    settings: SupervisorSettings, name: str, profile: Profile, document: Document
) -> Iterator[Fault]:
    """Of settings and one of their profiles: paths that it may not change or leave out."""
    for path in profile.overrides:
        if words := _not_changeable(path):
            yield document.fault(where(name, profile, path), *words)
    for path in profile.leave_out:
        if words := _not_changeable(path) or _not_left_out(settings, profile, path):
            yield document.fault(where(name, profile, path), *words)


def where(name: str, profile: Profile, path: str) -> KeyPath:
    """Where a profile says something of this path."""
    if path in profile.leave_out:
        return ("profiles", name, "leave_out", profile.leave_out.index(path))
    return ("profiles", name, "overrides", path)


def _not_changeable(path: str) -> Words | None:
    if is_changeable(path):
        return None
    meant = _meant(path)
    if meant != path and is_changeable(meant):
        return f"There is no setting {path}.", NOT_APPLIED, f"Write {meant}."
    return (
        f"A profile cannot change {path}.",
        "Pins, buses and leads are the build's: nobody rewires them for a job.",
        "Take it out, or write dotted paths of single values below "
        f"{', '.join(path.removesuffix('.') for path in CHANGEABLE)}.",
    )


def _meant(path: str) -> str:
    """The path with the name that is nearest to each that there is not."""
    keys: KeyPath = ()
    for key in as_keys(path):
        spot = locate(SupervisorSettings, (*keys, key))
        keys = (*keys, (nearest(spot) if spot.annotation is None else None) or key)
    return dotted(keys)


def _not_left_out(settings: SupervisorSettings, profile: Profile, path: str) -> Words | None:
    spot = locate(SupervisorSettings, as_keys(path))
    if spot.annotation is None or spot.path != as_keys(path):
        return None  # there is no such setting: told with the names that there are
    if not _may_be_nothing(spot):
        return (
            f"{path} cannot be left out.",
            spot.description or "No build can do without it.",
            "Take it out of leave_out. Another value of it belongs in overrides.",
        )
    if path in profile.overrides:
        return (
            f"{path} is in overrides as well.",
            "A job does without it, or has another value for it: not both.",
            "Take one of them out.",
        )
    return _without_its_block(settings, profile, path) or _without_reason(settings, profile, path)


def _may_be_nothing(spot: Spot) -> bool:
    block = spot.parent.annotation if spot.parent else None
    info = getattr(block, "model_fields", {}).get(spot.key)
    return info is not None and type(None) in get_args(info.annotation)


def _without_its_block(settings: SupervisorSettings, profile: Profile, path: str) -> Words | None:
    value: Any = settings
    keys = path.split(".")
    for length, key in enumerate(keys[:-1], start=1):
        value = getattr(value, key)
        block = ".".join(keys[:length])
        if value is None and not any(f"{p}.".startswith(f"{block}.") for p in profile.overrides):
            return (
                f"There is no {block}, so there is nothing to leave out.",
                "Whoever reads it would believe that the rest of the block holds.",
                "Take it out of leave_out.",
            )
        if value is None:
            return None
    return None


def _without_reason(settings: SupervisorSettings, profile: Profile, path: str) -> Words | None:
    """A rule that the risk needs."""
    name = path.removeprefix("protection.")
    if name not in Without.model_fields or path == name:
        return None
    given = profile.overrides.get("protection.without", {})
    reasons = {*settings.protection.without.reasons(), *(given if isinstance(given, dict) else ())}
    if name in reasons or f"protection.without.{name}" in profile.overrides:
        return None
    return (
        f"{path} is left out, and there is no reason why.",
        "The risk needs it. A job that does without must say so, where everybody reads it: on the "
        "page, in the metrics, in the record.",
        f"Add `protection.without.{name}:` and the reason, in 8 to 200 characters, to the "
        "overrides of this profile; or take it out of leave_out.",
    )
