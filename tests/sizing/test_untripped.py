"""A fault of measurement or loop in the middle of an overvoltage's delay: the worst moment."""

import pytest

from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.response import budgets

BLIND = ("stale", "sensing", "loop_overrun", "hang")
RISE = 0.02
WINDOW_S, CYCLE_S = 0.1, 0.1 / 7


@pytest.mark.parametrize("rule", BLIND)
def test_blindness_begins_where_a_limit_just_has_not_tripped(
    hut_settings: SupervisorSettings, rule: str
) -> None:
    """3.6082 V is surely over the limit; two windows, the delay in whole windows, one scan more."""
    (budget,) = [
        b for b in budgets(hut_settings) if b.rule == rule and not b.title.endswith("near 0 A")
    ]
    timed_s = 2 * WINDOW_S + 1.1 + CYCLE_S + 0.0097
    assert budget.starts_at_v == pytest.approx(3.6082 + RISE * timed_s, abs=2e-4)


def test_the_high_set_bounds_it_where_the_delay_is_long(hut_settings: SupervisorSettings) -> None:
    """3.6383 V is surely over the high set; three scans and one more until that is known."""
    rules = hut_settings.protection
    slow = rules.overvoltage.model_copy(update={"delay_seconds": 10.0})
    settings = hut_settings.model_copy(
        update={"protection": rules.model_copy(update={"overvoltage": slow})}
    )
    (budget,) = [b for b in budgets(settings) if b.rule == "stale"]
    assert budget.starts_at_v == pytest.approx(3.6383 + RISE * (3 * CYCLE_S + 0.0097), abs=2e-4)


def test_with_level_drive_a_last_delay_lasts_until_the_lease_ends(
    hut_settings: SupervisorSettings,
) -> None:
    """The trip for being late comes only after the delay; pulse drive lets go by itself."""
    update = {"drive": "level", "dropout_milliseconds": None}
    contactor = hut_settings.contactor.model_copy(update=update)
    level = hut_settings.model_copy(update={"contactor": contactor})
    (budget,) = [b for b in budgets(level) if b.rule == "overvoltage_high_set"]
    (late,) = [p.seconds for p in budget.response if p.name.startswith("lateness")]
    assert late == pytest.approx(16 * CYCLE_S + 0.4)
