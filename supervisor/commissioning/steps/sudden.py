"""Two rules that no slow hand can reach: the high set, and the rise."""

from supervisor.commissioning.deeds import CoilOnly, Jump, Raise, Source
from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.steps.calibration import BENCH_CAUTIONS, FLAT_V
from supervisor.commissioning.steps.contactor import COIL_CAUTIONS
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.commissioning.steps.trip_points import Beyond, show_a_current, timed
from supervisor.commissioning.trial import Trial, Tripped, trial
from supervisor.control.build_record import Finding
from supervisor.readings import Channel
from supervisor.settings.fitted import fitted_cells
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.response import budgets

FAR_BEYOND_V = 0.1
NEAR_V = 0.005  # a source that is set by hand
HANDS_S, LOOK_S = 60.0, 0.1
BELOW_S = 1.0
CALM_S = 20.0
TIMES_THE_RISE = 2.5
ABOVE_V = 0.01


class HighSetStep:
    """A jump just short of it must trip something else, or nothing; one beyond it trips it."""

    key = "trip_overvoltage_high_set"
    cautions = (*COIL_CAUTIONS, *BENCH_CAUTIONS)
    measures = (
        "A jump to just below the limit, and one well beyond. Good: the first does not trip this "
        "rule, the second does, within what `holdwatch check` promises."
    )

    def run(self, bench: Bench) -> Outcome:
        budget = _budget(bench, "overvoltage_high_set")
        cells = tuple(channel.value for channel in fitted_cells(bench.settings))
        short_v = budget.limit - 2 * (budget.guard_band or 0.0)
        bench.person.does(CoilOnly())
        _calm(bench, cells)
        with trial(bench.settings, bench.leaves, bench.person.tells) as loop:
            loop.close()
            show_a_current(bench, loop)
            there = Beyond(Channel(cells[0]), short_v - NEAR_V)
            loop.while_(lambda: bench.person.does(Jump(cells, short_v)))
            tripped = _from_when_it_is_there(loop, there, BELOW_S)
            spared = tripped is None or tripped.rule != budget.rule
            loop.while_(lambda: _calm(bench, cells))
            _closed_again(bench, loop, was_tripped=tripped is not None)
            beyond_v = budget.limit + FAR_BEYOND_V
            loop.while_(lambda: bench.person.does(Jump(cells, beyond_v)))
            took = timed(bench, loop, budget, Beyond(Channel(cells[0]), budget.limit))
        return Outcome(
            (
                Finding(
                    f"{budget.rule}: not at {short_v:.3f} V",
                    spared,
                    measured=short_v,
                    unit="V",
                    high=budget.limit,
                    words="" if tripped is None else f"tripped by {tripped.rule}",
                    defect="" if spared else "trips below its limit",
                    remedy="Do the calibration of the cells' channels again.",
                ),
                took,
            )
        )


class RiseStep:
    """Half the rise that trips must not, two and a half times it must."""

    key = "trip_rate_of_rise"
    cautions = (*COIL_CAUTIONS, *BENCH_CAUTIONS)
    measures = (
        "The bench supply raised at half the limit, then at two and a half times it. Good: the "
        "first trips nothing, the second trips this rule in time."
    )

    def run(self, bench: Bench) -> Outcome:
        rule = bench.settings.protection.rate_of_rise
        budget = _budget(bench, "rate_of_rise")
        cells = tuple(channel.value for channel in fitted_cells(bench.settings))
        limit = rule.trip_volts_per_minute / 60
        start_v = rule.above_volts + ABOVE_V
        middle_v = start_v + 0.5 * limit * CALM_S
        bench.person.does(CoilOnly())
        _calm(bench, cells, start_v)
        with trial(bench.settings, bench.leaves, bench.person.tells) as loop:
            loop.close()
            show_a_current(bench, loop)
            slow = Raise(cells, start_v, middle_v, 0.5 * limit)
            halfway = Beyond(Channel(cells[0]), (start_v + middle_v) / 2)
            loop.while_(lambda: bench.person.does(slow))
            calm = _from_when_it_is_there(loop, halfway, CALM_S / 2)
            if calm is None:
                fast = TIMES_THE_RISE * limit
                until_s = 2 * budget.response_s
                end_v = middle_v + fast * until_s
                steep = Raise(cells, middle_v, end_v, fast)
                loop.while_(lambda: bench.person.does(steep))
                tripped = loop.run(until_s)
            else:
                tripped = None
        by_it = tripped is not None and tripped.rule == budget.rule
        return Outcome(
            (
                Finding(
                    f"{budget.rule}: not at half its limit",
                    calm is None,
                    measured=30 * limit,
                    unit="V/min",
                    high=60 * limit,
                    words="" if calm is None else f"tripped by {calm.rule}",
                    defect="" if calm is None else f"{calm.rule} trips at half the limit",
                    remedy="Raise it evenly; look at the limit in the settings.",
                ),
                Finding(
                    f"{budget.rule}: at {TIMES_THE_RISE:g} times its limit",
                    by_it,
                    measured=60 * TIMES_THE_RISE * limit,
                    unit="V/min",
                    low=60 * limit,
                    words="no trip" if tripped is None else f"tripped by {tripped.rule}",
                    defect="" if by_it else "does not trip",
                    remedy="Raise it evenly; look at the limit in the settings.",
                ),
            )
        )


def _from_when_it_is_there(loop: Trial, there: Beyond, seconds: float) -> Tripped | None:
    """What tripped until so long after the reading has got there: hands begin when they like.
    Raises CannotTell when it never did: then nothing was tried."""
    tripped: Tripped | None = None
    for _ in range(round(HANDS_S / LOOK_S)):
        tripped = loop.run(LOOK_S, there.look)
        if tripped or there.since_s is not None:
            break
    if there.since_s is None:
        words = f"tripped by {tripped.rule}" if tripped else f"{HANDS_S:g} s went by"
        raise CannotTell(f"{words}, and the reading has not changed as it was asked for")
    return tripped or loop.run(seconds)


def _budget(bench: Bench, rule: str) -> RuleBudget:
    return next(one for one in budgets(bench.settings) if one.rule == rule)


def _calm(bench: Bench, cells: tuple[str, ...], value: float = FLAT_V) -> None:
    bench.person.does(Source((Channel.SHUNT.value,), 0.0, millivolts=0.0))
    bench.person.does(Source(cells, value))


def _closed_again(bench: Bench, loop: Trial, *, was_tripped: bool) -> None:
    if was_tripped:
        loop.reset()
        loop.close()
    show_a_current(bench, loop)
