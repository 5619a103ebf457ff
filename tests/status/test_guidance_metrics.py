"""What a Prometheus server gets to see of the charge and its guidance."""

from dataclasses import replace

import pytest
import samples
from test_metrics import fresh, names, value

from supervisor.snapshot import GuidanceView

# All that needs guidance in the settings.
GUIDED = {
    "charge_stage", "cue_active", "time_to_limit_seconds", "time_to_limit_low_seconds",
    "time_to_limit_high_seconds", "time_to_full_seconds", "time_to_full_low_seconds",
    "time_to_full_high_seconds", "session_charge_coulombs", "session_charge_uncertainty_coulombs",
    "session_energy_joules", "session_charge_whole", "charge_left_coulombs",
    "bank_resistance_ohms", "bank_resistance_uncertainty_ohms", "cell_rest_volts",
    "full_condition_seconds", "full_condition_required_seconds", "rest_check",
}  # fmt: skip


def told_of(guidance: GuidanceView | None) -> set[str]:
    snapshot = replace(samples.CLOSED, guidance=guidance)
    return {name.removeprefix("holdwatch_") for name in names(fresh(snapshot))} & GUIDED


def states(sample: samples.Snapshot, name: str) -> dict[str, float]:
    return {dict(labels)[name]: v for (n, labels), v in fresh(sample).items() if n == name}


@pytest.mark.parametrize(
    ("sample", "present"),
    [("open", "none"), ("closed", "taper"), ("held", "hold"), ("finished", "rest")],
)
def test_one_stage_at_a_time(sample: str, present: str) -> None:
    told = states(samples.ALL[sample], "holdwatch_charge_stage")
    assert told == {s: float(s == present) for s in ("none", "bulk", "taper", "hold", "rest")}


def test_forecasts_in_seconds() -> None:
    values = fresh(samples.HELD)
    assert value(values, "time_to_limit_seconds") == 1140
    assert value(values, "time_to_limit_low_seconds") == 660
    assert value(values, "time_to_limit_high_seconds") == 1740
    assert value(values, "time_to_full_seconds") == 7500
    assert value(values, "time_to_full_low_seconds") == 4320
    assert value(values, "time_to_full_high_seconds") == 13_200


def test_what_cannot_be_told_is_absent() -> None:
    """Neither 0 nor the last: both would be believed."""
    taper = told_of(samples.TAPER)
    assert "time_to_limit_seconds" in taper
    assert not {name for name in taper if name.startswith("time_to_full")}
    idle = told_of(samples.IDLE)
    assert idle == {
        "charge_stage", "session_charge_coulombs", "session_charge_uncertainty_coulombs",
        "session_energy_joules", "session_charge_whole", "charge_left_coulombs",
    }  # fmt: skip


def test_without_guidance_there_is_none_of_it() -> None:
    assert told_of(None) == set()
    assert told_of(replace(samples.HOLD, rest=samples.WATCHED)) == GUIDED


def test_charge_and_energy_in_base_units() -> None:
    """1 Ah is 3600 C and 1 Wh is 3600 J, by the definitions of the units."""
    values = fresh(samples.CLOSED)
    assert value(values, "session_charge_coulombs") == pytest.approx(592_560)
    assert value(values, "session_charge_uncertainty_coulombs") == pytest.approx(2880)
    assert value(values, "session_energy_joules") == pytest.approx(2_026_800)
    assert value(values, "charge_left_coulombs") == pytest.approx(15_535_440)
    assert value(values, "session_charge_whole") == 1
    lost = replace(samples.TAPER, charge_is_whole=False)
    assert value(fresh(replace(samples.CLOSED, guidance=lost)), "session_charge_whole") == 0


def test_resistance_and_the_voltage_at_rest() -> None:
    values = fresh(samples.CLOSED)
    assert value(values, "bank_resistance_ohms") == 94e-6
    assert value(values, "bank_resistance_uncertainty_ohms") == pytest.approx(12e-6)  # k = 2
    assert value(values, "cell_rest_volts") == 3.4509


def test_cues_by_name_and_urgency() -> None:
    told = {labels: v for (n, labels), v in fresh(samples.HELD).items() if n.endswith("cue_active")}
    assert told == {
        (("cue", "creeps"), ("urgency", "soon")): 1,
        (("cue", "far_lags"), ("urgency", "note")): 1,
        (("cue", "small_supply"), ("urgency", "note")): 1,
    }
    assert "holdwatch_cue_active" not in names(fresh(samples.PAUSED))


def test_progress_to_full() -> None:
    full = replace(samples.HOLD, full=replace(samples.FULL, for_s=720.0, missing=()))
    values = fresh(replace(samples.HELD, guidance=full))
    assert value(values, "full_condition_seconds") == 720
    assert value(values, "full_condition_required_seconds") == 1800


@pytest.mark.parametrize("present", ["watching", "passed", "failed"])
def test_the_rest_check(present: str) -> None:
    rest = replace(samples.WATCHED, state=present)
    snapshot = replace(samples.FINISHED, guidance=replace(samples.HOLD, rest=rest))
    told = states(snapshot, "holdwatch_rest_check")
    assert told == {s: float(s == present) for s in ("watching", "passed", "failed")}


def test_profile_closings_and_silence() -> None:
    values = fresh(replace(samples.PAUSED, silent_s=540.0))
    assert value(values, "profile_info", profile="bench_end") == 1
    assert value(values, "contactor_closings_total") == 214
    assert value(values, "contactor_rated_closings") == 100_000
    assert value(values, "buzzer_silent_seconds") == 540
    assert value(fresh(samples.UNGUIDED), "contactor_closings_total") == 214
    assert "holdwatch_contactor_rated_closings" not in names(fresh(samples.UNGUIDED))
