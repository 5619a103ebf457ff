"""Word to systemd (sd_notify): ready, alive, stopping. Silent when systemd is not there."""

import os
import socket

SLOWEST_DISK_S = 30.0


class Notifier:
    """Sends to NOTIFY_SOCKET. A message that cannot be delivered is dropped: never block."""

    def __init__(self, address: str | None = None) -> None:
        address = os.environ.get("NOTIFY_SOCKET") if address is None else address
        self._socket: socket.socket | None = None
        if address:
            self._address = "\0" + address[1:] if address.startswith("@") else address
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
        self._watchdog_us = os.environ.get("WATCHDOG_USEC")
        self._is_patient = False

    def ready(self) -> None:
        self._send("READY=1")

    def alive(self) -> None:
        """To be called only after a complete cycle with fresh data."""
        if not self._is_patient:
            self._send("WATCHDOG=1")
        # In one message: the long patience is never fed, whatever is lost on the way.
        elif self._send(f"WATCHDOG=1\nWATCHDOG_USEC={self._watchdog_us}"):
            self._is_patient = False

    def writing(self) -> None:
        """The loop waits for a disk, with the coil off: no hang. ``written`` ends it."""
        if self._watchdog_us:
            self._is_patient = True
            self._send(f"WATCHDOG_USEC={round(SLOWEST_DISK_S * 1e6)}")

    def written(self) -> None:
        """As before, counted from now; ``alive`` says it again until it is delivered."""
        if self._is_patient:
            self.alive()

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
