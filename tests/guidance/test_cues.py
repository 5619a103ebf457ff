"""What the operator is told to do: only what fits the situation, few, the most urgent first."""

from dataclasses import replace
from typing import Any

import pytest
from cycles import CLEAR, FAR, FRONT, TIMING
from hypothesis import given
from hypothesis import strategies as st

from supervisor.guidance.cues import MOST_SHOWN, RANK, Cue, Situation, cues
from supervisor.guidance.forecast import Left
from supervisor.guidance.seconds import Second
from supervisor.protection.verdict import State, Verdict
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit, RestView, Stage, Urgency

NOW, SOON, NOTE = Urgency.NOW, Urgency.SOON, Urgency.NOTE
BULK, TAPER, HOLD = Stage.BULK, Stage.TAPER, Stage.HOLD
MINUTE_S, HOUR_S = 60.0, 3600.0


def second(
    front_v: float = 3.35, amperes: float = 100.0, far_v: float | None = None, unsure_a: float = 0.5
) -> Second:
    return Second(
        0.0, {FRONT: front_v, FAR: front_v if far_v is None else far_v}, amperes, unsure_a
    )


def verdict(rule: str, measured: float, limit: float, unit: str, state: State = CLEAR) -> Any:
    return {rule: Verdict(rule, state, measured, limit, unit, 0.0, f"reason of {rule}")}


@pytest.fixture
def calm(hut_settings: SupervisorSettings) -> Situation:
    """Bulk at the target of 100 A: nothing to say. Hold 3.52 to 3.56 V, end 8 A, 10 mV, 30 min."""
    assert hut_settings.charge is not None
    return Situation(
        charge=hut_settings.charge,
        circuit=Circuit.CLOSED,
        stage=BULK,
        stage_for_s=HOUR_S,
        second=second(),
        bars_ohm=0.0,
        verdicts={},
        to_limit=None,
        calm_for_s=HOUR_S,
        has_neared=False,
        level_for_s=0.0,
        after_turn_v=None,
        has_stopped=False,
        has_flowed=True,
        shown=frozenset(),
        stage_trip_a=None,
        full_met_s=0.0,
        small_for_s=0.0,
        current_no_longer_falls=False,
        missing=(),
        finished_because="",
        pulses_ended_because="",
        rest=None,
    )


def told(now: Situation, **changes: Any) -> dict[str, Cue]:
    return {cue.name: cue for cue in cues(replace(now, **changes))}


def left(minutes: float) -> Left:
    return Left(60 * minutes, 50 * minutes, 80 * minutes)


def test_nothing_to_say(calm: Situation) -> None:
    assert told(calm) == {}


# Ease down


@pytest.mark.parametrize(
    "rule",
    ["overvoltage", "overvoltage_high_set", "stage_limits", "overcurrent", "overcurrent_inverse"],
)
def test_what_times_asks_for_a_hand_now(calm: Situation, rule: str) -> None:
    found = told(calm, verdicts=verdict(rule, 1.0, 0.9, "A", TIMING))
    assert found["ease_down"].urgency is NOW
    assert found["ease_down"].reason == f"reason of {rule}"


@pytest.mark.parametrize(
    ("rule", "measured", "limit", "unit", "text"),
    [
        ("knob_speed", 7.6, 15.0, "A/s", "Too fast: 7.6 A/s. Ease down."),
        ("knob_speed", 0.006, 0.01, "V/s", "Too fast: 0.006 V/s. Ease down."),
        ("rate_of_rise", 0.031, 0.06, "V/min", "Too fast: 0.031 V/min. Ease down."),
    ],
)
def test_too_fast_from_half_of_what_trips(
    calm: Situation, rule: str, measured: float, limit: float, unit: str, text: str
) -> None:
    found = told(calm, stage=TAPER, verdicts=verdict(rule, measured, limit, unit))
    assert (found["too_fast"].urgency, found["too_fast"].text) == (NOW, text)
    assert told(calm, stage=TAPER, verdicts=verdict(rule, limit / 2, limit, unit)) == {}


def test_a_fast_rise_is_ordinary_in_the_bulk(calm: Situation) -> None:
    assert told(calm, verdicts=verdict("rate_of_rise", 0.5, 0.06, "V/min")) == {}
    assert "too_fast" in told(calm, verdicts=verdict("knob_speed", 14.0, 15.0, "A/s"))


