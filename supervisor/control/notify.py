"""Word to systemd (sd_notify): ready, alive, stopping. Silent when systemd is not there."""

import os
import socket
import time
from collections.abc import Callable

SLOWEST_DISK_S = 30.0


class Notifier:
    """Sends to NOTIFY_SOCKET. A message that cannot be delivered is dropped: never block."""

    def __init__(
        self, address: str | None = None, now_s: Callable[[], float] = time.monotonic
    ) -> None:
        address = os.environ.get("NOTIFY_SOCKET") if address is None else address
        self._socket: socket.socket | None = None
        if address:
            self._address = "\0" + address[1:] if address.startswith("@") else address
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
        told = os.environ.get("WATCHDOG_USEC", "")
        self._watchdog_us = int(told) if told.isdecimal() else 0
        self._now_s = now_s
        self._fed_at_s = self._write_began_at_s = now_s()
        self._disk_took_s = 0.0  # since it was fed
        self._is_patient = False

    def ready(self) -> None:
        self._fed_at_s = self._now_s()  # it begins to wait
        self._send("READY=1")

    def alive(self) -> None:
        """To be called only after a complete cycle with fresh data."""
        # In one message: the long patience is never fed, whatever is lost on the way.
        strict = f"\nWATCHDOG_USEC={self._watchdog_us}" if self._is_patient else ""
        if self._send(f"WATCHDOG=1{strict}"):
            self._is_patient, self._disk_took_s = False, 0.0
            self._fed_at_s = self._now_s()

    def writing(self) -> None:
        """The loop waits for a disk, with the coil off: no hang. ``written`` ends it."""
        if self._watchdog_us:
            self._is_patient, self._write_began_at_s = True, self._now_s()
            self._bear(self._disk_took_s + SLOWEST_DISK_S)

    def written(self) -> None:
        """The disk's time is not the loop's; but no write feeds, or writes alone would for ever.
        ``alive`` ends it."""
        if self._is_patient:
            self._disk_took_s += self._now_s() - self._write_began_at_s
            self._bear(self._disk_took_s)

    def _bear(self, longer_s: float) -> None:
        """Than the unit says, from when it was fed. systemd counts a new patience from when it is
        told (service.c of 252), so what has gone by is taken off; 0 would end all watching."""
        gone_s = self._now_s() - self._fed_at_s
        self._send(f"WATCHDOG_USEC={max(1, self._watchdog_us + round((longer_s - gone_s) * 1e6))}")

    def stopping(self) -> None:
        self._send("STOPPING=1")

    def _send(self, text: str) -> bool:
        """Whether it was delivered."""
        if self._socket is None:
            return False
        try:
            self._socket.sendto(text.encode(), self._address)
        except OSError:
            # systemd gone or its queue full: its own watchdog draws the conclusion.
            return False
        return True

    def close(self) -> None:
        if self._socket:
            self._socket.close()
