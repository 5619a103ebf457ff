"""A scenario for the daemon in real time, on a machine that may stand still for a second."""

from pathlib import Path

EXAMPLE = Path(__file__).parents[2] / "config" / "hut-bank.yaml"


def patient_scenario(seconds: int = 600) -> str:
    """The example, closed or to be closed, so patient that a busy machine trips nothing."""
    return f"""
name: In real time, and patient
settings: {EXAMPLE}
overrides:
  bank.fastest_rise_volts_per_second: 0.001
  contactor: {{pin: 17, drive: level, release_milliseconds: 30, auxiliary: {{pin: 27}}}}
  loop.lease_milliseconds: 2000
  protection.rate_of_rise.look_ahead_seconds: 30
  protection.rate_of_rise.trip_volts_per_minute: 0.03
  protection.knob_speed.trip_volts_per_second: 0.0009
  protection.sensing.trip_after_seconds: 1.8
  protection.stale.trip_after_seconds: 1.8
  protection.loop_overrun: {{trip_late_seconds: 1.8, trip_misses: 130, in_seconds: 3}}
seconds: {seconds}
plant: {{cells: {{state_of_charge: 0.6}}}}
expect: {{outcome: closed}}
"""