@pytest.mark.parametrize(
    ("stage", "minutes", "urgency", "words"),
    [
        (TAPER, 4.9, NOW, "Ease down: at this setting it will trip in 4 to 7 min."),
        (TAPER, 5.1, None, ""),
        (HOLD, 4.9, NOW, "Voltage creeps at this setting: it will trip in 4 to 7 min. Ease down."),
        (HOLD, 29.0, SOON,
         "Voltage creeps at this setting: it will trip in 24 to 39 min. Ease down."),
        (HOLD, 31.0, None, ""),
    ],
)  # fmt: skip
def test_the_limit_is_near(
    calm: Situation, stage: Stage, minutes: float, urgency: Urgency | None, words: str
) -> None:
    found = cues(replace(calm, stage=stage, to_limit=left(minutes)))
    assert [cue.urgency for cue in found] == ([urgency] if urgency else [])
    assert [cue.text for cue in found] == ([words] if urgency else [])


def test_above_the_voltage_to_hold(calm: Situation) -> None:
    found = told(calm, stage=HOLD, second=second(3.555, 60.0, far_v=3.561))
    assert found["ease_down"].text == "Ease down: far cell at 3.561 V."
    assert found["ease_down"].urgency is SOON
    assert "ease_down" not in told(calm, stage=HOLD, second=second(3.56, 60.0))


def test_what_does_not_flow_cannot_be_eased(calm: Situation) -> None:
    assert "ease_down" not in told(calm, stage=HOLD, second=second(3.561, 0.4))


def test_above_the_target(calm: Situation) -> None:
    assert told(calm, second=second(3.35, 110.0)) == {}
    found = told(calm, second=second(3.35, 110.1))
    assert found["ease_down"].text == "Ease down: 110.1 A."
    assert found["ease_down"].reason == "the target is 100 A"


def test_only_one_cue_says_ease_down(calm: Situation) -> None:
    all_of_it = verdict("overvoltage", 3.61, 3.6, "V", TIMING) | verdict(
        "knob_speed", 14.0, 15.0, "A/s"
    )
    found = cues(
        replace(calm, stage=TAPER, verdicts=all_of_it, to_limit=left(1), second=second(3.61, 120.0))
    )
    assert [cue.name for cue in found] == ["ease_down"]
    assert found[0].text == "Ease down now."


# Heat


def test_the_supply_near_its_limit(calm: Situation) -> None:
    warm = Verdict("supply_thermal", CLEAR, 80.0, 100.0, "%", None, "hot", left_s=899.0)
    assert told(calm, verdicts={"supply_thermal": warm})["heat"].urgency is SOON
    later = Verdict("supply_thermal", CLEAR, 80.0, 100.0, "%", None, "hot", left_s=901.0)
    assert told(calm, verdicts={"supply_thermal": later}) == {}
    assert told(calm, circuit=Circuit.OPEN, verdicts={"supply_thermal": warm}) == {}


@pytest.mark.parametrize(
    ("celsius", "limit_c", "state", "is_told"),
    [
        (70.1, 80.0, CLEAR, True),
        (69.9, 80.0, CLEAR, False),
        (80.1, 80.0, TIMING, True),
        (20.0, 5.0, CLEAR, False),  # a lower limit
        (6.0, 5.0, CLEAR, False),
        (4.0, 5.0, TIMING, False),  # too cold: nothing to give air to, or to turn down
    ],
)
def test_a_probe_near_its_limit(
    calm: Situation, celsius: float, limit_c: float, state: State, is_told: bool
) -> None:
    found = told(calm, verdicts=verdict("temperature", celsius, limit_c, "°C", state))
    assert ("heat" in found) is is_told


def test_a_hot_supply_hides_no_hot_cells(calm: Situation) -> None:
    """Both are told, the cells first."""
    supply = Verdict("supply_thermal", TIMING, 95.0, 100.0, "%", None, "the rectifier is hot")
    cells = verdict("temperature", 44.0, 45.0, "°C")
    both = told(calm, verdicts={"supply_thermal": supply, **cells})["heat"]
    assert both.text == "Heat near its limit: 44.0 °C. Supply near its limit: turn down."
    assert both.reason == ("reason of temperature; give it air, or turn down; the rectifier is hot")


# In the hold


def test_the_far_cell_lags(calm: Situation) -> None:
    found = told(calm, stage=HOLD, second=second(3.55, 20.0, far_v=3.538))
    assert (found["far_lags"].urgency, found["far_lags"].text) == (
        NOTE, "Far cell lags by 12 mV: hold on.",
    )  # fmt: skip
    assert "far_lags" not in told(calm, stage=HOLD, second=second(3.55, 20.0, far_v=3.5401))
    with_drop = second(3.55, 100.0, far_v=3.538)
    assert "far_lags" not in told(calm, stage=HOLD, second=with_drop, bars_ohm=30e-6)


def test_a_tiny_current_held_for_ever(calm: Situation) -> None:
    now = replace(calm, stage=HOLD, second=second(3.55, 3.0), missing=("too little charged",))
    found = told(now, small_for_s=HOUR_S)
    assert found["creeping"].urgency is SOON
    assert found["creeping"].text.startswith("Held by 3.0 A only for 60 min: open it")
    assert found["creeping"].reason.endswith("not full: too little charged")
    assert "creeping" not in told(now, small_for_s=HOUR_S - 1)
    assert "creeping" not in told(now, small_for_s=HOUR_S, full_met_s=1.0)


