"""The I2C wire: chips, the time a transfer takes, and what goes wrong with wires."""

import errno
import os
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from threading import RLock
from typing import Protocol

from supervisor.devices.protocols import Clock

GENERAL_CALL = 0x00
GENERAL_CALL_RESET = b"\x06"
BITS_PER_BYTE = 9  # eight and the acknowledge bit


class Chip(Protocol):
    """What answers at an address. Times are those of the end of the message."""

    def write(self, data: bytes, at_s: float) -> None: ...

    def read(self, length: int, at_s: float) -> bytes: ...

    def reset(self, at_s: float) -> None: ...


@dataclass(slots=True)
class WireTrouble:
    """What is wrong with the wire; the defaults are a healthy one."""

    error: int | None = None  # errno of every transfer
    error_transfers: int | None = None  # for so many transfers; None: until cleared
    error_until_reopened: bool = False  # the bus state is lost until the bus is opened anew
    stuck_low: bool = False  # reads give 0000h, writes are acknowledged and lost
    slow_factor: float = 1.0
    hang_s: float | None = None  # every transfer blocks for so long, then times out
    shift_every: int | None = None  # every Nth word read is shifted by one bit


class Wire:
    """The bus behind all its openers.

    ``catch_up`` brings the world to the present before the chips see a transfer; ``lock`` is
    held while they do.
    """

    def __init__(
        self,
        clock: Clock,
        kilohertz: int = 100,
        *,
        catch_up: Callable[[], None] = lambda: None,
        lock: AbstractContextManager[object] | None = None,
        absent_errno: int = errno.EREMOTEIO,
    ) -> None:
        self._clock = clock
        self._bit_s = 1 / (kilohertz * 1000)
        self._catch_up = catch_up
        self._lock = lock or RLock()
        self.absent_errno = absent_errno
        self.chips: dict[int, Chip] = {}
        self.absent: set[int] = set()
        self.trouble = WireTrouble()
        self.transfers = 0
        self.messages = 0
        self.errors = 0
        self._reads = 0

    def transfer(self, address: int, data: bytes | None, wanted: int | None = None) -> bytes:
        """One transfer, start to stop: writes ``data``, then reads so many bytes; either may be
        None, for none of that.

        Raises OSError with the kernel's errno.
        """
        self.transfers += 1
        trouble = self.trouble
        if trouble.hang_s is not None:
            self._clock.sleep_until(self._clock.now_s() + trouble.hang_s)
            self._catch_up()
            raise self._failure(errno.ETIMEDOUT)
        bits = 1  # start, address and bytes of each message, and one stop
        if data is not None:
            self.messages += 1
            bits += 1 + BITS_PER_BYTE * (1 + len(data))
        if wanted is not None:
            self.messages += 1
            bits += 1 + BITS_PER_BYTE * (1 + wanted)
        now_s = self._clock.now_s() + bits * self._bit_s * trouble.slow_factor
        self._clock.sleep_until(now_s)
        self._catch_up()
        if trouble.error is not None:
            self._fail_as_told(trouble.error)
        with self._lock:
            return self._exchange(address, data, wanted)

    def reopened(self) -> None:
        """The bus was opened anew: a lost bus state is found again."""
        if self.trouble.error_until_reopened:
            self.trouble.error = None
            self.trouble.error_until_reopened = False

    def _exchange(self, address: int, data: bytes | None, wanted: int | None) -> bytes:
        if address == GENERAL_CALL:
            self._general_call(data, wanted)
            return b""
        if self.trouble.stuck_low:
            return bytes(wanted or 0)
        chip = self.chips.get(address)
        if chip is None or address in self.absent:
            raise self._failure(self.absent_errno)
        now_s = self._clock.now_s()
        if data is not None:
            chip.write(data, now_s)
        if wanted is None:
            return b""
        return self._received(chip.read(wanted, now_s))

    def _received(self, answer: bytes) -> bytes:
        self._reads += 1
        every = self.trouble.shift_every
        if every is None or self._reads % every:
            return answer
        shifted = int.from_bytes(answer, "big") << 1 | 1  # the released line reads high
        return (shifted & (1 << 8 * len(answer)) - 1).to_bytes(len(answer), "big")

    def _general_call(self, data: bytes | None, wanted: int | None) -> None:
        """Held low, the line acknowledges it, and no chip hears it."""
        if self.trouble.stuck_low:
            return
        present = [chip for address, chip in self.chips.items() if address not in self.absent]
        if wanted is not None or not present:
            raise self._failure(self.absent_errno)
        if data == GENERAL_CALL_RESET:
            for chip in present:
                chip.reset(self._clock.now_s())

    def _fail_as_told(self, number: int) -> None:
        trouble = self.trouble
        if trouble.error_transfers is not None:
            trouble.error_transfers -= 1
            if trouble.error_transfers <= 0:
                trouble.error, trouble.error_transfers = None, None
        raise self._failure(number)

    def _failure(self, number: int) -> OSError:
        self.errors += 1
        return OSError(number, os.strerror(number))


class SimulatedI2C:
    """One opened bus on the simulated wire, in the calling convention of ``busio.I2C``."""

    def __init__(self, wire: Wire) -> None:
        self._wire = wire
        self._locked = False
        self._closed = False
        wire.reopened()

    def try_lock(self) -> bool:
        if self._locked:
            return False
        self._locked = True
        return True

    def unlock(self) -> None:
        if not self._locked:
            raise RuntimeError("the bus is not locked")
        self._locked = False

    def writeto(
        self, address: int, buffer: bytes, *, start: int = 0, end: int | None = None
    ) -> None:
        self._transfer(address, bytes(buffer[start:end]))

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        wanted = len(range(len(buffer))[start:end])
        buffer[start:end] = self._transfer(address, None, wanted)

    def writeto_then_readfrom(
        self,
        address: int,
        out_buffer: bytes,
        in_buffer: bytearray,
        *,
        out_start: int = 0,
        out_end: int | None = None,
        in_start: int = 0,
        in_end: int | None = None,
    ) -> None:
        wanted = len(range(len(in_buffer))[in_start:in_end])
        asked = bytes(out_buffer[out_start:out_end])
        in_buffer[in_start:in_end] = self._transfer(address, asked, wanted)

    def close(self) -> None:
        self._closed = True

    def _transfer(self, address: int, data: bytes | None, wanted: int | None = None) -> bytes:
        if self._closed:
            raise OSError(errno.EBADF, os.strerror(errno.EBADF))
        return self._wire.transfer(address, data, wanted)
