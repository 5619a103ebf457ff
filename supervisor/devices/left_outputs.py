"""The outputs of a run, kept on file; and off with what a run that was killed left on.

A Raspberry Pi keeps the level of a line whose process has died (hardware/coil-fate.md). Which lines
those are, this file says, and not the settings: they may have been edited since. Only a file that
is not sound leaves nothing better than them. Every output is active-high, so off is low. A restart
of the machine lets go of all of them.
"""

import json
import os
import re
import stat
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from supervisor.devices.errors import HardwareMissing
from supervisor.devices.pins import chip_number, labels_of_chip, load_lgpio

if TYPE_CHECKING:
    from supervisor.settings.model import SupervisorSettings

FILE_NAME = "outputs.json"
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
BOOT_ID_FORM = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")  # random(4)
COIL = "coil"  # every run has one
OFF = 0
MOST_BYTES = 4096  # what is written has 300
HIGHEST_GPIO = 511  # no controller of a Raspberry Pi comes near
BY_HAND = "open the circuit by hand at the mains switch"


@dataclass(frozen=True, slots=True)
class Output:
    """``name`` for people; ``gpio``: its number on the chip."""

    name: str
    gpio: int

    def __str__(self) -> str:
        return f"{self.name} (GPIO {self.gpio})"


def outputs_of(settings: "SupervisorSettings") -> tuple[Output, ...]:
    """All that the contactor and the panel drive; what is most dangerous first."""
    fitted = {
        COIL: settings.contactor,
        "mains side": settings.mains_contactor,
        "buzzer": settings.panel.buzzer,
        "lamp": settings.panel.lamp,
    }
    return tuple(Output(name, part.pin) for name, part in fitted.items() if part)


@dataclass(frozen=True, slots=True)
class _Left:
    """``chip``: labels, one of which it has."""

    is_of_this_start: bool
    chip: tuple[str, ...]
    outputs: tuple[Output, ...]


class LeftOutputs:
    """``outputs.json`` in the run folder: there from the claim of the pins to a clean end."""

    def __init__(self, run_dir: Path) -> None:
        self._run_dir = run_dir.absolute()  # lgpio changes the working folder
        self.path = self._run_dir / FILE_NAME

    def write(self, settings: "SupervisorSettings") -> None:
        """In one step, before anything can be on. Raises OSError: then nothing may be."""
        content = {
            "boot": _boot(),
            "chip": labels_of_chip(settings.gpio.chip_label),
            "outputs": [asdict(output) for output in outputs_of(settings)],
        }
        new = self.path.with_suffix(".new")
        new.write_text(json.dumps(content), "utf-8")
        new.replace(self.path)

    def remove(self) -> None:
        """After a clean end: nothing was left on."""
        self.path.unlink(missing_ok=True)

    def switch_off(self) -> tuple[Output, ...]:
        """Drive each one low that a run has left, the first first, and forget them.

        Returns which; none when nothing was left. Raises HardwareMissing when one may still be on;
        all others are off then, and the file stays.
        """
        left = self._read()
        if left is None or not left.is_of_this_start:
            return ()
        self._drive_low(left.chip, left.outputs)
        self.remove()
        return left.outputs

    def why_not_sound(self) -> str:
        """Why nobody can go by it, in words; empty when it says what a run of this start of the
        machine has left, or is not there, as nothing was left."""
        try:
            left = self._read()
        except HardwareMissing as missing:
            return missing.problem
        if left is None or left.is_of_this_start:
            return ""
        return f"{self.path} is of another start of the machine"

    def switch_off_all_of(self, settings: "SupervisorSettings") -> tuple[Output, ...]:
        """What they name, where the file is not sound. It stays: somebody has to look whether they
        are the outputs that were left on. Raises HardwareMissing when one may still be on."""
        outputs = outputs_of(settings)
        self._drive_low(labels_of_chip(settings.gpio.chip_label), outputs)
        return outputs

    def _drive_low(self, chip: Sequence[str], outputs: tuple[Output, ...]) -> None:
        try:
            problems = _switch_off(load_lgpio(self._run_dir), chip, outputs)
        except HardwareMissing as missing:
            problems = [", ".join(map(str, outputs)), missing.problem]
        if problems:
            raise HardwareMissing(
                f"may still be on: {'; '.join(problems)}",
                f"{BY_HAND}; then see to that, and `sudo holdwatch drop` again",
            )

    def _read(self) -> _Left | None:
        """None when it is not there. Raises HardwareMissing when no run can have written it so."""
        try:
            content = _bytes_of(self.path)
        except (FileNotFoundError, NotADirectoryError):
            return None
        except (OSError, ValueError) as error:
            raise self._not_readable(error) from None
        try:
            return _left(json.loads(content))
        except (OSError, ValueError, TypeError, KeyError, RecursionError) as error:
            raise self._not_readable(error) from None

    def _not_readable(self, error: Exception) -> HardwareMissing:
        return HardwareMissing(
            f"{self.path} cannot be read ({error}), so nobody knows which outputs were left on",
            "sudo holdwatch drop, which goes by the settings then; "
            f"{BY_HAND}, look at the contactor, then remove that file",
        )


