"""Whether a build without commissioning record may close: said twice, or not at all."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.reasons import says_nothing
from supervisor.settings.model import SupervisorSettings


def permission_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    accepted, reason = settings.uncommissioned, settings.uncommissioned_reason
    if accepted and reason is None:
        yield Contradiction(
            "uncommissioned",
            "uncommissioned is accepted without a reason.",
            "Whoever reads the page or the record must see why nobody tested this build.",
            "Add `uncommissioned_reason:` and the reason, or take uncommissioned out.",
        )
    if reason is not None and says_nothing(reason):
        yield Contradiction(
            "uncommissioned_reason",
            f'"{reason}" says nothing.',
            "Whoever reads the page or the record must see why nobody tested this build.",
            "Write the reason in words.",
        )
    if reason is not None and not accepted:
        yield Contradiction(
            "uncommissioned_reason",
            "There is a reason, but uncommissioned is not accepted.",
            "It is not clear whether this build may close without a commissioning record.",
            "Add `uncommissioned: accepted`, or take the reason out.",
        )
