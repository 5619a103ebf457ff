"""Word to systemd (sd_notify): ready, alive, stopping. Silent when systemd is not there."""

import os
import socket


class Notifier:
    """Sends to NOTIFY_SOCKET. A message that cannot be delivered is dropped: never block."""

    def __init__(self, address: str | None = None) -> None:
        address = os.environ.get("NOTIFY_SOCKET") if address is None else address
        self._socket: socket.socket | None = None
        if address:
            self._address = "\0" + address[1:] if address.startswith("@") else address
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)

    def ready(self) -> None:
        self._send("READY=1")

    def alive(self) -> None:
        """To be called only after a complete cycle with fresh data."""
        self._send("WATCHDOG=1")

    def stopping(self) -> None:
        self._send("STOPPING=1")

    def _send(self, text: str) -> None:
        if self._socket is None:
            return
        try:
            self._socket.sendto(text.encode(), self._address)
        except OSError:
            # systemd gone or its queue full: its own watchdog draws the conclusion.
            return

    def close(self) -> None:
        if self._socket:
            self._socket.close()