def _bytes_of(path: Path) -> bytes:
    # O_NONBLOCK: opening a pipe returns at once. O_NOFOLLOW: no run makes a link.
    file = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW | os.O_CLOEXEC)
    try:
        if not stat.S_ISREG(os.fstat(file).st_mode):
            raise ValueError("not a regular file")
        content = os.read(file, MOST_BYTES + 1)
    finally:
        os.close(file)
    if len(content) > MOST_BYTES:
        raise ValueError(f"larger than {MOST_BYTES} bytes")
    return content


def _switch_off(lgpio: Any, labels: Sequence[str], outputs: tuple[Output, ...]) -> list[str]:
    """One that fails must not keep another on. Returns what went wrong."""
    try:
        chip = lgpio.gpiochip_open(chip_number(labels))
    except HardwareMissing as missing:
        return [", ".join(map(str, outputs)), missing.problem]
    except lgpio.error as error:
        return [", ".join(map(str, outputs)), str(error.value)]
    problems = []
    for output in outputs:
        try:
            lgpio.gpio_claim_output(chip, output.gpio, OFF)
            if lgpio.gpio_read(chip, output.gpio) != OFF:
                problems.append(f"{output}, told to be off, reads on")
        except lgpio.error as error:
            problems.append(f"{output}, {error.value}")
    lgpio.gpiochip_close(chip)
    return problems


def _left(content: Any) -> _Left:
    return _Left(
        _is_of_this_start(content["boot"]), _chip(content["chip"]), _outputs(content["outputs"])
    )


def _is_of_this_start(boot: Any) -> bool:
    if _text(boot) == _boot():
        return True
    if not BOOT_ID_FORM.fullmatch(boot):
        raise ValueError(f"no start of a machine: {boot[:40]!r}")
    return False


def _chip(labels: Any) -> tuple[str, ...]:
    if not isinstance(labels, list) or not labels:
        raise TypeError(f"no labels of a chip: {labels!r}")
    return tuple(map(_text, labels))


def _outputs(content: Any) -> tuple[Output, ...]:
    outputs = tuple(map(_output, content))
    if COIL not in {output.name for output in outputs}:
        raise ValueError("no coil among its outputs")
    if len({output.gpio for output in outputs}) < len(outputs):
        raise ValueError("two outputs on one line")
    return outputs


def _output(content: Any) -> Output:
    gpio = content["gpio"]
    if type(gpio) is not int or not 0 <= gpio <= HIGHEST_GPIO:
        raise ValueError(f"no GPIO number: {gpio!r}")
    return Output(_text(content["name"]), gpio)


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(f"no text: {value!r}")
    return value


def _boot() -> str:
    """Tells this start of the machine from every other."""
    return BOOT_ID.read_text("ascii").strip()
