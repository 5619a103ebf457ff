"""After an end without a word a session counts on from what the journal had of it by then."""

import json
import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing as closing_db
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from loop_bench import LoopBench, with_level_drive

from supervisor.control.latch import Kept
from supervisor.control.recorder import NoJournal
from supervisor.control.remembered import OF_A_SESSION, gone_on_from, text_of
from supervisor.journal.direct import DirectJournal
from supervisor.journal.going_on import counted_before
from supervisor.journal.records import Event, Record
from supervisor.journal.schema import FILE_NAME
from supervisor.protection.verdict import Memory
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.snapshot import Circuit

UNWRITTEN_S = 31.0  # a commit every 30 s, told once a second
HOUR_S = 3600.0
Memories = Mapping[str, Memory]


class Disk(DirectJournal):
    """Written at every event, and else every 30 s, as by the journal's thread; what waits at a kill
    is lost."""

    def __init__(self, folder: Path, clock: SimulatedClock) -> None:
        super().__init__(folder)
        self._clock, self._written_at_s = clock, 0.0
        self.is_stuck = False

    def put(self, record: Record) -> None:
        if self.is_stuck:
            return
        super().put(record)
        if isinstance(record, Event) or self._clock.now_s() - self._written_at_s >= 30.0:
            self._written_at_s = self._clock.now_s()
            self.write()

    def close(self) -> None: ...


@pytest.fixture
def bench(hut_settings: SupervisorSettings, tmp_path: Path) -> LoopBench:
    bench = LoopBench(with_level_drive(hut_settings), tmp_path)
    restart(bench)
    bench.world.knob(0.64)
    return bench


def restart(bench: LoopBench) -> None:
    """The next life, whatever became of the one before; it gets as far as it can say something."""
    bench.loop.close()
    bench.journal = Disk(bench.folder, bench.clock)
    bench.loop = bench.new_loop()
    bench.run(bench.clock.now_s() + 12.0)


def close(bench: LoopBench, for_s: float) -> None:
    bench.mailbox.put("close")
    bench.run(bench.clock.now_s() + for_s)
    assert bench.loop.guard.circuit is Circuit.CLOSED


def now(bench: LoopBench) -> Memories:
    return bench.loop._to_keep().memories


def counts(memories: Memories) -> dict[str, float]:
    return {
        f"{name} {key}": value
        for name, memory in memories.items()
        if name.partition(",")[0] in OF_A_SESSION
        for key, value in memory.items()
        if key.endswith("counted")
    }


def most_lost(bench: LoopBench) -> dict[str, float]:
    """Hours, and at this knob some 6 A, known to 2 A."""
    per_hour = {
        "session_charge": 10.0, "tally charge": 10.0, "tally energy": 40.0, "tally unsure": 2.0,
    }  # fmt: skip
    return {
        name: UNWRITTEN_S / HOUR_S * per_hour.get(_kind(name), 1.0) for name in counts(now(bench))
    }


def _kind(name: str) -> str:
    rule, _, rest = name.partition(",")
    return f"tally {rest.split('cells ')[1].split(' ')[0]}" if rule == "tally" else rule


def assert_goes_on(found: Memories, truth: Memories, lost: Mapping[str, float]) -> None:
    for name, value in counts(truth).items():
        assert value - lost[name] <= counts(found)[name] <= value + 1e-9, name


@pytest.mark.parametrize("by_hand", [(), (40.0,)])
@pytest.mark.parametrize("killed_after_s", [0.05, 3.0, 31.0, 33.0, 63.0, 77.7])
def test_killed_anywhere_no_more_is_lost_than_was_not_written(
    bench: LoopBench, by_hand: tuple[float, ...], killed_after_s: float
) -> None:
    """And what the closings before had counted is never less."""
    for for_s in by_hand:
        close(bench, for_s)
        bench.mailbox.put("open")
        bench.run(bench.clock.now_s() + 2.0)
    before = now(bench)
    bench.mailbox.put("close")
    bench.run(bench.clock.now_s() + killed_after_s)
    truth, lost = now(bench), most_lost(bench)
    restart(bench)
    assert_goes_on(now(bench), truth, lost)
    assert all(counts(now(bench))[name] >= value for name, value in counts(before).items())


def test_the_limits_and_the_tally_say_that_it_is_the_least(bench: LoopBench) -> None:
    close(bench, 100.0)
    truth = now(bench)
    restart(bench)
    rule = next(rule for rule in bench.loop._now.rules if rule.key == "session_charge")
    told = counts(truth)["session_charge, 32 cells counted"]
    assert rule._session.counted > 0.6 * told > 0.06  # type: ignore[attr-defined]
    verdicts = bench.loop._viewer.last.rules  # type: ignore[union-attr]
    (said,) = (view.reason for view in verdicts if view.rule == "session_charge")
    assert said.endswith("what was not counted comes on top")
    assert not bench.loop._now.tally.is_whole
    assert_goes_on(now(bench), truth, most_lost(bench))


