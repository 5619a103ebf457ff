"""Buttons, buzzer and lamp on the box, polled and driven by the loop; no threads."""

from typing import Any

from gpiozero import InputDevice, OutputDevice

from supervisor.settings.hardware import Panel as PanelSettings
from supervisor.snapshot import Sound

Pattern = tuple[float, tuple[tuple[float, float], ...]]  # period, and from when to when it is on

SOUNDS: dict[Sound, Pattern] = {
    Sound.NONE: (1.0, ()),
    Sound.NOTE: (1.0, ((0.0, 0.1),)),
    Sound.SOON: (1.0, ((0.0, 0.1), (0.3, 0.4))),
    Sound.NOW: (0.4, ((0.0, 0.2),)),
    Sound.ALARM: (1.0, ((0.0, 0.5),)),
}
DARK: Pattern = (1.0, ())
LIT: Pattern = (1.0, ((0.0, 1.0),))
WINKING: Pattern = (1.0, ((0.0, 0.7),))
TWO_FLASHES: Pattern = (3.0, ((0.0, 0.2), (0.5, 0.7)))


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

    def show(self, lamp: Pattern, sound: Sound, now_s: float) -> None:
        """Lamp and buzzer, each where its pattern is now."""
        if self._lamp:
            self._lamp.value = _is_on(lamp, now_s)
        if self._buzzer:
            self._buzzer.value = _is_on(SOUNDS[sound], now_s)

    def close(self) -> None:
        for device in (self._stop, self._reset, self._buzzer, self._lamp):
            if device:
                device.close()


def _is_on(pattern: Pattern, now_s: float) -> bool:
    period_s, on = pattern
    at_s = now_s % period_s
    return any(begins_s <= at_s < ends_s for begins_s, ends_s in on)
