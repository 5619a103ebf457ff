"""Rules the risk needs: each is in force, or its absence is said with a reason, never both."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.reasons import says_nothing
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import Without


def without_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rules = settings.protection
    reasons = rules.without.reasons()
    for name in Without.model_fields:
        is_there = getattr(rules, name) is not None
        if not is_there and name not in reasons:
            yield Contradiction(
                f"protection.{name}",
                f"There is no rule {name}, and no reason why.",
                "The risk needs it. A build that does without must say so, where everybody reads "
                "it: on the page, in the metrics, in the record.",
                f"Add the block `{name}:` below protection, as in the example; or below "
                f"protection.without the line `{name}: ` and the reason, in 8 to 200 characters.",
            )
        if name in reasons and says_nothing(reasons[name]):
            yield Contradiction(
                f"protection.without.{name}",
                f'"{reasons[name]}" says nothing.',
                "Whoever reads the page or the record must see why this build does without.",
                "Write the reason in words, such as: no probes fitted, checked by hand every hour.",
            )
        if is_there and name in reasons:
            yield Contradiction(
                f"protection.{name}",
                f"The rule {name} is there, and `without` says that this build does without it.",
                "Whoever reads the page must know whether it is in force.",
                f"Take `{name}:` out of protection.without, or take the block out.",
            )
