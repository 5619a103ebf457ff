"""Conversions a second against what the chip and the wire allow at the most."""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from bench_daemons import STAND_IN, on_the_wire
from figures import Figure, Lines
from machine import environment, in_realtime

TITLE = "conversions a second"
# ADS1115 data sheet, from memory: time to power up before a single-shot conversion.
POWER_UP_S = 25e-6
# The least that a single-shot read takes, each with its address, nine bits a byte, a start bit a
# message, a stop bit a transfer: write the configuration (4 bytes), name the result register (2),
# read it (3).
LEAST_BITS = 9 * (4 + 2 + 3) + 3 + 2
READERS = {
    "ours": "our converter",
    "scan": "our sampler, three channels",
    "naive": "AnalogIn.value",
}


def limit_per_s(sps: int, kilohertz: int) -> float:
    return 1 / (1 / sps + POWER_UP_S + LEAST_BITS / (1000 * kilohertz))


def read(name: str, sps: int, kilohertz: int, seconds: float) -> dict[str, float]:
    with tempfile.TemporaryDirectory() as folder:
        page, env = on_the_wire(Path(folder), kilohertz)
        page.set(shunt_v=page.get("closed_shunt_v"))
        command = [sys.executable, str(STAND_IN / "reader.py"), name, str(sps), str(seconds)]
        with environment(env):
            done = subprocess.run(in_realtime(command), check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def measure(*, quick: bool) -> Lines:
    yield "The limit: conversion time + 25 us to power up + the bus time of the three messages"
    yield "(86 bits) that a single-shot read needs at least. Real time; a stand-in for the"
    yield "kernel's I2C, whose chip keeps its nominal rate; driver and bus library are real."
    for sps in (250, 860):
        for kilohertz in (100, 400):
            limit = limit_per_s(sps, kilohertz)
            share = f"{limit / sps:.0%} of the data rate"
            yield f"{sps} SPS, {kilohertz} kHz: at most {limit:.1f}/s, {share}"
            for name, words in READERS.items():
                found = read(name, sps, kilohertz, 1 if quick else 5)
                yield from _told(f"{words}, {sps} SPS, {kilohertz} kHz", found, limit, sps,
                                 ours=name != "naive", judged=kilohertz == 400)  # fmt: skip


def _told(
    words: str, found: dict[str, float], limit: float, sps: int, *, ours: bool, judged: bool
) -> Lines:
    count = found["conversions"] or 1
    rate = count / found["took_s"]
    yield Figure(f"{words}: of the limit", rate / limit, at_least=0.95 if ours and judged else None)
    yield Figure(f"{words}: conversions", rate, "/s", why=f"{rate / sps:.0%} of the data rate")
    yield Figure(f"{words}: messages", found["messages"] / count, at_most=3 if ours else None)
    yield Figure(f"{words}: transfers", found["transfers"] / count)
    yield Figure(f"{words}: processor", 1e6 * found["busy_s"] / count, "us")
