"""Builds contactor and mains relay as the settings of the plant say."""

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.coil import Coil
from supervisor.simulator.inrush import Inrush, MainsRelay
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.switches import CoilSettings
from supervisor.simulator.switch import Switch


def build_contactor(settings: SupervisorSettings, plant: PlantSettings) -> Switch:
    ours = plant.switches
    coil = build_coil(ours.coil)
    rated = _coil(ours.coil, ours.coil.rated_volts)
    travel_s = max(ours.pull_in_milliseconds / 1000 - rated.pull_in_s, 0.0)
    dropout_ms = settings.contactor.dropout_milliseconds
    return Switch(
        coil.pull_in_s + travel_s,
        coil.release_s + ours.release_milliseconds / 1000,
        dropout_ms / 1000 if settings.contactor.drive == "pulse" and dropout_ms else None,
        coil=coil,
        bounces=ours.bounces,
        bounce_s=ours.bounce_milliseconds / 1000,
        auxiliary_lag_s=ours.auxiliary_lag_milliseconds / 1000,
    )


def build_mains_relay(settings: SupervisorSettings, plant: PlantSettings) -> MainsRelay | None:
    """None when the supply hangs on the mains directly."""
    if settings.mains_contactor is None:
        return None
    ours = plant.switches
    transformer = ours.transformer
    return MainsRelay(
        ours.mains_pull_in_milliseconds / 1000,
        ours.mains_release_milliseconds / 1000,
        Inrush(
            volts=transformer.mains_volts,
            hertz=plant.supply.mains_hertz,
            ohm=transformer.winding_ohms,
            henry=transformer.air_core_millihenries / 1000,
            remanence=transformer.remanence,
            knee=transformer.knee,
        ),
        ours.mains_making_amperes,
    )


def build_coil(settings: CoilSettings) -> Coil:
    """At the voltage it really gets."""
    return _coil(settings, settings.supply_volts)


def _coil(settings: CoilSettings, supply_v: float) -> Coil:
    return Coil(
        supply_v=supply_v,
        ohm=settings.ohms,
        henry=settings.millihenries / 1000,
        pull_in_a=settings.pull_in_amperes,
        hold_a=settings.hold_amperes,
        clamp_v=settings.against_v,
    )