def test_started_again_and_again_before_the_reset_it_stays(bench: LoopBench) -> None:
    close(bench, 100.0)
    restart(bench)
    found = counts(now(bench))
    for _ in range(3):
        restart(bench)
        assert counts(now(bench)) == found
    bench.mailbox.put("reset", "looked at it")
    bench.run(bench.clock.now_s() + 1.0)
    assert bench.loop.guard.circuit is not Circuit.LOCKED_OUT
    restart(bench)
    assert counts(now(bench)) == found


def test_what_an_older_closing_had_counted_is_not_taken_for_it(bench: LoopBench) -> None:
    """Killed before anything of this closing was written."""
    close(bench, 100.0)
    bench.mailbox.put("open")
    bench.run(bench.clock.now_s() + 2.0)
    before = counts(now(bench))
    assert isinstance(bench.journal, Disk)
    bench.journal.is_stuck = True
    close(bench, 20.0)
    text = counted_before(bench.folder / FILE_NAME)
    assert json.loads(text)["arming"] not in ("", bench.loop._parts.latch.arming)
    restart(bench)
    assert counts(now(bench)) == before


def test_nor_what_an_older_life_of_the_latch_had(bench: LoopBench) -> None:
    """Removed once, it counts closings anew; then the journal takes nothing more."""
    for _ in range(4):
        close(bench, 35.0)
        bench.mailbox.put("open")
        bench.run(bench.clock.now_s() + 2.0)
    (bench.folder / "lockout.json").unlink()
    restart(bench)
    assert isinstance(bench.journal, Disk)
    bench.journal.is_stuck = True
    close(bench, 200.0)
    bench.mailbox.put("open")
    bench.run(bench.clock.now_s() + 2.0)
    before = counts(now(bench))
    close(bench, 20.0)
    restart(bench)
    assert counts(now(bench)) == before
    assert not bench.loop._now.tally.is_whole


def of_an_older_program(latch: Path) -> None:
    content = json.loads(latch.read_text())
    del content["arming"]
    latch.write_text(json.dumps(content))


def test_a_latch_of_an_older_program_goes_on_as_kept(bench: LoopBench) -> None:
    before = counts(now(bench))
    close(bench, 70.0)
    of_an_older_program(bench.folder / "lockout.json")
    restart(bench)
    assert counts(now(bench)) == before
    assert not bench.loop._now.tally.is_whole
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT


def removed(path: Path) -> None:
    for part in path.parent.glob(f"{FILE_NAME}*"):
        part.unlink()


def garbage(path: Path) -> None:
    removed(path)
    path.write_bytes(b"\xff" * 20_000)


def a_folder(path: Path) -> None:
    removed(path)
    path.mkdir()


def without_the_column(path: Path) -> None:
    """Of an older program."""
    with closing_db(sqlite3.connect(path)) as db, db:
        db.executescript("ALTER TABLE run DROP COLUMN counted; PRAGMA user_version = 2;")


def saying(text: str) -> Callable[[Path], None]:
    def change(path: Path) -> None:
        with closing_db(sqlite3.connect(path)) as db, db:
            db.execute("UPDATE run SET counted = ?", (text,))

    return change


@pytest.mark.parametrize("harm", [
    removed, garbage, a_folder, without_the_column, saying(""), saying("[]"), saying("{"),
    saying('{"contactor": {"closings": 1e8}}'), saying('{"arming": "", "memories": {}}'),
])  # fmt: skip
def test_where_the_journal_cannot_say_it_is_as_kept_before_the_closing_and_told(
    bench: LoopBench, harm: Callable[[Path], None], caplog: pytest.LogCaptureFixture
) -> None:
    before = counts(now(bench))
    close(bench, 70.0)
    bench.loop.close()
    harm(bench.folder / FILE_NAME)
    bench.journal = Found(bench.folder / FILE_NAME)
    bench.loop = bench.new_loop()
    bench.run(bench.clock.now_s() + 12.0)
    assert counts(now(bench)) == before
    assert not bench.loop._now.tally.is_whole
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    assert "no limit counts it" in caplog.text


