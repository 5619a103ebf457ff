"""The settings that the benchmarks run on."""

import json
from pathlib import Path

import yaml

from supervisor.settings.load import load_settings
from supervisor.settings.model import SupervisorSettings

EXAMPLE = Path(__file__).parents[2] / "config" / "hut-bank.yaml"
HIGH_SET_V = 3.62


def settings_of(path: Path) -> SupervisorSettings:
    return load_settings(path)[0]


def level_settings(folder: Path) -> Path:
    """The example with a coil that a level holds, so that the last edge is the opening.

    Its high set then trips 10 mV sooner, as `check` asks: an end without a word is slower.
    """
    text = yaml.safe_load(EXAMPLE.read_text("utf-8"))
    text["contactor"]["drive"] = "level"
    del text["contactor"]["dropout_milliseconds"]
    text["protection"]["overvoltage_high_set"]["trip_volts"] = HIGH_SET_V
    path = folder / "level.yaml"
    path.write_text(json.dumps(text), "utf-8")
    return path
