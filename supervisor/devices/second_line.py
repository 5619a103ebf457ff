"""The second line: a comparator that holds the coil off without software, proved again and again.

Software only sets its limit and proves that it would act. While the contactor is told to be open
the limit is moved through the voltage the front cell has anyway, and the ALERT line must follow:
that proves chip, comparator, wire and pin, and that its leads see what the front channel sees. In
between, open or closed, a limit or the reading is looked at in every window: a limit that is lost,
or a lead that came off, is found out.
"""

import logging
from collections.abc import Callable, Generator
from itertools import cycle
from typing import Any

from gpiozero import InputDevice

from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.comparator import Comparator, NotAsWritten, Register, Thresholds
from supervisor.devices.protocols import Clock, I2CBus
from supervisor.readings import ContactorState, SecondLine
from supervisor.settings.hardware import Converter
from supervisor.settings.hardware import SecondLine as SecondLineSettings

log = logging.getLogger(__name__)

SETTLE_S = 1.0  # from a start or an opening to the self-check: the input filters, the current
CHECK_EVERY_S = 600.0
CHECK_AGAIN_S = 5.0  # after one that failed
MARGIN_V = 0.020  # so close below and above the front cell the limit is moved
HYSTERESIS_V = 0.010  # while it is
APART_V = 0.050  # between single conversions that are a scan apart, while current flows
TRIES = 3  # of a transfer or of a look, a cycle apart: one wrong word is no verdict
CONVERSIONS = 4  # until ALERT follows: the one that runs, two that count, one to spare
SLOWEST = 1.15  # the chip's own clock is +-10 %; 5 % more for ours
TELL_EVERY_S = 10.0

# A part of the self-check, one step a cycle; returns what is wrong, "" when nothing is.
Steps = Generator[None, None, str]


