"""The example with every optional block fitted: probes, inverse time, temperature, second line."""

from supervisor.settings.load import settings_from
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.text import parse

EDITS = (
    (
        "\nconverters:\n",
        "\nconverters:\n  guard:\n    address: 0x4A\n",
    ),
    (
        "\nprotection:\n",
        """
probes:
  sink:
    chip: lm75
    place: heat_sink
    address: 0x4C
  iron:
    chip: ds18b20
    place: transformer
    serial: 28-0123456789ab
  middle:
    chip: ds18b20
    place: cells
    serial: 28-0123456789ac
second_line:
  converter: guard
  inputs: "0-1"
  trip_volts: 3.635
  release_volts: 3.4
  pin: 26
protection:
  overcurrent_inverse:
    trip_amperes: 115
  stage_limits:
    taper:
      trip_amperes: 120
    hold:
      trip_amperes: 60
      trip_volts: 3.58
  temperature:
    heat_sink_above_celsius: 80
    transformer_above_celsius: 100
    cells_above_celsius: 45
    cells_below_celsius: 5
""",
    ),
    ("  without:\n", ""),
    ("    temperature: Example for demo and drills, no probes are fitted\n", ""),
)


def full_text(hut_text: str) -> str:
    """The text of such a settings file."""
    for old, new in EDITS:
        assert hut_text.count(old) == 1, old
        hut_text = hut_text.replace(old, new)
    return hut_text


def full_settings(hut_text: str) -> SupervisorSettings:
    return settings_from(parse(full_text(hut_text), "full.yaml"))
