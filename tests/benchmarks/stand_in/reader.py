"""Conversions one after another on the stand-in wire, as JSON: how many, and what they cost.

``python reader.py ours|scan|naive SAMPLES_PER_SECOND SECONDS``; needs STAND_IN_PAGE.
"""

import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from adafruit_ads1x15 import ads1115
from adafruit_ads1x15.analog_in import AnalogIn
from page import Page

from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.clock import MonotonicClock
from supervisor.devices.converter import Converter
from supervisor.devices.i2c import KernelI2C
from supervisor.devices.sampler import ConverterSampler
from supervisor.settings.hardware import Converter as Settings
from supervisor.settings.load import load_settings

EXAMPLE = Path(__file__).parents[3] / "config" / "hut-bank.yaml"
DEADLINE_S = 0.02
WARM_UP_S = 5.0


def ours(sps: int) -> Callable[[], object]:
    """One channel, by the converter that the daemon uses."""
    settings = Settings.model_validate({"address": 0x48, "samples_per_second": sps})
    converter = Converter(KernelI2C(1, DEADLINE_S), settings, MonotonicClock())
    return lambda: converter.convert("0-1", 4.096)


def scan(sps: int) -> Callable[[], object]:
    """All channels of the example in turn, by its sampler, retries and probes included."""
    settings, _ = load_settings(EXAMPLE)
    chips = {
        name: chip.model_copy(update={"samples_per_second": sps})
        for name, chip in settings.converters.items()
    }
    clock = MonotonicClock()
    keeper = BusKeeper(lambda: KernelI2C(1, DEADLINE_S), clock, DEADLINE_S)
    sampler = ConverterSampler(settings.model_copy(update={"converters": chips}), keeper, clock)
    return lambda: [sampler.sample(channel) for channel in sampler.channels]


def naive(sps: int) -> Callable[[], object]:
    """What the library's own example does."""
    chip = ads1115.ADS1115(KernelI2C(1, DEADLINE_S), data_rate=sps)
    channel = AnalogIn(chip, 0, 1)
    return lambda: channel.value


def main(name: str, sps: str, seconds: str) -> None:
    page = Page(Path(os.environ["STAND_IN_PAGE"]))
    convert = {"ours": ours, "scan": scan, "naive": naive}[name](int(sps))
    warm_at_s = time.monotonic() + WARM_UP_S  # what it learns of the chip is learned
    while time.monotonic() < warm_at_s:
        convert()
    counted = ("conversions", "messages", "transfers")
    before = {what: page.get(what) for what in counted}
    began_s, busy_s = time.monotonic(), time.process_time()
    while time.monotonic() < began_s + float(seconds):
        convert()
    took_s = time.monotonic() - began_s
    found = {what: page.get(what) - before[what] for what in counted}
    print(json.dumps(found | {"took_s": took_s, "busy_s": time.process_time() - busy_s}))


if __name__ == "__main__":
    main(*sys.argv[1:])
