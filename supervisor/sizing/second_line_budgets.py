"""Budget of the second line: no software between the limit and the coil, so none in the sum."""

from collections.abc import Iterator

from supervisor.measurement.uncertainty import cell_budget
from supervisor.sizing.basis import Basis
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.steps import Part, Stage, conversion_s

COUNTED = 2  # conversions in a row that its comparator waits for


def second_line_budgets(basis: Basis) -> Iterator[RuleBudget]:
    """Its ALERT acts on the coil directly: no loop, no lease, no drop-out of a pulse driver."""
    settings = basis.settings
    line = settings.second_line
    if line is None:
        return
    converts_s = conversion_s(settings, line.channel)
    release_s = settings.contactor.release_milliseconds / 1000
    guard_band_v = cell_budget(line.channel).expanded(line.trip_volts)
    yield basis.budget(
        "second_line",
        limit=("second_line.trip_volts", line.trip_volts, "V"),
        guard_band=guard_band_v,
        response=(
            Part(Stage.SEE, "wait for the next conversion", converts_s),
            Part(Stage.SEE, f"{COUNTED} conversions", COUNTED * converts_s),
            Part(Stage.OPEN, "contactor release", release_s),
        ),
        starts_at_v=line.trip_volts + guard_band_v,
        note="By wire alone: what software does, or fails to do, is not in it.",
    )
