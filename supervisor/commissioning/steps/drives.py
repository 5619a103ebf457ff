"""How far and how fast each rule is driven over its limit, so that no other rule comes first."""

from supervisor.commissioning.steps.calibration import FLAT_V
from supervisor.commissioning.steps.trip_points import Drive
from supervisor.readings import Channel
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings

NEAR_V = 0.03
HALF_JUMP_V = 0.008
SLOWEST_V_PER_S = 0.0005
SHARE_OF_RISE = 0.4  # of what the rules on slopes let pass
SHUNT = (Channel.SHUNT.value,)


def overvoltage(settings: SupervisorSettings) -> Drive:
    """Front and far cell together: nobody may mind their difference."""
    rules = settings.protection
    limit_v = rules.overvoltage.trip_volts
    room_v = (rules.overvoltage_high_set.trip_volts - limit_v) / 2
    return Drive(
        channels=_cells(settings),
        unit="V",
        limit=limit_v,
        start=limit_v - NEAR_V,
        end=limit_v + min(NEAR_V, room_v),
        per_s=_slow_v_per_s(settings),
        calm=limit_v - HALF_JUMP_V,
        beyond=limit_v + min(HALF_JUMP_V, room_v),
    )


def undervoltage(settings: SupervisorSettings) -> Drive:
    limit_v = settings.protection.undervoltage.trip_volts
    return Drive(
        channels=_cells(settings),
        unit="V",
        limit=limit_v,
        start=limit_v + NEAR_V,
        end=limit_v - 2 * NEAR_V,
        per_s=0.002,
        calm=limit_v + NEAR_V,
        beyond=limit_v - NEAR_V,
    )


def balance(settings: SupervisorSettings) -> Drive:
    """The front cell alone, away from the far one."""
    rule = settings.protection.balance
    assert rule
    limit_v = FLAT_V + rule.trip_volts
    return Drive(
        channels=(Channel.FRONT_CELL.value,),
        unit="V",
        limit=limit_v,
        start=FLAT_V,
        end=limit_v + rule.trip_volts,
        per_s=min(0.001, _knob_v_per_s(settings)),
        calm=limit_v - HALF_JUMP_V,
        beyond=limit_v + HALF_JUMP_V,
    )


def overcurrent(settings: SupervisorSettings) -> Drive:
    limit_a = settings.protection.overcurrent.trip_amperes
    return Drive(
        channels=SHUNT,
        unit="A",
        limit=limit_a,
        start=0.95 * limit_a,
        end=1.06 * limit_a,
        per_s=0.001 * limit_a,
        calm=0.97 * limit_a,
        beyond=1.04 * limit_a,
        approach_per_s=_knob_a_per_s(settings),
    )


def reverse_current(settings: SupervisorSettings) -> Drive:
    limit_a = settings.protection.reverse_current.trip_amperes
    return Drive(
        channels=SHUNT,
        unit="A",
        limit=-limit_a,
        start=0.0,
        end=-2 * limit_a,
        per_s=min(0.02 * limit_a, _knob_a_per_s(settings)),
        calm=0.0,
        beyond=-1.5 * limit_a,
    )


def _cells(settings: SupervisorSettings) -> tuple[str, ...]:
    return tuple(channel.value for channel in fitted_cells(settings))


def _slow_v_per_s(settings: SupervisorSettings) -> float:
    rise = settings.protection.rate_of_rise.trip_volts_per_minute / 60
    return min(SLOWEST_V_PER_S, SHARE_OF_RISE * rise)


def _knob_v_per_s(settings: SupervisorSettings) -> float:
    knob = settings.protection.knob_speed
    return SHARE_OF_RISE * knob.trip_volts_per_second if knob else 0.01


def _knob_a_per_s(settings: SupervisorSettings) -> float:
    knob = settings.protection.knob_speed
    limit_a = settings.protection.overcurrent.trip_amperes
    return SHARE_OF_RISE * knob.trip_amperes_per_second if knob else limit_a / 20
