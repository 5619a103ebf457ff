"""The guide, fed with windows made by hand: charge and energy, memory, stage, orders, cues."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from math import exp, hypot, inf, nan, sqrt
from typing import Any

import pytest
from cycles import Value, cycle, told_closed, told_open, with_rule

from supervisor.guidance.advice import BETWEEN_PULSES
from supervisor.guidance.guide import Guide, Order
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import ContactorState, Quality
from supervisor.settings.charge import PulsedHold
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import HoldLimits, StageLimits
from supervisor.snapshot import Circuit, GuidanceView, Stage

WINDOW_S = 0.1
TAU_S = 900.0
BAD = Quality.NO_ANSWER
# I = 100 exp(-t/900) A over an hour; V = 3.4 + 0.2 (1 - exp(-t/900)) V.
CHARGED_AH = 24.54210903
CHARGED_WH = 85.852431

Course = Callable[[float], Value]


def fading_a(at_s: float) -> float:
    return 100 * exp(-at_s / TAU_S)


def rising_v(at_s: float) -> float:
    return 3.4 + 0.2 * (1 - exp(-at_s / TAU_S))


def at(value: Value) -> Course:
    return lambda _: value


def with_charge(settings: SupervisorSettings, **changes: Any) -> SupervisorSettings:
    assert settings.charge is not None
    charge = settings.charge.model_copy(update=changes)
    return settings.model_copy(update={"charge": charge})


def soon_full(settings: SupervisorSettings, **changes: Any) -> SupervisorSettings:
    """Full after a minute, however little was charged."""
    assert settings.charge is not None
    assert settings.charge.full is not None
    full = settings.charge.full.model_copy(update={"minutes": 1.0, "least_percent": 0.0})
    return with_charge(settings, full=full, **changes)


@dataclass
class Bench:
    """A guide, and the circuit as a guard would have it."""

    guide: Guide
    circuit: Circuit = Circuit.OPEN
    now_s: float = 0.0
    contactor: ContactorState = field(default_factory=lambda: told_open(-9.0))
    verdicts: tuple[Verdict, ...] = ()

    def turn(self, circuit: Circuit) -> None:
        self.circuit = circuit
        closes = circuit is Circuit.CLOSED
        if closes is not self.contactor.told_to_close:
            self.contactor = told_closed(self.now_s) if closes else told_open(self.now_s)

    def take(self, volts: Value, amperes: Value, far: Value | None = None) -> Order:
        readings = cycle(
            self.now_s,
            front=volts,
            far=volts if far is None else far,
            amperes=amperes,
            contactor=self.contactor,
        )
        return self.guide.take(readings, self.verdicts, self.circuit, self.now_s)

    def run(self, for_s: float, volts: Course, amperes: Course, *, obey: bool = False) -> Order:
        """Window by window, up to the first order."""
        from_s, count = self.now_s, round(for_s / WINDOW_S)
        for k in range(1, count + 1):
            self.now_s = from_s + k * WINDOW_S
            order = self.take(volts(self.now_s), amperes(self.now_s))
            if order is not Order.NONE:
                if obey:
                    self.obey(order)
                return order
        return Order.NONE

    def obey(self, order: Order) -> None:
        to = {
            Order.FINISH: Circuit.FINISHED,
            Order.PAUSE: Circuit.PAUSED,
            Order.RESUME: Circuit.CLOSED,
            Order.END: Circuit.OPEN,
        }
        self.turn(to[order])
        if order is Order.RESUME:
            self.guide.resumed()

    @property
    def view(self) -> GuidanceView:
        return self.guide.view(self.now_s)

    @property
    def cue_names(self) -> list[str]:
        return [cue.name for cue in self.guide.cues]


def bench_of(settings: SupervisorSettings) -> Bench:
    return Bench(Guide(settings))


@pytest.fixture
def bench(hut_settings: SupervisorSettings) -> Bench:
    return bench_of(hut_settings)


# Charge and energy


def test_charge_and_energy_of_an_hour_are_exact(bench: Bench) -> None:
    bench.turn(Circuit.CLOSED)
    bench.take(rising_v(0.0), fading_a(0.0))
    bench.run(3600.0, rising_v, fading_a)
    view = bench.view
    assert view.charged_ah == pytest.approx(CHARGED_AH, abs=1e-7)
    assert view.charged_wh == pytest.approx(CHARGED_WH, abs=1e-6)
    unsure_a = hypot(0.001, 2 * 1.0 / sqrt(3))  # as made here, and no zero learned of 1 A at most
    assert view.charged_u_ah == pytest.approx(unsure_a, rel=1e-9)
    assert view.left_ah == pytest.approx(8960 - CHARGED_AH, abs=1e-7)
    assert view.charge_is_whole


def test_the_same_in_two_halves_with_a_restart_in_between(
    hut_settings: SupervisorSettings, bench: Bench
) -> None:
    bench.turn(Circuit.CLOSED)
    bench.take(rising_v(0.0), fading_a(0.0))
    bench.run(1800.0, rising_v, fading_a)
    bench.turn(Circuit.OPEN)
    bench.run(1.0, at(3.4), at(0.0))
    kept = json.loads(json.dumps(bench.guide.tally.memory()))

    again = bench_of(hut_settings)
    again.guide.tally.recall(kept, is_whole=True)
    assert again.view.charged_ah == bench.view.charged_ah
    again.now_s = 1800.0
    again.turn(Circuit.CLOSED)
    again.take(rising_v(1800.0), fading_a(1800.0))
    again.run(1800.0, rising_v, fading_a)
    assert again.view.charged_ah == pytest.approx(CHARGED_AH, abs=1e-7)
    assert again.view.charged_wh == pytest.approx(CHARGED_WH, abs=1e-6)
    assert again.view.charge_is_whole


def test_memory_is_recalled_as_it_was(hut_settings: SupervisorSettings, bench: Bench) -> None:
    bench.turn(Circuit.CLOSED)
    bench.run(20.0, at(3.4), at(90.0))
    memory = bench.guide.tally.memory()
    again = Guide(hut_settings)
    again.tally.recall(memory, is_whole=True)
    assert again.tally.memory() == memory
    assert memory["charge counted"] == pytest.approx(90 * 20 / 3600)


def test_a_restart_that_lost_a_closing_says_so(
    hut_settings: SupervisorSettings, bench: Bench
) -> None:
    bench.turn(Circuit.CLOSED)
    bench.run(20.0, at(3.4), at(90.0))
    again = Guide(hut_settings)
    again.tally.recall(bench.guide.tally.memory(), is_whole=False)
    assert not again.view(0.0).charge_is_whole
    assert again.view(0.0).charged_ah == pytest.approx(90 * 20 / 3600)


@pytest.mark.parametrize(
    "memory",
    [None, {}, {"charge counted": 5.0}, {"counted": 5.0, "is_whole": 1.0, "is_used_up": 0.0}],
)
def test_a_memory_that_is_none_of_ours_counts_from_zero(
    hut_settings: SupervisorSettings, memory: dict[str, float] | None
) -> None:
    guide = Guide(hut_settings)
    guide.tally.recall(memory, is_whole=True)
    view = guide.view(0.0)
    assert (view.charged_ah, view.charged_wh, view.charge_is_whole) == (0.0, 0.0, False)


def test_open_nothing_is_charged(bench: Bench) -> None:
    bench.run(60.0, at(3.4), at(5.0))
    assert (bench.view.charged_ah, bench.view.charged_wh) == (0.0, 0.0)


def test_a_reverse_current_takes_nothing_away(bench: Bench) -> None:
    bench.turn(Circuit.CLOSED)
    bench.run(36.0, at(3.4), at(100.0))
    before_ah = bench.view.charged_ah
    bench.run(36.0, at(3.4), at(-100.0))
    assert bench.view.charged_ah - before_ah == pytest.approx(100 * WINDOW_S / 2 / 3600)


@pytest.mark.parametrize("odd", [BAD, nan, Quality.CLIPPED])
def test_a_gap_counts_as_the_larger_of_its_neighbours(bench: Bench, odd: Value) -> None:
    """100 A for 36 s, 36 s unknown, 50 A for 36 s: 1 Ah, 1 Ah and 0.5 Ah."""
    bench.turn(Circuit.CLOSED)
    bench.run(36.0, at(3.0), at(100.0))
    bench.run(36.0, at(3.0), at(odd))
    bench.run(36.0, at(3.0), at(50.0))
    assert bench.view.charged_ah == pytest.approx(2.5, abs=0.002)
    assert bench.view.charged_wh == pytest.approx(7.5, abs=0.006)


def test_a_voltage_that_is_no_number_makes_no_energy_of_it(bench: Bench) -> None:
    bench.turn(Circuit.CLOSED)
    bench.run(36.0, at(3.0), at(100.0))
    bench.run(36.0, at(nan), at(100.0))
    bench.run(36.0, at(3.0), at(100.0))
    assert bench.view.charged_wh == pytest.approx(9.0)


def test_a_session_ends_when_it_was_open_for_long(
    hut_settings: SupervisorSettings, bench: Bench
) -> None:
    new_after_s = 3600 * hut_settings.session.new_after_open_hours
    bench.turn(Circuit.CLOSED)
    bench.run(36.0, at(3.4), at(100.0))
    for open_s, kept_ah in ((new_after_s - 10, 1.0), (new_after_s + 10, 0.0)):
        bench.turn(Circuit.OPEN)
        bench.run(1.0, at(3.4), at(0.0))
        bench.now_s += open_s
        bench.turn(Circuit.CLOSED)
        bench.run(0.2, at(3.4), at(0.0))
        assert bench.view.charged_ah == pytest.approx(kept_ah, abs=1e-3)


# Stage


def test_open_there_is_no_stage(bench: Bench) -> None:
    bench.run(10.0, at(3.55), at(0.0))
    view = bench.view
    assert (view.stage, view.advice, view.cues) == ("none", "The circuit is open.", ())
    assert view.to_limit.words == view.to_full.words == "the circuit is open"
    assert (view.full, view.rest, view.pulses) == (None, None, None)


def test_the_stages_one_after_the_other(bench: Bench) -> None:
    bench.turn(Circuit.CLOSED)
    for volts, amperes, stage in (
        (3.35, 100.0, "bulk"),
        (3.45, 90.0, "taper"),
        (3.54, 40.0, "hold"),
    ):
        bench.run(10.0, at(volts), at(amperes))
        assert bench.view.stage == stage
        assert bench.view.stage_for_s == pytest.approx(10.0 if stage == "bulk" else 5.0, abs=0.2)
        assert bench.view.advice
    bench.turn(Circuit.OPEN)
    bench.run(1.0, at(3.40), at(0.0))
    assert bench.view.stage == "none"


def test_the_time_to_full_in_the_bulk_is_the_most_it_can_be(bench: Bench) -> None:
    """8960 Ah at 100 A."""
    bench.turn(Circuit.CLOSED)
    bench.run(10.0, at(3.35), at(100.0))
    assert bench.view.to_full.best_s is None
    assert bench.view.to_full.words == (
        "cannot tell yet; at this current 89 h to the hold at the most"
    )
    bench.run(10.0, at(3.35), at(0.2))
    assert bench.view.to_full.words == "cannot tell yet: next to no current flows"


@pytest.mark.parametrize("hold_v", [None, 3.58])
def test_the_limit_is_the_one_that_trips_first(
    hut_settings: SupervisorSettings, hold_v: float | None
) -> None:
    limits = StageLimits(hold=HoldLimits(trip_volts=hold_v, trip_amperes=60.0))
    protection = hut_settings.protection.model_copy(update={"stage_limits": limits})
    bench = bench_of(hut_settings.model_copy(update={"protection": protection}))
    bench.turn(Circuit.CLOSED)
    limit_v = hold_v or 3.60
    bench.run(10.0, at(limit_v - 0.0001), at(20.0))
    assert bench.view.to_limit.best_s is None
    bench.run(2.0, at(limit_v + 1e-6), at(20.0))
    assert bench.view.to_limit.best_s == 0.0


def test_no_second_is_shown_that_is_old(bench: Bench) -> None:
    bench.turn(Circuit.CLOSED)
    bench.run(10.0, at(3.45), at(50.0))
    assert bench.view.measured_v == pytest.approx(3.45)
    bench.run(3.5, at(3.45), at(BAD))
    assert bench.view.measured_v is None


# Full


def test_full_and_then_the_rest(hut_settings: SupervisorSettings) -> None:
    bench = bench_of(soon_full(hut_settings))
    bench.turn(Circuit.CLOSED)
    assert bench.run(59.0, at(3.55), at(5.0)) is Order.NONE
    assert bench.run(5.0, at(3.55), at(5.0), obey=True) is Order.FINISH
    assert bench.guide.because == "held at 3.550 V with 5.0 A, below 8.0 A for 1 min"
    bench.run(2.0, at(3.50), at(0.0))
    assert bench.view.stage == "rest"
    assert bench.view.rest is not None
    assert bench.view.rest.state == "watching"
    assert bench.cue_names == ["full"]
    assert bench.view.full is None


def test_never_full_before_the_whole_time_has_passed(hut_settings: SupervisorSettings) -> None:
    """8 s without a current to believe: it begins anew."""
    bench = bench_of(soon_full(hut_settings))
    bench.turn(Circuit.CLOSED)
    bench.run(50.0, at(3.55), at(5.0))
    bench.run(8.0, at(3.55), at(BAD))
    assert bench.run(59.0, at(3.55), at(5.0)) is Order.NONE
    assert bench.run(5.0, at(3.55), at(5.0)) is Order.FINISH


@pytest.mark.parametrize("odd", [BAD, nan, inf])
def test_never_full_of_what_cannot_be_told(hut_settings: SupervisorSettings, odd: Value) -> None:
    bench = bench_of(soon_full(hut_settings))
    bench.turn(Circuit.CLOSED)
    assert bench.run(120.0, at(odd), at(5.0)) is Order.NONE
    assert bench.run(120.0, at(3.55), at(odd)) is Order.NONE


def test_closed_anew_it_is_not_full_yet(hut_settings: SupervisorSettings) -> None:
    bench = bench_of(soon_full(hut_settings))
    bench.turn(Circuit.CLOSED)
    bench.run(55.0, at(3.55), at(5.0))
    bench.turn(Circuit.OPEN)
    bench.run(1.0, at(3.5), at(0.0))
    bench.turn(Circuit.CLOSED)
    assert bench.run(59.0, at(3.55), at(5.0)) is Order.NONE


def test_a_regulated_supply_has_no_knob_to_be_turned_down(
    hut_settings: SupervisorSettings,
) -> None:
    bench = bench_of(with_charge(hut_settings, regulated=True))
    bench.turn(Circuit.CLOSED)
    bench.run(10.0, at(3.55), at(5.0))
    assert "by itself" in bench.view.advice
    assert "knob" not in bench.view.advice


def test_without_an_end_it_never_asks(hut_settings: SupervisorSettings) -> None:
    bench = bench_of(with_charge(hut_settings, full=None))
    bench.turn(Circuit.CLOSED)
    assert bench.run(120.0, at(3.55), at(1.0)) is Order.NONE
    assert bench.view.to_full.words == "the settings say no end (charge.full)"


def test_a_trip_ends_the_rest_check(hut_settings: SupervisorSettings) -> None:
    bench = bench_of(soon_full(hut_settings))
    bench.turn(Circuit.CLOSED)
    bench.run(70.0, at(3.55), at(5.0), obey=True)
    bench.turn(Circuit.LOCKED_OUT)
    bench.run(2.0, at(3.5), at(0.0))
    assert bench.view.rest is None
    assert bench.view.stage == "none"


# A pulsed hold

PULSED = PulsedHold(open_above_volts=3.56, close_below_volts=3.50, least_rest_seconds=10)


@pytest.fixture
def pulsed(hut_settings: SupervisorSettings) -> Bench:
    """Closed in the hold; then opened by the end of its first pulse."""
    bench = bench_of(soon_full(hut_settings, pulsed_hold=PULSED))
    bench.turn(Circuit.CLOSED)
    assert bench.run(10.0, at(3.55), at(50.0)) is Order.NONE
    assert bench.run(3.0, at(3.561), at(50.0), obey=True) is Order.PAUSE
    return bench


def test_a_pulse_ends_and_the_next_begins(pulsed: Bench) -> None:
    assert pulsed.circuit is Circuit.PAUSED
    assert pulsed.run(9.0, at(3.49), at(0.0)) is Order.NONE
    assert (pulsed.view.stage, pulsed.view.advice) == ("hold", BETWEEN_PULSES)
    assert pulsed.view.pulses is not None
    assert pulsed.view.pulses.waits_for == "a rest of 10 s"
    assert pulsed.run(2.0, at(3.49), at(0.0), obey=True) is Order.RESUME
    pulsed.run(2.0, at(3.50), at(20.0))
    assert pulsed.view.stage == "hold"

    assert pulsed.view.pulses is not None
    assert (pulsed.view.pulses.count, len(pulsed.view.pulses.lengths_s)) == (1, 1)


def test_in_a_pulse_nobody_is_told_to_turn_up(pulsed: Bench) -> None:
    pulsed.run(20.0, at(3.49), at(0.0), obey=True)
    pulsed.run(5.0, at(3.505), at(20.0))
    assert "turn_up" not in pulsed.cue_names


def test_the_rest_between_two_pulses_is_no_time_held(pulsed: Bench) -> None:
    """Met for 30 s, then a rest of 20 s, then for 59 s: not a minute without a break."""
    pulsed.run(20.0, at(3.49), at(0.0), obey=True)
    assert pulsed.run(30.0, at(3.55), at(5.0)) is Order.NONE
    assert pulsed.run(3.0, at(3.561), at(5.0), obey=True) is Order.PAUSE
    assert pulsed.run(20.0, at(3.49), at(0.0), obey=True) is Order.RESUME
    assert pulsed.run(59.0, at(3.55), at(5.0)) is Order.NONE
    assert pulsed.run(5.0, at(3.55), at(5.0)) is Order.FINISH


def test_opened_by_hand_the_pulses_are_over(pulsed: Bench) -> None:
    pulsed.turn(Circuit.OPEN)
    assert pulsed.run(600.0, at(3.40), at(0.0)) is Order.NONE
    assert pulsed.view.stage == "none"


def test_opened_and_closed_by_hand_within_one_cycle_is_a_new_allowance(pulsed: Bench) -> None:
    """Between two pulses: no cycle in which it is open for good."""
    pulsed.run(20.0, at(3.49), at(0.0))
    pulsed.turn(Circuit.CLOSED)
    pulsed.run(3.0, at(3.55), at(50.0))
    assert pulsed.view.pulses is None, "none is under way"


def test_no_more_pulses_than_allowed(hut_settings: SupervisorSettings) -> None:
    few = PULSED.model_copy(update={"most_pulses": 2})
    bench = bench_of(soon_full(hut_settings, pulsed_hold=few))
    bench.turn(Circuit.CLOSED)
    bench.run(6.0, at(3.55), at(50.0))
    orders = []
    while Order.END not in orders:
        closed = bench.circuit is Circuit.CLOSED
        volts, amperes = (3.561, 50.0) if closed else (3.49, 0.0)
        orders.append(bench.run(60.0, at(volts), at(amperes), obey=True))
    assert orders == [Order.PAUSE, Order.RESUME] * 2 + [Order.PAUSE, Order.END]
    assert bench.guide.because == (
        "pulsed hold ended: 2 pulses in this session: that is what is allowed"
    )


# Cues


def dying_a(at_s: float) -> float:
    return 6.0 if at_s < 30 else 0.0


def test_a_supply_that_dies_in_the_hold_is_told_and_is_not_full(
    hut_settings: SupervisorSettings,
) -> None:
    bench = bench_of(soon_full(hut_settings))
    bench.turn(Circuit.CLOSED)
    assert bench.run(20 * 60.0, at(3.54), dying_a) is Order.NONE
    assert "no_current" in bench.cue_names
    assert bench.view.full is not None
    assert "no current flows" in bench.view.full.missing[0]


def test_a_current_backwards_is_shown_as_it_is(hut_settings: SupervisorSettings) -> None:
    bench = bench_of(soon_full(hut_settings))
    bench.turn(Circuit.CLOSED)
    bench.run(10.0, at(3.54), at(-9.0))
    assert bench.view.full is not None
    assert bench.view.full.missing[0].startswith("-9.0 A")


def test_cues_end_with_the_readings_they_were_of(bench: Bench) -> None:
    """No second can be told any more: what was said of the last one is not repeated for ever."""
    bench.turn(Circuit.CLOSED)
    bench.run(5.0, at(3.58), at(50.0))
    assert bench.cue_names == ["ease_down"]
    bench.run(10.0, at(BAD), at(BAD))
    assert bench.cue_names == []


def test_eased_down_nobody_is_told_to_turn_up_again_at_once(bench: Bench) -> None:
    """Bulk at 60 A of 100, then much too much for a moment, then the same as before."""
    bench.turn(Circuit.CLOSED)
    bench.run(400.0, at(3.35), at(60.0))
    assert bench.cue_names == ["turn_up"]
    bench.run(5.0, at(3.35), at(115.0))
    assert bench.cue_names == ["ease_down"]
    bench.run(290.0, at(3.35), at(60.0))
    assert bench.cue_names == []
    bench.run(20.0, at(3.35), at(60.0))
    assert bench.cue_names == ["turn_up"]


def timing(rule: str) -> Verdict:
    return Verdict(rule, State.TIMING, 1.0, 0.9, "A", 0.0, "reason")


def test_cues_do_not_outlast_the_circuit_they_were_of(bench: Bench) -> None:
    """Tripped by lost readings: there is no second in which another cue could be found."""
    bench.verdicts = (timing("overcurrent"),)
    bench.turn(Circuit.CLOSED)
    bench.run(5.0, at(3.4), at(50.0))
    assert bench.cue_names == ["ease_down"]
    bench.turn(Circuit.LOCKED_OUT)
    bench.run(1.0, at(BAD), at(BAD))
    assert bench.cue_names == []


def test_a_tiny_current_is_told_by_its_time_in_this_closing_only(
    hut_settings: SupervisorSettings,
) -> None:
    """A minute to be full, two minutes to creep; held for 100 s, opened for 600, held for 100."""
    settings = soon_full(hut_settings)
    assert settings.charge is not None
    assert settings.charge.full is not None
    never = settings.charge.full.model_copy(update={"least_percent": 30.0})
    bench = bench_of(with_charge(settings, full=never))
    bench.turn(Circuit.CLOSED)
    bench.run(100.0, at(3.55), at(5.0))
    bench.turn(Circuit.OPEN)
    bench.run(600.0, at(3.5), at(0.0))
    bench.turn(Circuit.CLOSED)
    bench.run(110.0, at(3.55), at(5.0))
    assert "creeping" not in bench.cue_names
    bench.run(20.0, at(3.55), at(5.0))
    assert "creeping" in bench.cue_names


def test_between_windows_nothing_is_asked(bench: Bench) -> None:
    bench.turn(Circuit.CLOSED)
    old = cycle(1.0, new=False, contactor=bench.contactor)
    assert bench.guide.take(old, (), Circuit.CLOSED, 1.0) is Order.NONE
    assert bench.view.charged_ah == 0.0


def test_the_drop_along_the_bars_is_no_lag_of_the_far_cell(
    hut_settings: SupervisorSettings,
) -> None:
    changed = with_rule(hut_settings, "balance", bars_microohms=0.0)
    for settings, told in ((changed, True), (hut_settings, False)):
        bench = bench_of(settings)
        bench.turn(Circuit.CLOSED)
        for k in range(1, 101):
            bench.now_s = k * WINDOW_S
            bench.take(3.55, 100.0, far=3.5385)
        assert ("far_lags" in bench.cue_names) is told
        assert bench.view.stage == Stage.HOLD.value
