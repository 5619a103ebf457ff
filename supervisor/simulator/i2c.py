"""The I2C wire: chips, the time a transfer takes, and what goes wrong with wires."""

import errno
import os
from collections.abc import Callable, Sequence
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
class Message:
    """One I2C message: ``wanted`` is None for a write, else how many bytes to read."""

    address: int
    data: bytes = b""
    wanted: int | None = None

    @property
    def bits(self) -> int:
        """Start, address and bytes."""
        length = len(self.data) if self.wanted is None else self.wanted
        return 1 + BITS_PER_BYTE * (1 + length)


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

    def transfer(self, messages: Sequence[Message]) -> list[bytes]:
        """One transfer, start to stop; what its read messages brought.

        Raises OSError with the kernel's errno.
        """
        self.transfers += 1
        self.messages += len(messages)
        trouble = self.trouble
        if trouble.hang_s is not None:
            self._clock.sleep_until(self._clock.now_s() + trouble.hang_s)
            self._catch_up()
            raise self._failure(errno.ETIMEDOUT)
        bits = 1 + sum(message.bits for message in messages)
        self._clock.sleep_until(self._clock.now_s() + bits * self._bit_s * trouble.slow_factor)
        self._catch_up()
        if trouble.error is not None:
            self._fail_as_told(trouble.error)
        with self._lock:
            return self._exchange(messages)

    def reopened(self) -> None:
        """The bus was opened anew: a lost bus state is found again."""
        if self.trouble.error_until_reopened:
            self.trouble.error = None
            self.trouble.error_until_reopened = False

    def _exchange(self, messages: Sequence[Message]) -> list[bytes]:
        now_s = self._clock.now_s()
        answers = []
        for message in messages:
            if message.address == GENERAL_CALL:
                self._general_call(message, now_s)
            elif self.trouble.stuck_low:
                if message.wanted is not None:
                    answers.append(bytes(message.wanted))
            elif message.address in self.absent or message.address not in self.chips:
                raise self._failure(self.absent_errno)
            elif message.wanted is None:
                self.chips[message.address].write(message.data, now_s)
            else:
                answer = self.chips[message.address].read(message.wanted, now_s)
                answers.append(self._received(answer))
        return answers

    def _received(self, answer: bytes) -> bytes:
        self._reads += 1
        every = self.trouble.shift_every
        if every is None or self._reads % every:
            return answer
        shifted = int.from_bytes(answer, "big") << 1 | 1  # the released line reads high
        return (shifted & (1 << 8 * len(answer)) - 1).to_bytes(len(answer), "big")

    def _general_call(self, message: Message, now_s: float) -> None:
        present = [chip for address, chip in self.chips.items() if address not in self.absent]
        if message.wanted is not None or not present:
            raise self._failure(self.absent_errno)
        if message.data == GENERAL_CALL_RESET and not self.trouble.stuck_low:
            for chip in present:
                chip.reset(now_s)

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
        self._transfer(Message(address, bytes(buffer[start:end])))

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        wanted = len(range(len(buffer))[start:end])
        buffer[start:end] = self._transfer(Message(address, wanted=wanted))[0]

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
        asked = Message(address, bytes(out_buffer[out_start:out_end]))
        in_buffer[in_start:in_end] = self._transfer(asked, Message(address, wanted=wanted))[0]

    def close(self) -> None:
        self._closed = True

    def _transfer(self, *messages: Message) -> list[bytes]:
        if self._closed:
            raise OSError(errno.EBADF, os.strerror(errno.EBADF))
        return self._wire.transfer(messages)
