"""DS18B20 through the kernel's files: what is believed, and that nobody waits for a read.

The files' form, the probe's scratchpad and its power-on value are from memory of the kernel's
w1_therm driver and of the data sheet.
"""

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.devices import one_wire
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.one_wire import KernelOneWire, celsius_of_file
from supervisor.readings import Quality
from supervisor.simulator.one_wire import w1_slave

SERIAL, OTHER = "28-0316a2795bff", "28-0000055b8ab1"
# The example that every description of the driver shows (memory): 0172h / 16 = 23.125 degrees.
GOOD = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
NOTHING = "00 " * 9 + ": crc=00 YES\n" + "00 " * 9 + "t=0\n"
GUARD_S = 20.0  # only when something is broken does anything here take so long


def test_the_example() -> None:
    assert celsius_of_file(GOOD) == (23.125, Quality.GOOD)


@pytest.mark.parametrize(
    ("thousandths", "celsius"),
    [(125000, 125.0), (85062, 85.062), (84937, 84.937), (0, 0.0), (-62, -0.062), (-55000, -55.0)],
)
def test_temperatures(thousandths: int, celsius: float) -> None:
    text = GOOD.replace("23125", str(thousandths))
    assert celsius_of_file(text) == (celsius, Quality.GOOD)


@pytest.mark.parametrize(
    ("text", "quality"),
    [
        (None, Quality.NO_ANSWER),
        ("", Quality.NO_ANSWER),
        ("\ufffd\ufffd\n", Quality.NO_ANSWER),
        (GOOD.replace("YES", "NO"), Quality.NO_ANSWER),  # the value is an older one's
        (GOOD.replace("YES", "YE"), Quality.NO_ANSWER),
        (GOOD.replace("t=23125", "t="), Quality.NO_ANSWER),
        (GOOD.replace("t=23125", "t=nan"), Quality.NO_ANSWER),
        (GOOD.replace("t=23125", "t=2312500"), Quality.NO_ANSWER),
        (GOOD.splitlines()[0], Quality.NO_ANSWER),
        (GOOD + GOOD, Quality.NO_ANSWER),
        (NOTHING, Quality.NO_ANSWER),  # a wire held low: the checksum of zeros is right
        (NOTHING.replace("t=0", "t=23125"), Quality.NO_ANSWER),
        (GOOD.replace("46 7f", "46 00"), Quality.WRONG_CHIP),
        (GOOD.replace("46 7f", "46 ff"), Quality.WRONG_CHIP),
        (GOOD.replace("46 7f", "46 6f"), Quality.WRONG_CHIP),
        (GOOD.replace("t=23125", "t=85000"), Quality.CHIP_RESET),
        (GOOD.replace("t=23125", "t=-127000"), Quality.OUT_OF_RANGE),
        (GOOD.replace("t=23125", "t=-55001"), Quality.OUT_OF_RANGE),
        (GOOD.replace("t=23125", "t=125001"), Quality.OUT_OF_RANGE),
    ],
)
def test_everything_else_has_a_reason(text: str | None, quality: Quality) -> None:
    assert celsius_of_file(text) == (None, quality)


@pytest.mark.parametrize("configuration", ["1f", "3f", "5f", "7f"])
def test_every_resolution(configuration: str) -> None:
    text = GOOD.replace("46 7f", f"46 {configuration}")
    assert celsius_of_file(text) == (23.125, Quality.GOOD)


@given(st.integers(0, len(GOOD) - 1), st.text("0123456789abcdef :=YESNOtcr-\n\ufffd", max_size=9))
def test_no_garbled_text_raises(at: int, garbage: str) -> None:
    celsius, quality = celsius_of_file(GOOD[:at] + garbage + GOOD[at + len(garbage) :])
    assert (celsius is not None) is quality.is_good
    assert celsius is None or -55 <= celsius <= 125


class CountingClock:
    """Real enough for the thread; tells when it was asked so many times."""

    def __init__(self) -> None:
        self._asked = 0
        self._changed = threading.Condition()

    def now_s(self) -> float:
        with self._changed:
            self._asked += 1
            self._changed.notify_all()
            return float(self._asked)

    def await_rounds(self, rounds: int, probes: int = 1) -> None:
        """Until so many more rounds have ended, and the next one has begun."""
        with self._changed:
            until = self._asked + (rounds + 1) * probes
            assert self._changed.wait_for(lambda: self._asked >= until, GUARD_S)


