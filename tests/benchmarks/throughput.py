"""Figures of the real stack on simulated leaves. Prints; asserts nothing.

Conversions per second in real time against the chip's limit, ours beside the driver's own blocking
read, on the same simulated chip and wire with real waits; messages per conversion; simulated
seconds per real second of the whole loop, where they go, and the most that the driver's own Python
would leave of them on a bus that costs nothing.
"""

import cProfile
import pstats
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
PROFILED_S = 20.0
CONVERSIONS = 20_000
CHANNELS = 3
SHOWN = 8


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


class CostlessBus:
    """Answers every read with the configuration last written, ready; of no time and no work."""

    config = b"\x85\x83"

    def try_lock(self) -> bool:
        return True

    def unlock(self) -> None: ...

    def writeto(self, _address: int, data: bytes, **_slice: Any) -> None:
        if len(data) == 3:
            self.config = bytes([data[1] | 0x80, data[2]])

    def readfrom_into(self, *_args: Any, **_kwargs: Any) -> None: ...

    def writeto_then_readfrom(
        self, _address: int, _out: bytes, answer: bytearray, **_kwargs: Any
    ) -> None:
        answer[0:2] = self.config

    def close(self) -> None: ...


def driver_alone() -> None:
    """A ceiling for the whole loop: real driver, nothing below it and nothing above."""
    fit = load_fit(SETTINGS)
    converter = Converter(CostlessBus(), fit.converters["cells"], SimulatedClock())
    began_s = time.process_time()
    for _ in range(CONVERSIONS):
        converter.convert("0-1", 4.096)
    each_s = (time.process_time() - began_s) / CONVERSIONS
    needed = CHANNELS * fit.loop.scans_per_window / fit.loop.window_s
    print(
        f"driver alone: {each_s * 1e6:.1f} us a conversion; {needed:.0f} conversions make "
        f"a second: {1 / (each_s * needed):.0f} simulated seconds per real second at most"
    )


def shares(profile: cProfile.Profile) -> None:
    """Time spent in the functions of each room, what they call elsewhere not counted."""
    spent: dict[str, float] = {}
    for (file, _, _), (_, _, own_s, _, _) in pstats.Stats(profile).stats.items():  # type: ignore[attr-defined]
        _, found, rest = file.partition("/supervisor/")
        room = rest.split("/")[0] if found else "driver" if "adafruit" in file else "other"
        spent[room] = spent.get(room, 0.0) + own_s
    whole_s = sum(spent.values())
    for room, own_s in sorted(spent.items(), key=lambda share: -share[1])[:SHOWN]:
        print(f"  {room:<12} {own_s / whole_s:6.1%}")


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
        began_s = time.process_time()
        while rig.elapsed_s < SIMULATED_S:
            rig.cycle()
        took_s = time.process_time() - began_s
        profile = cProfile.Profile()
        with profile:
            while rig.elapsed_s < SIMULATED_S + PROFILED_S:
                rig.cycle()
        rig.loop.close()
    print(f"\nwhole loop, 3 channels: {SIMULATED_S / took_s:.1f} simulated seconds per real second")
    shares(profile)
    memory_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"resident memory of this process: {memory_mib:.1f} MiB")


if __name__ == "__main__":
    converters()
    whole_loop()
    driver_alone()