class SecondLineWatch:
    """Takes one short step a cycle: two transfers at most, no waiting."""

    def __init__(
        self,
        settings: SecondLineSettings,
        converter: Converter,
        window_s: float,
        keeper: BusKeeper,
        pin_factory: Any,
        clock: Clock,
    ) -> None:
        self._settings = settings
        self._keeper = keeper
        self._clock = clock
        self._window_s = window_s
        self._follows_in_s = CONVERSIONS * SLOWEST / converter.samples_per_second
        self._comparator = Comparator(settings, converter)
        self._limits = self._comparator.thresholds(settings.release_volts, settings.trip_volts)
        self._moved_to = self._limits
        self._pin = InputDevice(settings.pin, pull_up=True, pin_factory=pin_factory)
        self._alert = False
        self._front_v: float | None = None
        self._check: Steps | None = None
        self._check_at_s = clock.now_s()
        self._problem = "the second line is not verified yet"
        self._verified_at_s: float | None = None
        self._registers = cycle((Register.LOW, Register.HIGH, Register.CONVERSION))
        self._register = next(self._registers)
        self._look_at_s = clock.now_s()
        self._failed_looks = 0
        self._hung = False
        self._tell_again_at_s = clock.now_s()

    def attend(self, front_v: float | None, contactor: ContactorState) -> SecondLine:
        """One step, and the state after it. ``front_v``: the front channel's newest. Never raises.

        A self-check begins only while the contactor is told to be open, and not while an alert of a
        verified line stands: moving the limit would take it away.
        """
        self._front_v = front_v
        try:
            self._alert = bool(self._pin.is_active)
        except Exception as error:  # gpiozero and lgpio raise many kinds; each means the same to us
            self._give_up(f"the pin of its ALERT line cannot be read ({error})")
            return self._state(contactor)
        if contactor.told_to_close and self._check:
            self._give_up("its self-check was cut short")
        elif self._check is None and self._check_is_due(contactor):
            self._check = self._self_check()
        if self._check:
            self._go_on(self._check)
        elif not self._problem:
            self._look()
        return self._state(contactor)

    def close(self) -> None:
        self._pin.close()

    def _state(self, contactor: ContactorState) -> SecondLine:
        problem = self._problem
        if self._check:
            problem = problem or "the self-check of the second line is under way"
        elif not (problem or self._alert) and self._opened_since_verified(contactor):
            problem = "the second line is not verified since the circuit was opened"
        return SecondLine(self._alert and self._check is None, problem, self._verified_at_s)

    def _opened_since_verified(self, contactor: ContactorState) -> bool:
        at_s = self._verified_at_s
        return at_s is not None and not contactor.told_to_close and at_s < contactor.told_at_s

    # -- the self-check, a step in every cycle -------------------------------------------------

    def _check_is_due(self, contactor: ContactorState) -> bool:
        now_s = self._clock.now_s()
        holds_off = self._alert and not self._problem
        if contactor.told_to_close or holds_off or now_s < contactor.told_at_s + SETTLE_S:
            return False
        return now_s >= self._check_at_s or self._opened_since_verified(contactor)

    def _go_on(self, check: Steps) -> None:
        try:
            next(check)
        except StopIteration as end:
            self._check = None
            if end.value:
                self._give_up(end.value, again_in_s=CHECK_AGAIN_S)
            else:
                self._problem = ""
                self._verified_at_s = self._clock.now_s()
                self._check_at_s = self._verified_at_s + CHECK_EVERY_S

    def _self_check(self) -> Steps:
        """Ends with the limits where they belong, whatever came of it. The configuration, read
        last, shows that the chip was not reset meanwhile."""
        problem = (
            (yield from self._try(self._comparator.configure))
            or (yield from self._move_to(self._limits))
            or (yield from self._try(lambda bus: self._apart(bus, MARGIN_V)))
        )
        if problem:
            return problem
        problem = (
            (yield from self._line_follows(True, -MARGIN_V - HYSTERESIS_V, "low"))
            or (yield from self._line_follows(False, MARGIN_V, "high"))
        )  # fmt: skip
        unset = yield from self._move_to(self._limits)
        return problem or unset or (yield from self._try(self._comparator.prove_configuration))

    def _line_follows(self, alert: bool, from_front_v: float, level: str) -> Steps:
        """The limit goes that far from the front cell; ALERT must follow."""
        if self._front_v is None:
            return "the front cell could not be read during the self-check"
        release_v = self._front_v + from_front_v
        problem = yield from self._move_to(
            self._comparator.thresholds(release_v, release_v + HYSTERESIS_V)
        )
        until_s = self._clock.now_s() + self._follows_in_s
        while not problem and self._alert is not alert:
            if self._clock.now_s() > until_s:
                side = "below" if alert else "above"
                problem = (
                    f"its ALERT line did not go {level} with the limit {MARGIN_V * 1000:.0f} mV "
                    f"{side} the front cell: look at the wire, its pull-up and the pin"
                )
            yield
        return problem

    def _move_to(self, limits: Thresholds) -> Steps:
        """Never with LOW above HIGH on the way: the data sheet forbids it."""
        words = [(Register.LOW, limits.low), (Register.HIGH, limits.high)]
        if limits.high > self._moved_to.high:
            words.reverse()
        self._moved_to = limits
        for register, word in words:
            if problem := (yield from self._write(register, word)):
                return problem
        return ""

    def _write(self, register: Register, word: int) -> Steps:
        return (yield from self._try(lambda bus: self._comparator.write(bus, register, word)))

    def _try(self, act: Callable[[I2CBus], str | None]) -> Steps:
        """Not again after a hang: each one costs the other converters a reopening of the bus."""
        problem = ""
        for _ in range(TRIES):
            problem = self._asked(act)
            over = not problem or self._hung
            yield
            if over:
                break
        return problem

    # -- in between, a look in every window ----------------------------------------------------

    def _look(self) -> None:
        """When something is wrong, at the same again in the next cycles."""
        now_s = self._clock.now_s()
        if now_s < self._look_at_s:
            return
        if problem := self._asked(lambda bus: self._proved(bus, self._register)):
            self._failed_looks += 1
            if self._failed_looks == TRIES:
                self._give_up(problem)
            return
        self._failed_looks = 0
        self._register = next(self._registers)
        self._look_at_s = now_s + self._window_s

    def _proved(self, bus: I2CBus, register: Register) -> str | None:
        if register is Register.CONVERSION:
            return self._apart(bus, APART_V)
        word = self._limits.low if register is Register.LOW else self._limits.high
        self._comparator.prove(bus, register, word)
        return None

    def _apart(self, bus: I2CBus, allowed_v: float) -> str | None:
        """Its own reading against the front channel's, and against what ALERT says of it."""
        own_v, front_v = self._comparator.volts(bus), self._front_v
        if front_v is not None and abs(own_v - front_v) > allowed_v:
            return (
                f"its converter reads {own_v:.3f} V where the front cell reads {front_v:.3f} V: "
                "look at the leads of both, and at the gains"
            )
        if own_v > self._settings.trip_volts and not self._alert:
            return f"its converter reads {own_v:.3f} V, and its ALERT line is not low"
        if own_v < self._settings.release_volts and self._alert:
            return f"its converter reads {own_v:.3f} V, and its ALERT line is low"
        return None

    # -- what went wrong -----------------------------------------------------------------------

    def _asked(self, act: Callable[[I2CBus], str | None]) -> str:
        """What is wrong, after this act; "" when nothing is."""
        began_s, self._hung = self._clock.now_s(), False
        try:
            return act(self._keeper.bus()) or ""
        except NotAsWritten as error:
            return f"its converter is not as it was set ({error}): it was reset, or is disturbed"
        except OSError as error:
            self._keeper.counters.failed(error)
            self._hung = self._keeper.hung(began_s)
            if self._hung:  # one chip that does not answer says nothing of the bus
                self._keeper.failed(began_s)
            return f"its converter does not answer ({error})"

    def _give_up(self, what: str, again_in_s: float = 0.0) -> None:
        """Not to be relied on until a self-check has passed."""
        now_s = self._clock.now_s()
        self._check = None
        self._check_at_s = now_s + again_in_s
        self._verified_at_s = None
        self._failed_looks = 0
        self._problem = f"the second line cannot be relied on: {what}"
        if now_s >= self._tell_again_at_s:
            self._tell_again_at_s = now_s + TELL_EVERY_S
            log.warning(self._problem)
