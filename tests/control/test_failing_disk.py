"""A disk that fails while a charge goes on: nothing is written while the coil is on, and whatever a
power cut leaves of the latch, the next start counts on from there."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from loop_bench import LoopBench, with_level_drive

from supervisor.control import latch as latch_module
from supervisor.control.latch import Kept, Latch
from supervisor.control.recorder import NoJournal
from supervisor.control.remembered import OF_A_SESSION, gone_on_from
from supervisor.guidance.guide import Order
from supervisor.journal.records import Counted, Record
from supervisor.protection.verdict import Memory
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit

WALL = "2026-01-01T00:00:00+00:00"
NEW_AFTER_S = 5.0  # open: so that a session ends between two pulses, or two closings
FAILS = ("before it was replaced", "syncing the folder")
READY_S, LOOK_EVERY_S = 12.0, 0.25


class Newest(NoJournal):
    """The newest ``Counted``, as a journal that loses nothing has it."""

    text = ""

    def put(self, record: Record) -> None:
        if isinstance(record, Counted):
            self.text = record.text


@dataclass
class Disk:
    """Writes of the latch fail at ``fails_at``. ``may_hold``: what a power cut may leave of it."""

    path: Path
    coil: Callable[[], bool]
    fails_at: str = ""
    may_hold: list[bytes] = field(default_factory=list)
    began_while_on: int = 0

    def write(self, latch: Latch, state: dict[str, Any], keep: Kept) -> None:
        self.began_while_on += self.coil()
        if self.fails_at == FAILS[0]:
            raise OSError(5, "Input/output error")
        REAL_WRITE(latch, state, keep)
        if self.fails_at == FAILS[1]:  # and nobody knows whether the new one is on the medium
            self.may_hold.append(self.path.read_bytes())
            raise OSError(5, "Input/output error")
        self.may_hold = [self.path.read_bytes()]

    def found(self) -> list[Latch]:
        """By a start after a power cut: each that there may be."""
        now, latches = self.path.read_bytes(), []
        for content in self.may_hold:
            self.path.write_bytes(content)
            latches.append(Latch(self.path.parent))
            latches[-1].read(WALL)
        self.path.write_bytes(now)
        return latches


REAL_WRITE = Latch._write


@dataclass
class Story:
    bench: LoopBench
    disk: Disk
    journal: Newest
    orders: list[Order] = field(default_factory=list)

    def further(self, seconds: float) -> None:
        until_s = self.bench.clock.now_s() + seconds
        while self.bench.clock.now_s() < until_s:
            self.bench.run(min(until_s, self.bench.clock.now_s() + LOOK_EVERY_S))
            self.look()

    def look(self) -> None:
        assert self.disk.began_while_on == 0, "the loop stands while the disk takes its time"
        if self.circuit not in (Circuit.CLOSED, Circuit.PAUSED):
            return
        for latch in self.disk.found():
            assert latch.was_armed
            if self.circuit is Circuit.CLOSED:
                assert latch.arming == self.bench.loop._parts.latch.arming
            assert latch.kept is not None
            found = counts(gone_on_from(latch.kept, latch.arming, self.journal.text).memories)
            for name, told in self.told().items():
                assert found.get(name, 0.0) >= told - 1e-9, name

    def told(self) -> dict[str, float]:
        """What the journal knows of the sessions that go on."""
        if not self.journal.text:
            return {}
        told = counts(json.loads(self.journal.text)["memories"])
        now = counts(self.bench.loop._to_keep().memories)
        return {name: min(value, now[name]) for name, value in told.items() if name in now}

    @property
    def circuit(self) -> Circuit:
        return self.bench.loop.guard.circuit

    def act(self, act: str) -> None:
        match act:
            case "close" | "open":
                self.bench.mailbox.put(act)
            case "pause":
                self.orders.append(Order.PAUSE)
            case "resume":
                self.orders.append(Order.RESUME)


def counts(memories: dict[str, Memory] | Any) -> dict[str, float]:
    """Those that go on after an unseen end."""
    return {
        f"{name} {key}": value
        for name, memory in memories.items()
        if name.partition(",")[0] in OF_A_SESSION
        for key, value in memory.items()
        if key.endswith("counted") and not memory[key.removesuffix("counted") + "is_used_up"]
    }


@pytest.fixture
def story(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Story]:
    yield from told(hut_settings, tmp_path, monkeypatch)


def told(settings: SupervisorSettings, folder: Path, patch: pytest.MonkeyPatch) -> Iterator[Story]:
    short = settings.session.model_copy(update={"new_after_open_hours": NEW_AFTER_S / 3600})
    settings = with_level_drive(settings.model_copy(update={"session": short, "profiles": {}}))
    bench = LoopBench(settings, folder, journal=Newest())
    disk = Disk(folder / latch_module.FILE_NAME, lambda: bench.coil)

    def write(latch: Latch, state: dict[str, Any], keep: Kept) -> None:
        disk.write(latch, state, keep)

    patch.setattr(Latch, "_write", write)
    story = Story(bench, disk, bench.journal)  # type: ignore[arg-type]
    guide = bench.loop._now.guide
    assert guide is not None
    take = guide.take

    def ordered(*what: Any) -> Order:
        order = take(*what)
        return story.orders.pop(0) if story.orders else order

    patch.setattr(guide, "take", ordered)
    bench.run(READY_S)
    yield story
    patch.undo()
    bench.loop.close()


def closed(story: Story) -> None:
    story.act("close")
    story.further(3.0)
    assert story.circuit is Circuit.CLOSED


def pause(story: Story, seconds: float) -> None:
    story.act("pause")
    story.further(seconds)
    assert story.circuit is Circuit.PAUSED


@pytest.mark.parametrize("fails_at", FAILS)
def test_a_session_that_ended_between_two_pulses_is_on_disk_before_the_next(
    story: Story, fails_at: str
) -> None:
    closed(story)
    pause(story, 3.0)
    story.disk.fails_at = fails_at
    story.further(NEW_AFTER_S)
    for _ in range(3):
        story.act("resume")
        story.further(1.0)
        assert story.circuit is Circuit.PAUSED
    story.disk.fails_at = ""
    story.further(1.5)
    story.act("resume")
    story.further(3.0)
    assert story.circuit is Circuit.CLOSED


@pytest.mark.parametrize("act", ["open", "pause"])
def test_what_is_to_be_kept_while_it_is_closed_waits_for_the_opening(
    story: Story, act: str
) -> None:
    closed(story)
    assert not story.bench.loop.keeper.keep("a test")
    story.further(3.0)
    assert story.bench.loop.keeper.keep_waits
    story.act(act)
    story.further(3.0)
    assert not story.bench.loop.keeper.keep_waits
    assert [latch.was_armed for latch in story.disk.found()] == [act == "pause"]


@pytest.mark.parametrize("fails_at", FAILS)
def test_an_opening_that_was_seen_and_not_written_is_written_later(
    story: Story, fails_at: str
) -> None:
    """Else the end of the program, in good order, would count as one without a word."""
    closed(story)
    story.disk.fails_at = fails_at
    story.act("open")
    story.further(3.0)
    story.disk.fails_at = ""
    story.further(2.0)
    assert [latch.was_armed for latch in story.disk.found()] == [False]


@pytest.mark.parametrize("fails_at", FAILS)
def test_a_closing_that_could_not_be_armed_is_taken_back_on_the_disk(
    story: Story, fails_at: str
) -> None:
    """Else the next start would find an end without a word, and every session lacking."""
    closed(story)
    story.act("open")
    story.further(2.0)
    story.disk.fails_at = fails_at
    story.act("close")
    story.further(0.5)
    assert not story.bench.mailbox.replies[-1].done
    story.disk.fails_at = ""
    story.further(2.0)
    assert [latch.was_armed for latch in story.disk.found()] == [False]


def test_a_keep_that_fails_while_a_closing_waits_ends_that(
    story: Story, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it was armed by may not be on the disk any more."""
    guard = story.bench.loop.guard
    moment = ["for a moment"]
    monkeypatch.setattr(guard, "hindrances", lambda _: moment if guard.is_closing else [])
    story.act("close")
    story.further(0.2)
    assert guard.is_closing
    story.disk.fails_at = FAILS[1]
    assert not story.bench.loop.keeper.keep("a test")
    moment.clear()
    story.further(0.5)
    assert not story.bench.coil
    assert "cannot be written" in story.bench.mailbox.replies[-1].message


ACTS = st.sampled_from(["close", "open", "pause", "resume", "resume", "wait"])
STEP = st.tuples(ACTS, st.sampled_from(["", "", *FAILS]), st.sampled_from([0.3, 1.5, 6.0]))


@hypothesis_settings(
    max_examples=12, deadline=None, phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(steps=st.lists(STEP, min_size=4, max_size=12))
def test_whatever_fails_when_nothing_is_lost_and_nothing_stands(
    hut_settings: SupervisorSettings,
    tmp_path_factory: pytest.TempPathFactory,
    steps: list[tuple[str, str, float]],
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        for story in told(hut_settings, tmp_path_factory.mktemp("disk"), patch):
            story.disk.may_hold = [b""]
            closed(story)
            pause(story, 0.5)
            for act, fails_at, seconds in steps:
                story.disk.fails_at = fails_at
                story.act(act)
                story.further(seconds)


@pytest.mark.parametrize("takes_s", [0.0, 1.5, 5.0])
def test_a_slow_disk_that_fails_leaves_the_loop_time_of_its_own(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    takes_s: float,
) -> None:
    """The next try waits a second from the end of the last one, not from its beginning."""
    bench = LoopBench(with_level_drive(hut_settings), tmp_path)
    bench.run(READY_S)
    ended_s: list[float] = []
    began_s: list[float] = []

    def fails(*_: object) -> None:
        began_s.append(bench.clock.now_s())
        bench.clock.sleep_until(bench.clock.now_s() + takes_s)
        ended_s.append(bench.clock.now_s())
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Latch, "_write", fails)
    assert not bench.loop.keeper.keep("a test")
    for _ in range(400):
        bench.loop.cycle()
    gaps_s = [began - ended for ended, began in zip(ended_s[1:], began_s[2:], strict=False)]
    assert gaps_s
    assert min(gaps_s) > 0.9