def test_the_current_no_longer_falls(calm: Situation) -> None:
    now = replace(calm, stage=HOLD, second=second(3.55, 12.0), current_no_longer_falls=True)
    assert told(now, stage_for_s=2 * HOUR_S + 1)["no_end"].urgency is SOON
    assert "no_end" not in told(now, stage_for_s=2 * HOUR_S)
    assert "no_end" not in told(now, stage_for_s=3 * HOUR_S, current_no_longer_falls=False)


def test_low_enough_for_the_small_supply(calm: Situation) -> None:
    """It gives 10 A, measuring error included, and a twentieth less or more."""
    assert "small_supply" in told(calm, stage=HOLD, second=second(3.55, 8.9))
    assert "small_supply" not in told(calm, stage=HOLD, second=second(3.55, 9.0))
    assert "small_supply" not in told(calm, stage=TAPER, second=second(3.5, 8.0))
    assert "small_supply" not in told(calm, stage=HOLD, second=second(3.55, -20.0))
    shown = replace(calm, shown=frozenset({"small_supply"}))
    assert "small_supply" in told(shown, stage=HOLD, second=second(3.55, 9.9))
    assert "small_supply" not in told(shown, stage=HOLD, second=second(3.55, 10.0))


# No current


@pytest.mark.parametrize(
    ("stage", "has_flowed", "is_told"),
    [(BULK, False, False), (BULK, True, True), (TAPER, False, True), (HOLD, False, True)],
)
def test_a_supply_that_gives_nothing(
    calm: Situation, stage: Stage, has_flowed: bool, is_told: bool
) -> None:
    dead = replace(calm, second=second(3.53, 0.0), has_stopped=True, has_flowed=has_flowed)
    cue = told(dead, stage=stage).get("no_current")
    assert (cue is not None) is is_told
    if cue:
        assert cue.urgency is SOON
        assert cue.reason == (
            "is the supply on, its fuse whole, its voltage set above that of the cells, 3.530 V?"
        )
    assert "no_current" not in told(dead, stage=stage, circuit=Circuit.PAUSED)


def test_a_supply_that_gives_nothing_is_told_as_that_alone(calm: Situation) -> None:
    dead = replace(calm, stage=HOLD, second=second(3.53, 0.0), has_stopped=True, small_for_s=1e5)
    assert list(told(dead, missing=("no current",))) == ["no_current"]


# Turn up


def test_you_may_turn_up(calm: Situation) -> None:
    found = told(calm, second=second(3.35, 58.0))
    assert found["turn_up"].urgency is NOTE
    assert found["turn_up"].text == "58.0 A flows, 100 A is the target: you may turn up."
    assert found["turn_up"].reason == "210 mV to the hold"
    assert "turn_up" in told(calm, second=second(3.35, 84.9))
    assert told(calm, second=second(3.35, 85.0)) == {}


def test_turn_up_no_farther_than_the_stage_lets(calm: Situation) -> None:
    """A taper that trips at 60 A: 54 A are well below it."""
    taper = replace(calm, stage=TAPER, to_limit=left(60), stage_trip_a=60.0)
    found = told(taper, second=second(3.43, 40.0))
    assert found["turn_up"].text == (
        "40.0 A flows, 54 A is well below what trips in the taper: you may turn up."
    )
    assert "turn_up" not in told(taper, second=second(3.43, 46.0))
    assert "turn_up" in told(taper, second=second(3.43, 46.0), stage_trip_a=150.0)


@pytest.mark.parametrize(
    "changes",
    [
        {"stage": HOLD, "second": second(3.45, 3.0)},  # between two pulses, or just below its band
        {"stage": TAPER},  # no forecast is no reason
        {"stage": TAPER, "to_limit": left(35)},  # 29 min at the soonest
        {"to_limit": left(35)},
        {"has_neared": True},
        {"calm_for_s": 299.0},
        {"after_turn_v": 3.52},
        {"second": second(3.53, 50.0)},
        {"second": None},
        {"circuit": Circuit.OPEN},
        {"verdicts": verdict("overcurrent", 140.0, 130.0, "A", TIMING)},
        {"verdicts": verdict("temperature", 75.0, 80.0, "°C")},
    ],
)
def test_never_turn_up_when(calm: Situation, changes: dict[str, Any]) -> None:
    ready = replace(calm, second=second(3.41, 50.0))
    assert "turn_up" in told(ready)
    assert "turn_up" not in told(ready, **changes)


