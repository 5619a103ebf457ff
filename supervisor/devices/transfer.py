"""A transfer on a kernel's I2C bus, its messages made once: six hundred a second are alike."""

import ctypes
import errno
from fcntl import ioctl

from smbus2 import i2c_msg
from smbus2.smbus2 import I2C_RDWR, i2c_rdwr_ioctl_data


class Transfer:
    """From start to stop: so many bytes to an address, then so many from it; None for none of that.

    Not for two threads at once.
    """

    def __init__(self, address: int, written: int | None, wanted: int | None) -> None:
        self._out = None if written is None else i2c_msg.write(address, bytes(written))
        self._in = None if wanted is None else i2c_msg.read(address, wanted)
        messages = [message for message in (self._out, self._in) if message is not None]
        self._request = i2c_rdwr_ioctl_data.create(*messages)  # type: ignore[arg-type]  # its stub

    def run(self, file: int, data: bytes = b"") -> bytes:
        """Returns what was read. Raises OSError with the kernel's errno."""
        if self._out is not None:
            ctypes.memmove(self._out.buf, data, self._out.len)
        if ioctl(file, I2C_RDWR, self._request) != self._request.nmsgs:
            raise OSError(errno.EIO, "not all of a transfer was carried out")
        return ctypes.string_at(self._in.buf, self._in.len) if self._in is not None else b""