class Found(NoJournal):
    """A file as it was found; nothing is written to it."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def counted(self) -> str:
        return counted_before(self._path)


# --- what the journal says, by itself


def session(counted: float = 1.0, **flags: float) -> dict[str, float]:
    return {"counted": counted, "is_whole": 1.0, "is_used_up": 0.0} | flags


def memories(counted: float, **others: Memory) -> dict[str, Memory]:
    return {"contactor": {"closings": 5.0}, CHARGE: session(counted), **others}


CHARGE = "session_charge, 32 cells"
ID = "3f2a9c"
KEPT = Kept(memories(1.0, supply_thermal={"diode": 40.0}), "bank")


def test_only_sessions_are_taken_from_it() -> None:
    """A supply that was hot is hotter by now, perhaps."""
    text = text_of(Kept(memories(2.0, supply_thermal={"diode": 20.0}), "other"), ID)
    assert "supply_thermal" not in text
    assert "contactor" not in text
    found = gone_on_from(KEPT, ID, text)
    assert found == Kept(memories(2.0, supply_thermal={"diode": 40.0}), "bank")
    assert not found.is_whole


@pytest.mark.parametrize(("kept_id", "told_id"), [
    (ID, "3f2a9d"), (ID, ""), ("", ID), ("", ""), (ID, ID + " "), (ID, ID.upper()),
])  # fmt: skip
def test_of_another_arming_or_of_none_nothing_is_taken(kept_id: str, told_id: str) -> None:
    assert gone_on_from(KEPT, kept_id, text_of(Kept(memories(2.0)), told_id)) == KEPT


@pytest.mark.parametrize("odd", [None, 3, True, [ID], {"arming": ID}])
def test_what_is_no_id_is_none(odd: object) -> None:
    text = json.dumps(json.loads(text_of(Kept(memories(2.0)), ID)) | {"arming": odd})
    assert gone_on_from(KEPT, ID, text) == KEPT


def test_as_told_by_an_older_program_it_is_not_taken() -> None:
    older = json.dumps({"contactor": {"closings": 6.0}, CHARGE: session(2.0)})
    assert gone_on_from(KEPT, ID, older) == gone_on_from(KEPT, "", older) == KEPT


def counted_on(kept: Memory, told: Memory, name: str = CHARGE) -> Memory:
    text = text_of(Kept({name: told}), ID)
    return gone_on_from(Kept({name: kept}), ID, text).memories[name]


@pytest.mark.parametrize("told", [session(10.0), session(1e3, is_used_up=1.0)])
def test_never_less_than_the_latch_itself(told: Memory) -> None:
    """One used up counts from zero after an end without a word."""
    assert counted_on(session(900.0), told) == session(900.0)


def test_a_session_that_began_with_that_closing_counts_from_there() -> None:
    assert counted_on(session(900.0, is_used_up=1.0), session(0.25)) == session(0.25)


def tally(charge: float, hours: float, **flags: float) -> Memory:
    counts = {"charge": charge, "hours": hours}
    return {f"{n} {k}": v for n, each in counts.items() for k, v in session(each, **flags).items()}


def test_of_a_tally_no_count_is_less() -> None:
    name, kept = "tally, 32 cells", tally(5.0, 2.0)
    assert counted_on(kept, tally(6.0, 2.5), name) == tally(6.0, 2.5)
    for told in (tally(6.0, 1.5), tally(4.0, 2.5)):
        assert counted_on(kept, told, name) == kept
    ended = tally(5.0, 2.0, is_used_up=1.0)
    assert counted_on(ended, tally(0.1, 0.01), name) == tally(0.1, 0.01)


def test_one_session_that_is_less_takes_nothing_from_another() -> None:
    """Limits that hold on to what was, beside a tally that began anew."""
    other = "session_time, 32 cells"
    kept = Kept({CHARGE: session(900.0), other: session(1.0)})
    told = text_of(Kept({CHARGE: session(0.25), other: session(1.5)}), ID)
    found = gone_on_from(kept, ID, told).memories
    assert found == {CHARGE: session(900.0), other: session(1.5)}


@pytest.mark.parametrize("told", [
    memories(-1.0),
    memories(2.0) | {"session_charge, 4 cells": session()},
    {},
    {CHARGE: session(2.0, is_whole=0.5)},
    {CHARGE: session(2.0, is_used_up=7.0)},
    {CHARGE: {"counted": 2.0}},
    {CHARGE: session(2.0) | {"more": 0.0}},
])  # fmt: skip
def test_what_cannot_be_of_that_closing_is_not_taken(told: dict[str, Memory]) -> None:
    assert gone_on_from(KEPT, ID, text_of(Kept(told), ID)) == KEPT


@given(st.text() | st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.sampled_from(["", ID]),
    lambda inner: st.lists(inner) | st.dictionaries(
        st.sampled_from(["arming", "memories", CHARGE, "counted"]), inner),
).map(json.dumps))  # fmt: skip
def test_whatever_it_says_the_start_goes_on(text: str) -> None:
    assert gone_on_from(KEPT, ID, text) == KEPT
