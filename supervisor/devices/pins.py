"""The pin factory of the real machine, named and found, never a silent second choice."""

import os
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from supervisor.devices.errors import HardwareMissing

# Labels of the header's GPIO controller: Raspberry Pi 0-3, 4, 5.
RASPBERRY_PI_LABELS = ("pinctrl-bcm2835", "pinctrl-bcm2711", "pinctrl-rp1")
DEVICES = Path("/dev")
MAX_CHIPS = 32
PIPE = ".lgd-nfy0"  # of lgpio's first handle for notifications, which it opens when imported


def open_pin_factory(chip_label: str | None, work_dir: Path) -> Any:
    """gpiozero's lgpio factory on the chip of that label, or on the Raspberry Pi's own.

    lgpio works in ``work_dir``, which must be writable. Raises HardwareMissing.
    """
    load_lgpio(work_dir)
    from gpiozero.exc import PinUnknownPi
    from gpiozero.pins.lgpio import LGPIOFactory

    number = chip_number(labels_of_chip(chip_label))
    try:
        factory = LGPIOFactory(chip=number)
        _board = factory.board_info  # every pin asks for it, and it may not be known
        factory.pin = claims_in_words(factory.pin)
        return factory
    except PinUnknownPi as error:
        raise HardwareMissing(
            f"gpiozero does not know this board ({error})",
            "run it on a Raspberry Pi, where /proc/cpuinfo or /proc/device-tree tells the revision",
        ) from error
    except Exception as error:  # gpiozero and lgpio raise many kinds; each means the same to us
        raise HardwareMissing(
            f"GPIO chip {number} cannot be used ({error})",
            "check the group of /dev/gpiochip* (usually gpio) and add this user to it",
        ) from error


def load_lgpio(work_dir: Path) -> Any:
    """The library, which makes ``work_dir`` its working folder, and a pipe to itself there.

    Raises HardwareMissing.
    """
    if not os.access(work_dir, os.W_OK | os.X_OK):
        raise HardwareMissing(
            f"the GPIO library needs to write in {work_dir} and may not",
            "create the folder, make it writable for this user, or choose another by --run-dir",
        )
    os.environ["LG_WD"] = str(work_dir)  # read by lgpio when it is imported
    try:
        import lgpio
    except (ImportError, OSError) as error:
        raise HardwareMissing(
            f"the GPIO library lgpio cannot be loaded ({error})",
            "install it: Raspberry Pi OS's python3-lgpio, in a venv with --system-site-packages; "
            "or apt install gcc libc6-dev python3-dev swig, then PYPI=1 pip install lgpio",
        ) from error
    with suppress(OSError):  # both of its ends are open by now; the name would stay for ever
        (work_dir / PIPE).unlink()
    return lgpio


def claims_in_words(claim: Callable[[object], Any]) -> Callable[[object], Any]:
    """Takes a pin as ``claim`` does; raises HardwareMissing when the kernel does not give it."""
    import lgpio

    def pin(name: object) -> Any:
        try:
            return claim(name)
        except lgpio.error as error:
            said = str(error).strip("'")
            raise HardwareMissing(
                f"GPIO {name} cannot be had ({said})",
                "stop what else uses it: another holdwatch, another program, or an overlay in "
                "config.txt (`gpioinfo` shows it); or write another pin",
            ) from error

    return pin


def labels_of_chip(chip_label: str | None) -> Sequence[str]:
    """One of these it must be: that of the settings, or else the Raspberry Pi's own."""
    return (chip_label,) if chip_label else RASPBERRY_PI_LABELS


def chip_number(labels: Sequence[str]) -> int:
    """N of the first ``/dev/gpiochipN`` with one of these labels. Raises HardwareMissing."""
    import lgpio

    seen = []
    for number in range(MAX_CHIPS):
        if not (DEVICES / f"gpiochip{number}").exists():
            continue
        try:
            handle = lgpio.gpiochip_open(number)
        except lgpio.error as error:
            seen.append(f"gpiochip{number} ({error})")
            continue
        try:
            label = lgpio.gpio_get_chip_info(handle)[3]
        finally:
            lgpio.gpiochip_close(handle)
        if label in labels:
            return number
        seen.append(f"gpiochip{number} ({label})")
    raise HardwareMissing(
        f"no GPIO chip labelled {' or '.join(labels)}; found: {', '.join(seen) or 'none'}",
        "set gpio.chip_label to one of those found, or run this on a Raspberry Pi",
    )
