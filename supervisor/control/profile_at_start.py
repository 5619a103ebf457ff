"""Which profile is in force after a start: the one before it, for its supply is still wired."""

from supervisor.control.latch import Kept
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import with_profile

WHAT_TO_DO = (
    "say which supply and shunt are fitted, by closing with one of: {names} "
    "(holdwatch close --profile NAME)"
)


def profile_at_start(
    settings: SupervisorSettings, kept: Kept | None
) -> tuple[SupervisorSettings, str]:
    """The settings to start with; and, where nobody knows which fit, what stands in the way."""
    own, known = settings.profile, settings.profiles
    if kept is None or kept.profile == own:
        return settings, ""
    if kept.profile in known:
        return with_profile(settings, kept.profile), ""
    if not kept.profile and not known:
        return settings, ""
    was = (
        f"the profile {kept.profile!r}, which the settings no longer have,"
        if kept.profile
        else ("an unknown profile")
    )
    names = ", ".join((own, *known))
    return settings, f"{was} was in force before this start: {WHAT_TO_DO.format(names=names)}"
