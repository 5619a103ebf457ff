"""Buttons, buzzer and lamp on the box, polled and driven by the loop; no threads."""

from typing import Any

from gpiozero import InputDevice, OutputDevice

from supervisor.settings.hardware import Panel as PanelSettings

BUZZ_PERIOD_S = 1.0
BUZZ_ON_S = 0.5


class Panel:
    """Whatever of the panel is fitted; what is not fitted reads as never pressed."""

    def __init__(self, settings: PanelSettings, pin_factory: Any) -> None:
        self._stop = settings.stop_button and InputDevice(
            settings.stop_button.pin, pull_up=True, pin_factory=pin_factory
        )
        self._reset = settings.reset_button and InputDevice(
            settings.reset_button.pin, pull_up=True, pin_factory=pin_factory
        )
        self._reset_hold_s = settings.reset_button.hold_seconds if settings.reset_button else 0.0
        # Not before it has been seen released: one that is stuck resets nothing.
        self._reset_is_ready = False
        self._reset_down_since_s: float | None = None
        self._buzzer = settings.buzzer and OutputDevice(
            settings.buzzer.pin, initial_value=False, pin_factory=pin_factory
        )
        self._lamp = settings.lamp and OutputDevice(
            settings.lamp.pin, initial_value=False, pin_factory=pin_factory
        )

    def stop_pressed(self) -> bool:
        """Normally closed to ground: pressed, or its wire broken, leaves the pin pulled up."""
        return bool(self._stop and not self._stop.is_active)

    def reset_held(self, now_s: float) -> bool:
        """True once, when the reset button has been released, then held long enough."""
        if not (self._reset and self._reset.is_active):
            self._reset_is_ready, self._reset_down_since_s = True, None
            return False
        if not self._reset_is_ready:
            return False
        if self._reset_down_since_s is None:
            self._reset_down_since_s = now_s
        held_long = now_s - self._reset_down_since_s >= self._reset_hold_s
        self._reset_is_ready = not held_long
        return held_long

    def show(self, *, closed: bool, alarm: bool, now_s: float) -> None:
        """Lamp lit while closed; buzzer half on, half off during an alarm."""
        if self._lamp:
            self._lamp.value = closed
        if self._buzzer:
            self._buzzer.value = alarm and now_s % BUZZ_PERIOD_S < BUZZ_ON_S

    def close(self) -> None:
        for device in (self._stop, self._reset, self._buzzer, self._lamp):
            if device:
                device.close()
