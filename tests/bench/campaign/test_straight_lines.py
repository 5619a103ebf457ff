"""Between two solutions the plant goes in straight lines, up to ten minutes long: the judge too."""

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from supervisor.bench.campaign.limits import Promise
from supervisor.bench.campaign.warmth import HotPart
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.response import budgets

ALLOWED_S = 6.0


class Line:
    """Stands for a plant: its current goes from one value to another."""

    def __init__(self, first_a: float, last_a: float) -> None:
        self._first_a, self.current_a = first_a, last_a

    @contextmanager
    def as_solved(self) -> Iterator[None]:
        last_a, self.current_a = self.current_a, self._first_a
        yield
        self.current_a = last_a


def lasted(*lines: tuple[float, float], limit_a: float = 50.0) -> bool:
    """Whether a limit was passed for too long, over lines of ten seconds each."""
    now: list[Line] = []
    promise = Promise("", "current", lambda: now[-1].current_a - limit_a, ALLOWED_S, lambda: 0.0)
    found = []
    for k, line in enumerate(lines):
        now.append(Line(*line))
        found.append(promise.look(now[-1], 10.0 * k, 10.0 * (k + 1)))  # type: ignore[arg-type]
    return any(found)


@pytest.mark.parametrize(
    ("lines", "too_long"),
    [
        ([(40, 60)], False),  # beyond for 5 s, not for the 10 of the line
        ([(48, 60)], True),  # for 8.3 s
        ([(60, 40)], False),  # 5 s, and the end is within
        ([(60, 48)], True),  # 8.3 s, though the end is within
        ([(40, 55), (55, 40)], True),  # 3.3 and 3.3 s, without a break
        ([(40, 55), (45, 55)], False),  # with one: a jump back
        ([(51, 51)], True),
        ([(49, 49), (49, 49)], False),
    ],
)
def test_time_beyond_a_limit_is_counted_from_the_crossing(
    lines: list[tuple[float, float]], too_long: bool
) -> None:
    assert lasted(*lines) is too_long


def test_no_current_no_harm() -> None:
    assert not lasted((60, 0), (0, 0))


def test_a_part_heats_with_the_current_on_its_way(hut_settings: SupervisorSettings) -> None:
    """Reference: scipy.integrate.solve_ivp on tau d(theta)/dt = I^2 - theta."""
    budget = next(b for b in budgets(hut_settings) if b.title.startswith("supply_thermal"))
    part, rule = HotPart(hut_settings, budget), hut_settings.protection.supply_thermal
    assert rule is not None
    tau_s, bears_a = rule.rectifier.time_constant_seconds, rule.rectifier.continuous_amperes
    for k, line in enumerate([(0.0, 30.0), (30.0, 120.0), (120.0, 60.0)]):
        part.look(Line(*line), 20.0 * k, 20.0 * (k + 1))  # type: ignore[arg-type]

    def current_a(at_s: float) -> float:
        return float(np.interp(at_s, [0, 20, 40, 60], [0, 30, 120, 60]))

    def heating(at_s: float, theta: float) -> float:
        return ((rule.form_factor * current_a(at_s) / bears_a) ** 2 - theta) / tau_s

    exact = solve_ivp(heating, (0, 60), [0.0], rtol=1e-9, max_step=0.5).y[0, -1]
    assert part._theta == pytest.approx(exact, rel=0.02)
