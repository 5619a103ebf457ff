"""The pulses of a session are bounded, whoever closes by hand, chooses a profile or restarts."""

import json

from cycles import FAR, FRONT, told_closed, told_open
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.guidance.pulses import HOUR_S, Pulses
from supervisor.guidance.seconds import Second
from supervisor.guidance.tally import Tally
from supervisor.readings import ContactorState
from supervisor.settings.charge import PulsedHold
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Stage

ABOVE_V, BELOW_V = 3.56, 3.50
REST_S = 60


def second(at_s: float, volts: float) -> Second:
    return Second(at_s, {FRONT: volts, FAR: volts}, 50.0, 0.5)


class Session:
    """Tally and pulses as the guide has them, and somebody who closes again and again."""

    def __init__(self, hut_settings: SupervisorSettings, most: int) -> None:
        self._settings, self._now_s = hut_settings, 0.0
        self._hold = PulsedHold(
            open_above_volts=ABOVE_V,
            close_below_volts=BELOW_V,
            least_rest_seconds=REST_S,
            most_pulses=most,
            most_per_hour=60,
        )
        self.made = 0  # closings by itself, in this session
        self._contactor = told_open(0.0)
        self._start(None)

    def _start(self, memory: dict[str, float] | None) -> None:
        self._tally = Tally(self._settings)
        if memory is not None:
            self._tally.recall(memory, is_whole=True)
        self._pulses = Pulses(self._hold, 8.0, 1800.0, self._tally.pulses)

    def _turn(self, contactor: ContactorState) -> None:
        self._contactor = contactor
        self._tally.follow(contactor)

    def take(self, act: str) -> None:
        self._now_s += 1
        match act:
            case "by hand":
                self._by_hand()
            case "next pulse":
                self._next_pulse()
            case "restart":
                self._turn(told_open(self._now_s))
                self._start(json.loads(json.dumps(self._tally.memory())))
            case "open for long":
                self._turn(told_open(self._now_s))
                self._now_s += self._settings.session.new_after_open_hours * HOUR_S
                self.made = 0
                self._by_hand()

    def _by_hand(self) -> None:
        if not self._contactor.told_to_close:
            self._pulses.begin()
            self._close()

    def _close(self) -> None:
        self._pulses.closed(self._now_s)
        self._turn(told_closed(self._now_s))

    def _next_pulse(self) -> None:
        """Opened, and closed again by itself if that is allowed."""
        if not self._contactor.told_to_close:
            return
        self._now_s += 1
        assert self._pulses.wants_to_open(second(self._now_s, ABOVE_V + 0.01), Stage.HOLD)
        self._pulses.opened(self._now_s)
        self._turn(told_open(self._now_s))
        self._now_s += REST_S
        if self._pulses.may_close(second(self._now_s, BELOW_V - 0.01), self._now_s):
            self.made += 1
            self._close()


ACTS = st.sampled_from(["by hand", "next pulse", "next pulse", "restart", "open for long"])


@given(most=st.integers(1, 5), acts=st.lists(ACTS, max_size=60))
@settings(max_examples=150)
def test_never_more_than_allowed(
    hut_settings: SupervisorSettings, most: int, acts: list[str]
) -> None:
    session = Session(hut_settings, most)
    for act in acts:
        session.take(act)
        assert session.made <= most


def test_all_that_are_allowed_come_about(hut_settings: SupervisorSettings) -> None:
    session = Session(hut_settings, 3)
    for act in ["by hand", "next pulse", "next pulse", "restart", "by hand", *["next pulse"] * 3]:
        session.take(act)
    assert session.made == 3
    for act in ["open for long", *["next pulse"] * 5]:
        session.take(act)
    assert session.made == 3, "a new session, a new allowance"
