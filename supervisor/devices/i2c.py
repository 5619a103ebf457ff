"""An I2C bus of the Linux kernel, in the calling convention of CircuitPython's ``busio``."""

import errno
import math
import threading
from fcntl import ioctl
from pathlib import Path

from smbus2 import SMBus

from supervisor.devices.errors import HardwareMissing
from supervisor.devices.transfer import Transfer

# include/uapi/linux/i2c-dev.h
I2C_RETRIES = 0x0701
I2C_TIMEOUT = 0x0702  # in units of 10 ms


class KernelI2C:
    """``/dev/i2c-N`` through smbus2's I2C_RDWR; one transfer, one system call, one deadline.

    The kernel is told to give up after ``deadline_s`` (rounded up to its unit of 10 ms) and
    never to repeat a transfer by itself: repeats are the sampler's, who counts them. Transfers
    raise OSError with the kernel's errno. Construction raises HardwareMissing.
    """

    def __init__(self, number: int, deadline_s: float) -> None:
        self._lock = threading.Lock()
        self._transfers: dict[tuple[int, int | None, int | None], Transfer] = {}
        device = Path(f"/dev/i2c-{number}")
        try:
            self._bus = SMBus(str(device))
        except OSError as error:
            raise HardwareMissing(*_why_not_open(device, error)) from error
        assert self._bus.fd is not None
        try:
            ioctl(self._bus.fd, I2C_TIMEOUT, math.ceil(round(deadline_s * 100, 6)))
            ioctl(self._bus.fd, I2C_RETRIES, 0)
        except OSError as error:
            self._bus.close()
            raise HardwareMissing(*_why_not_open(device, error)) from error

    def try_lock(self) -> bool:
        return self._lock.acquire(blocking=False)

    def unlock(self) -> None:
        self._lock.release()

    def writeto(
        self, address: int, buffer: bytes, *, start: int = 0, end: int | None = None
    ) -> None:
        self._transfer(address, bytes(buffer[start:end]), None)

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
        in_buffer[in_start:in_end] = self._transfer(
            address, bytes(out_buffer[out_start:out_end]), wanted
        )

    def close(self) -> None:
        self._bus.close()

    def _transfer(self, address: int, data: bytes | None, wanted: int | None) -> bytes:
        if self._bus.fd is None:
            raise OSError(errno.EBADF, "the bus is closed")
        shape = (address, None if data is None else len(data), wanted)
        if shape not in self._transfers:
            self._transfers[shape] = Transfer(*shape)
        return self._transfers[shape].run(self._bus.fd, data or b"")


def _why_not_open(device: Path, error: OSError) -> tuple[str, str]:
    """What is wrong with the bus device, and what to do about it."""
    if error.errno == errno.ENOENT:
        return (
            f"there is no {device}",
            "switch I2C on (on a Raspberry Pi: raspi-config, Interface Options, I2C) "
            "or set bus.number to the bus that exists",
        )
    if error.errno in (errno.EACCES, errno.EPERM):
        return (f"no permission to use {device}", "add this user to the group i2c, log in again")
    return (f"{device} cannot be used: {error.strerror}", "check that it is an I2C bus")
