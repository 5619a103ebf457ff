"""DS18B20 probes as the kernel shows them: the text of their files, with nobody waiting."""

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager

from supervisor.devices.protocols import Clock, OneWireAnswer
from supervisor.simulator.probes import SimulatedProbe

EVERY_S = 1.0
STEPS_PER_KELVIN = 16
POWER_ON_C = 85.0
# Alarm limits, configuration (12 bits) and reserved bytes at power-on, after the sheet (memory).
REST = bytes((0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10))


class SimulatedOneWire:
    """The bus of the probes with these serial numbers. A new conversion comes once a second.

    ``catch_up`` brings the world to the present before they measure; ``lock`` is held while they
    do.
    """

    def __init__(
        self,
        probes: Mapping[str, SimulatedProbe],
        clock: Clock,
        *,
        catch_up: Callable[[], None],
        lock: AbstractContextManager[object],
    ) -> None:
        self._probes = probes
        self._clock = clock
        self._catch_up = catch_up
        self._lock = lock
        self._newest: dict[str, OneWireAnswer] = {}

    def newest(self, serial: str) -> OneWireAnswer | None:
        newest = self._newest.get(serial)
        if newest is None or self._clock.now_s() - newest.asked_at_s >= EVERY_S:
            self._catch_up()
            with self._lock:
                now_s = self._clock.now_s()
                self._newest[serial] = OneWireAnswer(self._text(serial, now_s), now_s)
        return self._newest[serial]

    def close(self) -> None:
        """Nothing is held."""

    def _text(self, serial: str, at_s: float) -> str | None:
        probe = self._probes.get(serial)
        if probe is None or probe.lost:
            return None
        return w1_slave(POWER_ON_C if probe.at_power_on else probe.celsius(at_s))


def w1_slave(celsius: float) -> str:
    """The kernel's text for a good answer, rounded to the probe's step."""
    code = round(celsius * STEPS_PER_KELVIN)
    scratchpad = code.to_bytes(2, "little", signed=True) + REST
    checksum = crc8(scratchpad)
    shown = "".join(f"{byte:02x} " for byte in (*scratchpad, checksum))
    return f"{shown}: crc={checksum:02x} YES\n{shown}t={int(code * 1000 / STEPS_PER_KELVIN)}\n"


def crc8(data: bytes) -> int:
    """The one-wire bus's checksum: x8 + x5 + x4 + 1, lowest bit first (memory)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc
