"""systemd's watchdog: fed by complete cycles, patient with a slow disk, and with nothing else."""

from collections.abc import Callable
from itertools import count, pairwise
from pathlib import Path
from typing import Any

import pytest
from loop_bench import LoopBench, with_level_drive

from supervisor.control.assemble import assemble
from supervisor.control.latch import Kept, Latch
from supervisor.control.notify import Notifier
from supervisor.control.publisher import LastSnapshot
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.faults_electronic import BusError
from supervisor.snapshot import Circuit

WATCHDOG_S = 2.0  # of the unit


class Systemd(Notifier):
    """Hears every word, and ends the service as systemd would: sd_notify(3). A new patience counts
    from when it is told, as if it had been fed (service.c of systemd 252)."""

    def __init__(self, clock: SimulatedClock) -> None:
        super().__init__("", clock.now_s)
        self._clock = clock
        self.patience_s = WATCHDOG_S
        self.heard_at_s = clock.now_s()
        self.fed_at_s: list[float] = []
        self.would_end_at_s: list[float] = []
        self.fed_with_patience_s: list[float] = []
        self.is_deaf: Callable[[str], bool] = lambda _: False

    def _send(self, text: str) -> bool:
        self.look()
        if self.is_deaf(text):
            return False
        told = dict(line.split("=") for line in text.splitlines())
        if "WATCHDOG_USEC" in told:
            self.patience_s = int(told["WATCHDOG_USEC"]) / 1e6
            self.heard_at_s = self._clock.now_s()
        if "WATCHDOG" in told:
            self.heard_at_s = self._clock.now_s()
            self.fed_at_s.append(self.heard_at_s)
            self.fed_with_patience_s.append(self.patience_s)
        self.look()
        return True

    @property
    def ends_in_s(self) -> float:
        return self.heard_at_s + self.patience_s - self._clock.now_s()

    def look(self) -> None:
        if self.ends_in_s < 0:
            self.would_end_at_s.append(self._clock.now_s())


class Bench(LoopBench):
    def __post_init__(self) -> None:
        super().__post_init__()
        self.loop.close()
        self.systemd = Systemd(self.clock)
        self.loop = assemble(
            self.settings, clock=self.clock, open_bus=self.world.open_bus,
            pin_factory=self.world.pin_factory, state_dir=self.folder, inboxes=[self.mailbox],
            publisher=LastSnapshot(), simulated=True, one_wire=self.world.one_wire,
            notifier=self.systemd,
        )  # fmt: skip

    def further(self, for_s: float) -> list[float]:
        """When it was fed."""
        before = len(self.systemd.fed_at_s)
        self.run(self.clock.now_s() + for_s)
        self.systemd.look()
        return self.systemd.fed_at_s[before:]

    def close(self) -> None:
        self.further(2.0)
        self.mailbox.put("close")
        self.further(6.0)
        assert self.loop.guard.circuit is Circuit.CLOSED


@pytest.fixture
def bench(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Bench:
    monkeypatch.setenv("WATCHDOG_USEC", str(round(WATCHDOG_S * 1e6)))
    return Bench(with_level_drive(hut_settings), tmp_path)


WRITE = Latch._write


def slowed(bench: Bench, monkeypatch: pytest.MonkeyPatch, takes_s: float) -> None:
    """Each write of the latch takes so long."""

    def slow(latch: Latch, state: dict[str, Any], keep: Kept) -> None:
        bench.clock.sleep_until(bench.clock.now_s() + takes_s)
        bench.systemd.look()
        WRITE(latch, state, keep)

    monkeypatch.setattr(Latch, "_write", slow)


def most_apart(at_s: list[float]) -> float:
    return max(after - before for before, after in pairwise(at_s))


def test_open_and_closed_it_is_fed_in_every_window(bench: Bench) -> None:
    assert most_apart(bench.further(2.0)[5:]) < 2 * bench.settings.loop.window_s
    bench.close()
    assert most_apart(bench.further(1.0)) < 2 * bench.settings.loop.window_s


def test_open_on_a_dead_bus_it_is_fed_as_a_new_process_would_see_no_more(bench: Bench) -> None:
    bench.close()
    bench.world.fault(BusError(kind="bus_error", errno=121))
    bench.further(2.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    bench.further(3.0)
    assert bench.systemd.would_end_at_s == []


def test_a_slow_disk_is_no_hang(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every write of the latch: armed (for one who waits no longer), cleared, tripped."""
    slowed(bench, monkeypatch, 5.0)
    bench.further(2.0)
    bench.mailbox.put("close")
    bench.further(12.0)
    slowed(bench, monkeypatch, 0.0)
    bench.close()
    slowed(bench, monkeypatch, 5.0)
    bench.mailbox.put("open")
    bench.further(6.0)
    slowed(bench, monkeypatch, 0.0)
    bench.close()
    slowed(bench, monkeypatch, 5.0)
    bench.world.fault(BusError(kind="bus_error", errno=121))
    bench.further(6.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    assert bench.systemd.would_end_at_s == []
    assert bench.systemd.patience_s == WATCHDOG_S


@pytest.mark.parametrize("takes_s", [0.0, 0.8, 5.0])
def test_closed_it_is_never_more_patient_than_the_unit_says(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, takes_s: float
) -> None:
    slowed(bench, monkeypatch, takes_s)
    ends_in_s: list[float] = []
    close_for = bench.loop._parts.contactor.close_for

    def noted(lease_s: float) -> None:
        ends_in_s.append(bench.systemd.ends_in_s)
        close_for(lease_s)

    bench.loop._parts.contactor.close_for = noted  # type: ignore[method-assign]
    bench.further(2.0)
    bench.mailbox.put("close")
    bench.further(takes_s + 6.0)
    assert (bench.loop.guard.circuit is Circuit.CLOSED) is bool(ends_in_s) is (takes_s < 4.5)
    assert all(0 < left_s <= WATCHDOG_S for left_s in ends_in_s)


@pytest.mark.parametrize("lost", range(6))
def test_a_word_that_is_lost_leaves_it_no_more_patient(bench: Bench, lost: int) -> None:
    """systemd's queue may be full at any of those round the write that arms."""
    bench.further(2.0)
    bench.mailbox.put("close")
    numbers = count()
    bench.systemd.is_deaf = lambda _: next(numbers) == lost
    bench.further(6.0)
    assert bench.loop.guard.circuit is Circuit.CLOSED
    assert set(bench.systemd.fed_with_patience_s) == {WATCHDOG_S}
    assert bench.systemd.patience_s == WATCHDOG_S


def test_a_disk_that_hangs_for_good_is_ended(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def hangs(*_: object) -> None:
        bench.clock.sleep_until(bench.clock.now_s() + 60.0)
        bench.systemd.look()

    monkeypatch.setattr(Latch, "_write", hangs)
    bench.further(2.0)
    bench.mailbox.put("close")
    bench.further(1.0)
    assert bench.systemd.would_end_at_s


@pytest.mark.parametrize("takes_s", [0.0, 0.4, 5.0])
@pytest.mark.parametrize("every", [1, 10, 70])
def test_writes_alone_do_not_feed_it_for_ever(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, takes_s: float, every: int
) -> None:
    """No window is new any more, as when one channel is never read again; but there is always
    something to be written: a disk that fails is tried again each second, and somebody asks."""
    bench.further(2.0)
    slowed(bench, monkeypatch, takes_s)
    monkeypatch.setattr(bench.loop._now.chain, "window", lambda: (None, False))
    spent_s, before = 0.0, len(bench.systemd.fed_at_s)
    for cycle in range(2000):
        if cycle % every == 0:
            assert bench.loop.keeper.keep("a test")
            spent_s += takes_s
        bench.loop.cycle()
        bench.systemd.look()
        if bench.systemd.would_end_at_s:
            break
    assert len(bench.systemd.fed_at_s) == before
    own_s = bench.systemd.would_end_at_s[0] - bench.systemd.fed_at_s[-1] - spent_s
    assert own_s == pytest.approx(WATCHDOG_S, abs=0.2)


def test_a_disk_that_never_takes_a_trip_does_not_feed_it(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tried again each second, and told to systemd each time."""
    bench.close()
    tried: list[float] = []

    def full(*_: object) -> None:
        tried.append(bench.clock.now_s())
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Latch, "_write", full)
    bench.world.fault(BusError(kind="bus_error", errno=121))
    bench.further(3.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    assert bench.systemd.would_end_at_s == []
    monkeypatch.setattr(bench.loop._now.chain, "window", lambda: (None, False))
    tried.clear()
    bench.further(5.0)
    assert len(tried) >= 4
    assert bench.systemd.would_end_at_s
