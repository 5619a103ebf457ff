"""What people press, hear and see; and the relay on the mains side."""

from collections.abc import Callable
from typing import Any

from gpiozero import OutputDevice

from supervisor.commissioning.deeds import CoilOnly, DidIt, Press
from supervisor.commissioning.steps.contactor import COIL_CAUTIONS
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.control.build_record import Finding
from supervisor.devices.panel import Panel
from supervisor.settings.model import SupervisorSettings

ON_S = 1.0


class StopButtonStep:
    key = "stop_button"
    cautions = ()
    measures = "The button let go, pressed, let go. Good: it reads as what it is each time."

    def run(self, bench: Bench) -> Outcome:
        panel = Panel(bench.settings.panel, bench.leaves.pin_factory)
        try:
            before = panel.stop_pressed()
            bench.person.does(Press("stop_button", pressed=True))
            pressed = panel.stop_pressed()
            bench.person.does(Press("stop_button", pressed=False))
            after = panel.stop_pressed()
        finally:
            panel.close()
        passed = (before, pressed, after) == (False, True, False)
        broken = before and pressed and after
        return Outcome(
            (
                Finding(
                    "the stop button reads as what it is",
                    passed,
                    words=", ".join(
                        f"{when} {'pressed' if is_pressed else 'let go'}"
                        for when, is_pressed in (
                            ("before:", before), ("pressed:", pressed), ("after:", after)
                        )
                    ),
                    defect="" if passed
                    else "its wire is broken, or the button is normally open" if broken
                    else "the stop button is not seen",
                    remedy="It has to be a normally closed one, from its pin to ground.",
                ),
            )
        )  # fmt: skip


class OutputStep:
    """Outputs switched one by one, and somebody who looks and listens."""

    def __init__(
        self,
        key: str,
        asked: Callable[[SupervisorSettings], dict[str, tuple[int, str, str]]],
        cautions: tuple[str, ...] = (),
    ) -> None:
        self.key = key
        self.cautions = cautions
        self.measures = "Each is switched on, then off. Good: it is seen or heard to follow."
        self._asked = asked

    def run(self, bench: Bench) -> Outcome:
        if self.key == "second_output":
            bench.person.does(CoilOnly())
        parts = self._asked(bench.settings).items()
        return Outcome(tuple(_follows(bench, name, *of_it) for name, of_it in parts))


def _follows(bench: Bench, name: Any, pin: int, on: str, off: str) -> Finding:
    output = OutputDevice(pin, initial_value=False, pin_factory=bench.leaves.pin_factory)
    clock = bench.leaves.clock
    try:
        output.on()
        clock.sleep_until(clock.now_s() + ON_S)
        is_on = bench.person.saw(DidIt(name, on))
        output.off()
        clock.sleep_until(clock.now_s() + ON_S)
        is_off = bench.person.saw(DidIt(name, off))
    finally:
        output.off()
        output.close()
    words = name.replace("_", " ")
    passed = is_on and is_off
    return Finding(
        f"the {words} follows its pin",
        passed,
        words=f"told on: {'on' if is_on else 'off'}; told off: {'off' if is_off else 'still on'}",
        defect="" if passed else f"the {words} does not follow its pin",
        remedy="Check its driver, its feed and the pin in the settings; a driver that acts on a "
        "low level is on while the Pi starts.",
    )


def _panel(settings: SupervisorSettings) -> dict[str, tuple[int, str, str]]:
    panel, parts = settings.panel, {}
    if panel.buzzer:
        parts["buzzer"] = panel.buzzer.pin, "Does the buzzer sound?", "Is it quiet again?"
    if panel.lamp:
        parts["lamp"] = panel.lamp.pin, "Is the lamp lit?", "Is it dark again?"
    return parts


def _mains(settings: SupervisorSettings) -> dict[str, tuple[int, str, str]]:
    mains = settings.mains_contactor
    if mains is None:
        return {}
    on = "Has the relay on the mains side pulled in?"
    return {"mains_contactor": (mains.pin, on, "Has it let go again?")}


def panel_step() -> OutputStep:
    return OutputStep("panel", _panel)


def second_output_step() -> OutputStep:
    return OutputStep("second_output", _mains, COIL_CAUTIONS)
