"""In the guest: the person who commissions the build of ``machine``, and the steps on its coil."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from machine import Machine, settings_text

from supervisor.cli.real_build import RealBuild
from supervisor.commissioning.deeds import Deed, DidIt, MeterReads, Source
from supervisor.commissioning.person import MeterKind
from supervisor.commissioning.walk import Walk
from supervisor.control.build_record import BuildRecord
from supervisor.control.build_steps import BY_KEY
from supervisor.measurement.meter import Meter
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.fitness import load_fit

KEYS = ("parts", "drive", "auxiliary", "release", "kill")  # what concerns the coil


class Hands:
    """Does what is asked for by what the machine shows; looks at its contact."""

    name = "the bench"

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        machine.flows_a = 0.0  # the coil alone is fed
        self.told: list[str] = []

    def tells(self, text: str) -> None:
        self.told.append(text)

    def is_shown(self, text: str) -> None:
        pass

    def does(self, deed: Deed) -> None:
        if isinstance(deed, Source) and deed.millivolts is None:
            self._machine.cell_v = deed.value

    def saw(self, question: DidIt) -> bool:  # noqa: ARG002  # there is one contact here
        return self._machine.is_closed

    def reads(self, question: MeterReads) -> float:
        raise AssertionError(f"no meter here: {question.text}")

    def meter(self, kind: MeterKind) -> Meter:
        raise AssertionError(f"no meter here for {kind}")


def walked(machine: Machine, folder: Path, keys: Sequence[str] = KEYS) -> dict[str, Any]:
    """What each of these steps found on this machine's pins and bus."""
    config = folder / "hut.yaml"
    config.write_text(settings_text(machine.drive, {}), "utf-8")
    settings = load_fit(config)
    hands = Hands(machine)
    build = RealBuild(config, settings, folder, hands.tells)

    def adopt(changes: object) -> SupervisorSettings:
        raise AssertionError(f"none of these steps changes settings: {changes}")

    walk = Walk(settings, build, hands, BuildRecord(folder), adopt)
    try:
        walk.go([BY_KEY[key] for key in keys])
        steps = {
            done.step: {
                "passed": done.passed,
                "findings": [(f.what, f.measured, f.words, f.defect) for f in done.findings],
            }
            for done in walk.done
        }
    finally:
        build.close()
    closed_after = machine.wait(closed=False, for_s=1.0) is None
    return {"steps": steps, "told": hands.told, "closed_after": closed_after}
