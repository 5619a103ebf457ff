"""What only the kernel can be asked: the leaves that a test replaces. Nothing here moves a pin."""

import ctypes
import os
import struct
import tempfile
from dataclasses import dataclass
from fcntl import ioctl
from pathlib import Path

from supervisor.devices.i2c import KernelI2C
from supervisor.devices.protocols import I2CBus

# include/uapi/linux/gpio.h. Not through lgpio, which writes a file where it is loaded.
GET_CHIP_INFO, CHIP_INFO_BYTES = 0x8044B401, 68  # name, label: 32 bytes each; number of lines
GET_LINE_INFO, LINE_INFO_BYTES = 0xC100B405, 256  # name, user: 32 each; line, attributes; flags
LINE_AT, FLAGS_AT = 64, 72
FLAG_USED = 1 << 0

NOT_SYNCHRONISED = 0x40  # STA_UNSYNC of adjtimex(2)
PROBE_BYTES = 4096


class Timex(ctypes.Structure):
    """The beginning of adjtimex(2)'s ``struct timex``; with ``modes`` 0 it only reads."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("frequency", ctypes.c_long),
        ("most_error", ctypes.c_long),
        ("likely_error", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_byte * 256),
    )


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a GPIO chip; ``user`` is what its owner calls itself."""

    is_used: bool
    user: str


@dataclass(frozen=True, slots=True)
class Room:
    """Of a file system, for users other than root."""

    free_bytes: int
    free_files: int | None  # None where that is not limited


class Kernel:
    """Each call raises OSError when the kernel does not answer it."""

    def open_bus(self, number: int, deadline_s: float) -> I2CBus:
        """Raises HardwareMissing."""
        return KernelI2C(number, deadline_s)

    def chip_label(self, device: Path) -> str:
        return _word(_asked(device, GET_CHIP_INFO, bytes(CHIP_INFO_BYTES))[32:64])

    def line(self, device: Path, number: int) -> Line:
        question = bytearray(LINE_INFO_BYTES)
        struct.pack_into("=I", question, LINE_AT, number)
        answer = _asked(device, GET_LINE_INFO, bytes(question))
        (flags,) = struct.unpack_from("=Q", answer, FLAGS_AT)
        return Line(bool(flags & FLAG_USED), _word(answer[32:64]))

    def is_synchronised(self) -> bool:
        """Whether somebody keeps the wall clock right."""
        timex = Timex()
        if ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.byref(timex)) < 0:
            raise OSError(ctypes.get_errno(), "adjtimex")
        return not timex.status & NOT_SYNCHRONISED

    def room(self, path: Path) -> Room:
        told = os.statvfs(path)
        return Room(told.f_bavail * told.f_frsize, told.f_favail if told.f_files else None)

    def try_writing(self, folder: Path) -> None:
        """A small file without a name, which reaches the medium and is gone again."""
        with tempfile.TemporaryFile(dir=folder, buffering=0) as probe:
            probe.write(bytes(PROBE_BYTES))
            os.fsync(probe.fileno())

    def caller(self) -> tuple[int, frozenset[int]]:
        """User and groups that this process has, whatever /etc says of them by now."""
        return os.geteuid(), frozenset({os.getegid(), *os.getgroups()})


def _asked(device: Path, request: int, question: bytes) -> bytes:
    file = os.open(device, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        return ioctl(file, request, question)
    finally:
        os.close(file)


def _word(content: bytes) -> str:
    return content.split(b"\0")[0].decode("utf-8", "replace")
