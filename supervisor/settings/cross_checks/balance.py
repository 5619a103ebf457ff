"""Balance between two cells: both are wired, and its limit lies where it can help."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import Balance

PATH = "protection.balance.trip_volts"


def balance_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rule = settings.protection.balance
    if rule is None:
        return
    if settings.channels.far_cell is None:
        yield Contradiction(
            "protection.balance",
            "There is no far cell to compare the front cell with.",
            "The rule would watch nothing, and its block would say that it does.",
            "Wire channels.far_cell; or take the block out and write the reason below "
            "protection.without, as `balance:`.",
        )
    yield from _ordinary_difference(settings, rule)
    yield from _too_late(settings, rule)


def _ordinary_difference(settings: SupervisorSettings, rule: Balance) -> Iterator[Contradiction]:
    """With sound bars the drop lies between nothing (all current into the front cells) and, all
    of it into the far ones, twice that of an even share."""
    amperes = settings.protection.overcurrent.trip_amperes
    drop_v = amperes * rule.bars_microohms * 1e-6
    if rule.trip_volts <= drop_v:
        yield Contradiction(
            PATH,
            f"{rule.trip_volts:g} V is not more than the expected drop at "
            f"overcurrent.trip_amperes, {drop_v:.3g} V.",
            "Near full the current moves from the front cells to the far ones, and the drop "
            "changes by as much as that: an ordinary charge would trip.",
            f"Write more than {drop_v:.3g}, and more than both cells' measuring error beside it; "
            "or fit thicker bars.",
        )


def _too_late(settings: SupervisorSettings, rule: Balance) -> Iterator[Contradiction]:
    over = settings.protection.overvoltage.trip_volts
    steep = settings.protection.rate_of_rise.above_volts
    if over > steep and rule.trip_volts >= over - steep:
        yield Contradiction(
            PATH,
            f"{rule.trip_volts:g} V is not below {over - steep:.3g} V, the way from "
            "rate_of_rise.above_volts to overvoltage.trip_volts.",
            "Behind a link that opened the far cells stay in the flat part while the front cells "
            "run up: overvoltage would come first, and nobody would be told of the link.",
            f"Write less than {over - steep:.3g}, such as 0.05.",
        )
