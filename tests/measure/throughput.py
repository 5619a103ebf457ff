"""Figures of the real stack on simulated leaves. Prints; asserts nothing.

Conversions per second in real time against the chip's limit, ours beside the driver's own blocking
read, on the same simulated chip and wire with real waits; messages per conversion; simulated
seconds per real second of the whole loop.
"""

import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

from adafruit_ads1x15 import ads1115

from supervisor.bench.rig import Rig
from supervisor.bench.scenario import Scenario
from supervisor.control.publisher import LastSnapshot
from supervisor.devices.clock import MonotonicClock
from supervisor.devices.converter import Converter
from supervisor.settings.hardware import Converter as ConverterSettings
from supervisor.simulator.ads1115 import ADS1115
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import SimulatedI2C, Wire
from supervisor.sizing.fitness import load_fit

SETTINGS = Path(__file__).parents[2] / "config" / "hut-bank.yaml"
REAL_S = 3.0
SIMULATED_S = 120.0


def bench(kilohertz: int) -> tuple[MonotonicClock, Wire]:
    clock = MonotonicClock()
    wire = Wire(clock, kilohertz)
    volts = (3.4, 0.0, 3.4, 0.0)
    wire.chips[0x48] = ADS1115(lambda pin, *_: volts[pin], Random(1), at_s=clock.now_s())
    return clock, wire


def per_second(convert: Callable[[], Any], wire: Wire) -> tuple[float, float, float]:
    """Conversions per second, messages per conversion, share of one processor."""
    convert()
    messages, cpu_s = wire.messages, time.process_time()
    began_s, count = time.monotonic(), 0
    while time.monotonic() - began_s < REAL_S:
        convert()
        count += 1
    took_s = time.monotonic() - began_s
    busy = (time.process_time() - cpu_s) / took_s
    return count / took_s, (wire.messages - messages) / count, busy


def converters() -> None:
    print("rate  bus      reader        conversions/s  of limit  messages  processor")
    for sps in (250, 860):
        for kilohertz in (100, 400):
            settings = ConverterSettings.model_validate(
                {"address": 0x48, "samples_per_second": sps}
            )
            clock, wire = bench(kilohertz)
            ours = Converter(SimulatedI2C(wire), settings, clock)
            row(sps, kilohertz, "ours", *per_second(lambda c=ours: c.convert("0-1", 4.096), wire))
            clock, wire = bench(kilohertz)
            stock = ads1115.ADS1115(SimulatedI2C(wire), data_rate=sps)
            row(sps, kilohertz, "driver's own", *per_second(lambda s=stock: s.read(0), wire))


def row(sps: int, kilohertz: int, name: str, rate: float, messages: float, busy: float) -> None:
    print(
        f"{sps:4}  {kilohertz} kHz  {name:<12}  {rate:13.1f}  {rate / sps:7.0%}  "
        f"{messages:8.1f}  {busy:8.1%}"
    )


def whole_loop() -> None:
    scenario = Scenario.model_validate(
        {
            "name": "throughput",
            "settings": "",
            "seconds": SIMULATED_S,
            "plant": {"cells": {"state_of_charge": 0.6}, "supply": {"knob": 0.9}},
            "timeline": ({"at_seconds": 2.0, "close": True},),
            "expect": {"outcome": "closed"},
        }
    )
    with tempfile.TemporaryDirectory() as folder:
        rig = Rig(
            scenario,
            load_fit(SETTINGS),
            clock=SimulatedClock(),
            state_dir=Path(folder),
            publisher=LastSnapshot(),
        )
        began_s = time.monotonic()
        while rig.elapsed_s < SIMULATED_S:
            rig.loop.cycle()
        took_s = time.monotonic() - began_s
        rig.loop.close()
    print(f"\nwhole loop, 3 channels: {SIMULATED_S / took_s:.1f} simulated seconds per real second")
    memory_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"resident memory of this process: {memory_mib:.1f} MiB")


if __name__ == "__main__":
    converters()
    whole_loop()