def test_eased_down_too_far_it_may_go_up_again(calm: Situation) -> None:
    """In the taper, once near its limit: 15 A of 100 for ten minutes, and nothing rises."""
    eased = replace(calm, stage=TAPER, has_neared=True, level_for_s=600.0)
    assert "turn_up" in told(eased, second=second(3.45, 15.0))
    assert "turn_up" not in told(eased, second=second(3.45, 25.0))
    assert "turn_up" not in told(eased, second=second(3.45, 15.0), level_for_s=599.0)


def test_a_regulated_supply_creeps_only_when_it_is_near(calm: Situation) -> None:
    charge = calm.charge.model_copy(update={"regulated": True})
    held = replace(calm, charge=charge, stage=HOLD, second=second(3.55, 20.0))
    assert "creeps" not in told(held, to_limit=left(20))
    assert "creeps" in told(held, to_limit=left(4))


# The end


def test_a_pulsed_hold_that_gives_up_says_so(calm: Situation) -> None:
    ended = replace(calm, stage=Stage.NONE, pulses_ended_because="2 pulses: that is allowed")
    found = told(ended, circuit=Circuit.OPEN)
    assert (found["pulses_ended"].urgency, found["pulses_ended"].most_sounds) == (SOON, 3)
    assert "pulses_ended" not in told(ended, circuit=Circuit.LOCKED_OUT)


def test_full(calm: Situation) -> None:
    found = told(calm, circuit=Circuit.FINISHED, stage=Stage.REST, finished_because="held at ...")
    assert (found["full"].urgency, found["full"].reason) == (SOON, "held at ...")


@pytest.mark.parametrize(
    ("state", "name", "urgency"),
    [("watching", None, None), ("passed", "rested", NOTE), ("failed", "rest_failed", SOON)],
)
def test_the_rest(calm: Situation, state: str, name: str | None, urgency: Urgency | None) -> None:
    rest = RestView(state, 3600.0, 3600.0, 3.4, 0.0, 0.0, ("one", "two"))
    found = told(calm, circuit=Circuit.OPEN, stage=Stage.REST, rest=rest)
    assert list(found) == ([name] if name else [])
    if name:
        assert found[name].urgency is urgency
    if name == "rest_failed":
        assert found[name].reason == "one; two"


# Invariants

maybe = st.none() | st.floats(0, 4000)
verdicts = st.builds(
    lambda rules, state, measured, left_s: {
        rule: Verdict(rule, state, measured, 80.0, "°C", 0.0, "reason", left_s=left_s)
        for rule in rules
    },
    st.sets(
        st.sampled_from(
            ["overvoltage", "knob_speed", "rate_of_rise", "supply_thermal", "temperature"]
        )
    ),
    st.sampled_from(State),
    maybe,
    maybe,
)
changes = st.fixed_dictionaries(
    {
        "circuit": st.sampled_from(Circuit),
        "stage": st.sampled_from(Stage),
        "stage_for_s": st.floats(0, 1e5),
        "second": st.none()
        | st.builds(second, st.floats(2, 4), st.floats(-10, 200), st.none() | st.floats(2, 4)),
        "verdicts": verdicts,
        "to_limit": st.none() | st.builds(left, st.floats(0, 100)),
        "calm_for_s": st.floats(0, 1e5),
        "has_neared": st.booleans(),
        "level_for_s": st.floats(0, 1e4),
        "after_turn_v": st.none() | st.floats(2, 4),
        "has_stopped": st.booleans(),
        "has_flowed": st.booleans(),
        "shown": st.frozensets(st.sampled_from(["small_supply", "ease_down"])),
        "stage_trip_a": st.none() | st.floats(1, 200),
        "full_met_s": st.sampled_from([0.0, 10.0]),
        "small_for_s": st.floats(0, 1e5),
        "current_no_longer_falls": st.booleans(),
        "rest": st.none()
        | st.builds(
            lambda state: RestView(state, 1.0, 1.0, None, None, None, ()),
            st.sampled_from(["watching", "passed", "failed"]),
        ),
    }
)


@given(changes)
def test_few_ranked_and_never_up_and_down_at_once(
    hut_settings: SupervisorSettings, changes: dict[str, Any]
) -> None:
    assert hut_settings.charge is not None
    rest = {
        "charge": hut_settings.charge,
        "bars_ohm": 3e-5,
        "missing": (),
        "finished_because": "",
        "pulses_ended_because": "",
    }
    found = cues(Situation(**changes, **rest))
    names = [cue.name for cue in found]
    assert len(found) <= MOST_SHOWN
    assert len(set(names)) == len(names)
    assert [RANK[cue.urgency] for cue in found] == sorted(RANK[cue.urgency] for cue in found)
    assert all(cue.text for cue in found)
    if "turn_up" in names:
        assert {cue.urgency for cue in found} == {NOTE}
    if changes["circuit"] is not Circuit.CLOSED:
        assert set(names) <= {"heat", "full", "rested", "rest_failed", "pulses_ended"}
