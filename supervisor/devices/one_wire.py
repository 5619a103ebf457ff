"""DS18B20 temperature probes through the kernel's files, read where nobody waits for them.

A read takes about 750 ms, the time of a conversion, and can hang in the kernel; so a thread of its
own reads one probe after the other, and whoever looks gets the newest answer with its time. A read
that hangs makes the answers age, and no more.

Form of the files, and the probe's scratchpad, after kernel and data sheet (memory).
"""

import re
import threading
from collections.abc import Iterable
from pathlib import Path

from supervisor.devices.errors import HardwareMissing
from supervisor.devices.protocols import Clock, OneWireAnswer
from supervisor.readings import Quality

ROOT = Path("/sys/bus/w1/devices")
PAUSE_S = 0.2  # between two rounds: with a single probe, about one answer a second

# Nine bytes and the kernel's verdict on their checksum; the bytes again, and thousandths of a
# degree. With NO as the verdict these are those of the last answer that was right.
FORM = re.compile(
    r"(?P<bytes>([0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (?P<verdict>YES|NO)\n"
    r"([0-9a-f]{2} ){9}t=(?P<thousandths>-?[0-9]{1,6})\n?"
)
CONFIGURATION = 4  # the byte; its bits 0rr11111 say the resolution
FIXED_BITS, FIXED_VALUE = 0x9F, 0x1F

POWER_ON = 85_000  # what it shows until it has measured for the first time
LOWEST, HIGHEST = -55_000, 125_000


class KernelOneWire:
    """The probes of these serial numbers, read round and round.

    Construction raises HardwareMissing when the kernel has no one-wire bus. A probe that is not
    there has answers without text.
    """

    def __init__(self, serials: Iterable[str], clock: Clock, root: Path = ROOT) -> None:
        if not root.is_dir():
            raise HardwareMissing(
                f"there is no {root}",
                "switch the one-wire bus on (dtoverlay=w1-gpio in config.txt, then start again), "
                "or take the ds18b20 probes out of the settings",
            )
        self._clock = clock
        self._files = {serial: root / serial / "w1_slave" for serial in serials}
        self._newest: dict[str, OneWireAnswer] = {}
        self._closed = threading.Event()
        threading.Thread(target=self._run, name="one-wire", daemon=True).start()

    def newest(self, serial: str) -> OneWireAnswer | None:
        return self._newest.get(serial)

    def close(self) -> None:
        """Nobody waits for the thread: it may hang in the kernel."""
        self._closed.set()

    def _run(self) -> None:
        while not self._closed.is_set():
            for serial, file in self._files.items():
                asked_at_s = self._clock.now_s()
                self._newest[serial] = OneWireAnswer(_text(file), asked_at_s)
            self._closed.wait(PAUSE_S)


def _text(file: Path) -> str | None:
    try:
        return file.read_bytes().decode("ascii", errors="replace")
    except OSError:
        return None


def celsius_of_file(text: str | None) -> tuple[float | None, Quality]:
    """The temperature in degrees Celsius such a file tells, or the reason why there is none."""
    answer = FORM.fullmatch(text or "")
    if answer is None or answer["verdict"] != "YES":
        return None, Quality.NO_ANSWER
    scratchpad = bytes.fromhex(answer["bytes"])
    if not any(scratchpad):  # a wire held low; the checksum of nothing but zeros is zero
        return None, Quality.NO_ANSWER
    if scratchpad[CONFIGURATION] & FIXED_BITS != FIXED_VALUE:
        return None, Quality.WRONG_CHIP
    thousandths = int(answer["thousandths"])
    if thousandths == POWER_ON:
        return None, Quality.CHIP_RESET
    if not LOWEST <= thousandths <= HIGHEST:
        return None, Quality.OUT_OF_RANGE
    return thousandths / 1000, Quality.GOOD