@pytest.fixture(autouse=True)
def _no_pause(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(one_wire, "PAUSE_S", 0.001)


@pytest.fixture
def clock() -> CountingClock:
    return CountingClock()


@pytest.fixture
def bus(tmp_path: Path, clock: CountingClock) -> Iterator[KernelOneWire]:
    file_of(tmp_path).write_text(GOOD)
    bus = KernelOneWire([SERIAL, OTHER], clock, tmp_path)  # type: ignore[arg-type]
    yield bus
    bus.close()


def file_of(root: Path, serial: str = SERIAL) -> Path:
    file = root / serial / "w1_slave"
    file.parent.mkdir(exist_ok=True)
    return file


def test_without_the_kernels_bus_it_says_how_to_get_one(
    tmp_path: Path, clock: CountingClock
) -> None:
    with pytest.raises(HardwareMissing) as missing:
        KernelOneWire([SERIAL], clock, tmp_path / "w1")  # type: ignore[arg-type]
    assert str(tmp_path / "w1") in missing.value.problem
    assert "dtoverlay=w1-gpio" in missing.value.remedy


def test_the_newest_answer_with_the_time_it_was_asked_for(
    bus: KernelOneWire, clock: CountingClock, tmp_path: Path
) -> None:
    clock.await_rounds(1, probes=2)
    first = bus.newest(SERIAL)
    assert first is not None
    assert celsius_of_file(first.text) == (23.125, Quality.GOOD)
    file_of(tmp_path).write_text(w1_slave(61.5))
    clock.await_rounds(2, probes=2)
    second = bus.newest(SERIAL)
    assert second is not None
    assert celsius_of_file(second.text) == (61.5, Quality.GOOD)
    assert second.asked_at_s > first.asked_at_s


def test_a_probe_that_is_not_there_and_one_that_goes(
    bus: KernelOneWire, clock: CountingClock, tmp_path: Path
) -> None:
    clock.await_rounds(1, probes=2)
    for serial, text in ((SERIAL, GOOD), (OTHER, None)):
        answer = bus.newest(serial)
        assert answer is not None
        assert answer.text == text
    file_of(tmp_path).unlink()
    clock.await_rounds(2, probes=2)
    gone = bus.newest(SERIAL)
    assert gone is not None
    assert gone.text is None


def test_bytes_that_are_no_text_do_not_end_the_thread(
    bus: KernelOneWire, clock: CountingClock, tmp_path: Path
) -> None:
    file_of(tmp_path).write_bytes(bytes(range(128, 256)))
    clock.await_rounds(2, probes=2)
    file_of(tmp_path).write_text(GOOD)
    clock.await_rounds(2, probes=2)
    answer = bus.newest(SERIAL)
    assert answer is not None
    assert answer.text == GOOD


def test_a_read_that_hangs_only_ages(tmp_path: Path, clock: CountingClock) -> None:
    """A pipe that nobody writes to: opening it blocks, as a read that hangs in the kernel."""
    file_of(tmp_path).write_text(GOOD)
    others = set(threading.enumerate())
    bus = KernelOneWire([SERIAL], clock, tmp_path)  # type: ignore[arg-type]
    (thread,) = set(threading.enumerate()) - others
    clock.await_rounds(1)
    file_of(tmp_path).unlink()
    os.mkfifo(file_of(tmp_path))
    writer = os.open(file_of(tmp_path), os.O_WRONLY)  # returns once the thread is in there
    answer = bus.newest(SERIAL)
    assert bus.newest(SERIAL) is answer
    assert answer is not None
    assert answer.text in (GOOD, None)  # None: it looked while there was no file
    bus.close()
    assert thread.is_alive()  # nobody waited for it
    os.close(writer)
    thread.join(GUARD_S)
    assert not thread.is_alive()


def test_the_process_ends_though_a_read_hangs(tmp_path: Path) -> None:
    file_of(tmp_path)
    os.mkfifo(file_of(tmp_path))
    program = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "from supervisor.devices.clock import MonotonicClock\n"
        "from supervisor.devices.one_wire import KernelOneWire\n"
        f"root = Path({str(tmp_path)!r})\n"
        f"bus = KernelOneWire([{SERIAL!r}], MonotonicClock(), root)\n"
        f"os.open(root / {SERIAL!r} / 'w1_slave', os.O_WRONLY)  # now the thread is in there\n"
        "bus.close()\n"
    )
    ended = subprocess.run([sys.executable, "-c", program], timeout=60, check=False)
    assert ended.returncode == 0
