"""The contactor: closed only by permission that expires, opened by anyone at any time."""

import logging
import threading
from typing import Any, Protocol

from gpiozero import InputDevice, OutputDevice

from supervisor.devices.protocols import Clock
from supervisor.readings import ContactorState
from supervisor.settings.hardware import Auxiliary
from supervisor.settings.hardware import Contactor as ContactorSettings
from supervisor.settings.model import SupervisorSettings

log = logging.getLogger(__name__)


class Drive(Protocol):
    """How the coil is held."""

    def hold(self) -> bool:
        """Energise, or keep energised; called once for every good cycle.

        Returns whether that fed the driver, which holds for its time from then on.
        """
        ...

    def drop(self) -> None: ...

    def close(self) -> None:
        """Release the pin, dropped."""
        ...


class LevelDrive:
    """High means closed. The pin keeps its level when nobody tells it otherwise."""

    def __init__(self, pin: int, pin_factory: Any) -> None:
        self._pin = OutputDevice(pin, initial_value=False, pin_factory=pin_factory)

    def hold(self) -> bool:
        self._pin.on()
        return True

    def drop(self) -> None:
        self._pin.off()

    def close(self) -> None:
        self._pin.off()
        self._pin.close()


class PulseDrive(LevelDrive):
    """An edge for every good cycle; a driver fed with rising edges lets go of any static level.

    Every second edge falls and feeds nothing: so dropping a pin that stood high, at a trip or
    after the process stood still, cannot pull the contactor in once more.
    """

    def hold(self) -> bool:
        self._pin.toggle()
        return bool(self._pin.value)


def build_drive(settings: ContactorSettings, pin_factory: Any) -> Drive:
    kind = PulseDrive if settings.drive == "pulse" else LevelDrive
    return kind(settings.pin, pin_factory)


class AuxiliaryContact:
    """Tells what the main contact does. Wired to ground, with the pin's pull-up."""

    def __init__(self, settings: Auxiliary, pin_factory: Any) -> None:
        self._pin = InputDevice(settings.pin, pull_up=True, pin_factory=pin_factory)
        self._mirrored = settings.contact == "normally_closed"

    def main_contact_closed(self) -> bool:
        return bool(self._pin.is_active) is not self._mirrored

    def close(self) -> None:
        self._pin.close()


class LeaseExpired(Exception):
    """Renewal came too late: the coil has been dropped and stays so."""


class Contactor:
    """Main contactor and, if fitted, the mains-side output behind it.

    Closed only between ``close_for`` and the end of its lease; ``renew`` extends the lease,
    never revives it. The lease counts from what last fed the driver: one that outlasted a pulse
    driver would let the next edge pull it in again. When a lease ends unrenewed, an alarm of the
    clock drops the coil from outside the loop. All methods may be called from any thread.
    """

    def __init__(self, settings: SupervisorSettings, pin_factory: Any, clock: Clock) -> None:
        self._clock = clock
        self._lock = threading.RLock()
        self._drive = build_drive(settings.contactor, pin_factory)
        mains = settings.mains_contactor
        self._mains = LevelDrive(mains.pin, pin_factory) if mains else None
        self._mains_follows = mains is not None and mains.opens == "every_opening"
        auxiliary = settings.contactor.auxiliary
        self._auxiliary = AuxiliaryContact(auxiliary, pin_factory) if auxiliary else None
        self._lease_ends_s: float | None = None
        self._told_at_s = clock.now_s()
        self.lease_ran_out = False
        self._alarm = clock.alarm(self._on_alarm)

    def close_for(self, lease_s: float) -> None:
        """Close with a new lease. Clears the note of a lease that ran out before."""
        with self._lock:
            self.lease_ran_out = False
            self._told_at_s = self._clock.now_s()
            self._lease_ends_s = self._told_at_s + lease_s
            self._alarm.set(self._lease_ends_s)  # before anything is on
            if self._mains:
                self._mains.hold()
            self._drive.hold()

    def renew(self, lease_s: float) -> None:
        """Extend the lease. Raises LeaseExpired when there is none left to extend, or when the
        process stood still until then."""
        with self._lock:
            if self._lease_ends_s is None or self._clock.now_s() >= self._lease_ends_s:
                self._expire()
                raise LeaseExpired
            self._feed(lease_s)

    def open(self) -> None:
        """Drop the coil. Idempotent; always allowed; never raises."""
        with self._lock:
            dropped = _try_to_drop(self._drive)
            if self._mains and (self._mains_follows or not dropped):
                _try_to_drop(self._mains)
            if self._lease_ends_s is not None:
                self._lease_ends_s = None
                self._told_at_s = self._clock.now_s()
                self._alarm.cancel()

    def drop_mains(self) -> None:
        """Open the mains side as well: the main contactor did not open."""
        with self._lock:
            self.open()
            if self._mains:
                _try_to_drop(self._mains)

    @property
    def lease_left_s(self) -> float:
        with self._lock:
            if self._lease_ends_s is None:
                return 0.0
            return max(0.0, self._lease_ends_s - self._clock.now_s())

    def state(self) -> ContactorState:
        with self._lock:
            return ContactorState(
                told_to_close=self._lease_ends_s is not None,
                told_at_s=self._told_at_s,
                auxiliary_closed=(
                    self._auxiliary.main_contact_closed() if self._auxiliary else None
                ),
            )

    def close(self) -> None:
        """Drop everything and release the pins."""
        self._alarm.close()
        with self._lock:
            self.drop_mains()
            self._drive.close()
            if self._mains:
                self._mains.close()
            if self._auxiliary:
                self._auxiliary.close()

    def _feed(self, lease_s: float) -> None:
        """The lease counts from before the edge: what holds us up between them shortens it.

        Held up past the end of the old one, the edge came too late and may have pulled a pulse
        driver in once more. It is dropped at once. Raises LeaseExpired then.
        """
        now_s, ends_s = self._clock.now_s(), self._lease_ends_s
        if self._drive.hold():
            if ends_s is not None and self._clock.now_s() >= ends_s:
                self._expire()
                raise LeaseExpired
            self._lease_ends_s = now_s + lease_s
            self._alarm.set(self._lease_ends_s)

    def _on_alarm(self) -> None:
        with self._lock:
            ends_s = self._lease_ends_s
            if ends_s is None:
                return
            if self._clock.now_s() >= ends_s:
                self._expire()
                self.drop_mains()  # the loop is not there to see whether the contact opened
            else:
                self._alarm.set(ends_s)

    def _expire(self) -> None:
        self.lease_ran_out = True
        self.open()


def _try_to_drop(drive: Drive) -> bool:
    """A pin that cannot be written must not keep the other output from being dropped."""
    try:
        drive.drop()
    except Exception:  # whatever it is: the rule failed_to_open sees the current
        log.critical("an output could not be switched off", exc_info=True)
        return False
    return True
