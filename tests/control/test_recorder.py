"""What the loop tells the journal: sessions as the tally counts them, every event, every window."""

from pathlib import Path
from typing import Any

import pytest
from loop_bench import LoopBench, with_level_drive

from supervisor.journal.direct import DirectJournal
from supervisor.journal.health import Health
from supervisor.journal.reader import Reader
from supervisor.journal.records import (
    Closing,
    Event,
    Progress,
    Record,
    Run,
    SessionEnd,
    UnseenEnd,
    Window,
)
from supervisor.journal.schema import SECOND_MS, WINDOW_MS
from supervisor.settings.load import read_document
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults import StopButton
from supervisor.sizing.fitness import examine_document, fit
from supervisor.snapshot import Circuit

HOUR_S = 3600.0
FEW = {
    "about": "Four cells for practice",
    "overrides": {
        "bank.cells_in_parallel": 4,
        "protection.session_charge.trip_ampere_hours": 1120,
        "charge.full.least_percent": 0,
    },
}


class Kept:
    """A journal that keeps what it is told."""

    def __init__(self) -> None:
        self.records: list[Record] = []
        self.health = Health()

    def put(self, record: Record) -> None:
        self.records.append(record)

    def counted(self) -> str:
        return ""

    def close(self) -> None: ...

    def of(self, kind: type) -> list[Any]:
        return [record for record in self.records if isinstance(record, kind)]

    @property
    def codes(self) -> list[str]:
        return [event.code for event in self.of(Event)]


@pytest.fixture
def kept() -> Kept:
    return Kept()


@pytest.fixture
def bench(hut_path: Path, tmp_path: Path, kept: Kept) -> LoopBench:
    document = read_document(hut_path).with_overrides(
        {"profiles": {"few_cells": FEW}, "session.new_after_open_hours": 1}
    )
    settings: SupervisorSettings = fit(examine_document(document))
    bench = LoopBench(with_level_drive(settings), tmp_path, journal=kept)
    bench.run(12.0)
    return bench


def close(bench: LoopBench, for_s: float = 5.0) -> None:
    bench.mailbox.put("close")
    bench.run(bench.clock.now_s() + for_s)
    assert bench.loop.guard.circuit is Circuit.CLOSED


def open_again(bench: LoopBench, for_s: float = 2.0) -> None:
    bench.mailbox.put("open")
    bench.run(bench.clock.now_s() + for_s)


def test_a_run_begins_with_its_settings(kept: Kept, bench: LoopBench) -> None:
    (run,) = kept.of(Run)
    assert run is kept.records[0]
    assert SupervisorSettings.model_validate_json(run.settings) == bench.settings
    assert run.is_simulated


def test_every_window_of_a_charge_and_none_before_it(kept: Kept, bench: LoopBench) -> None:
    assert kept.of(Window) == []
    close(bench, 60.0)
    windows = kept.of(Window)
    assert len(windows) == pytest.approx(600, abs=6)
    assert all(window.is_good and window.is_fine for window in windows)
    assert windows[-1].front_v.low <= windows[-1].front_v.mean <= windows[-1].front_v.high


def later(bench: LoopBench, seconds: float) -> None:
    """While open; the loop stood still in between, which only delays the next closing."""
    bench.clock.sleep_until(bench.clock.now_s() + seconds)
    bench.run(bench.clock.now_s() + 15.0)


def test_closed_again_it_is_the_same_session_and_after_long_a_new_one(
    kept: Kept, bench: LoopBench
) -> None:
    close(bench)
    open_again(bench)
    later(bench, HOUR_S - 100)
    close(bench)
    open_again(bench)
    later(bench, HOUR_S)
    close(bench)
    assert [closing.is_new for closing in kept.of(Closing)] == [True, False, True]
    assert len(kept.of(SessionEnd)) == 1


def test_what_has_ended_is_not_begun_again_by_a_restart(kept: Kept, bench: LoopBench) -> None:
    close(bench)
    open_again(bench)
    later(bench, HOUR_S)
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    bench.loop = bench.new_loop()
    bench.run(bench.clock.now_s() + 12.0)
    close(bench)
    assert [closing.is_new for closing in kept.of(Closing)] == [True, True]


def restarted(bench: LoopBench) -> None:
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    bench.loop = bench.new_loop()
    bench.run(bench.clock.now_s() + 12.0)


def test_not_closed_again_after_a_restart_it_ends_once_it_was_open_for_long(
    kept: Kept, bench: LoopBench
) -> None:
    close(bench)
    open_again(bench)
    restarted(bench)
    later(bench, HOUR_S - 100)
    assert kept.of(SessionEnd) == []
    later(bench, 100)
    later(bench, 2 * HOUR_S)
    assert len(kept.of(SessionEnd)) == 1, "once"
    restarted(bench)
    close(bench)
    assert [closing.is_new for closing in kept.of(Closing)] == [True, True]


def test_where_nothing_was_ever_closed_nothing_ends(kept: Kept, bench: LoopBench) -> None:
    later(bench, 2 * HOUR_S)
    restarted(bench)
    later(bench, 2 * HOUR_S)
    assert kept.of(SessionEnd) == []


def test_one_that_was_left_for_other_cells_does_not_end_meanwhile(
    kept: Kept, bench: LoopBench
) -> None:
    close(bench)
    open_again(bench)
    bench.mailbox.put("profile", "few_cells")
    bench.run(bench.clock.now_s() + 12.0)
    later(bench, 2 * HOUR_S)
    assert kept.of(SessionEnd) == []


def test_ten_minutes_after_an_opening_a_row_a_minute_is_enough(
    kept: Kept, bench: LoopBench
) -> None:
    close(bench)
    open_again(bench)
    later(bench, 500.0)
    assert kept.of(Window)[-1].is_fine
    later(bench, 100.0)
    assert not kept.of(Window)[-1].is_fine


def test_a_restart_goes_on_with_it(kept: Kept, bench: LoopBench) -> None:
    close(bench)
    bench.loop.leave()
    bench.loop.run()
    assert kept.codes[-1] == "ended"
    bench.loop.close()
    bench.loop = bench.new_loop()
    bench.run(bench.clock.now_s() + 12.0)
    close(bench)
    assert [closing.is_new for closing in kept.of(Closing)] == [True, False]
    assert len(kept.of(Run)) == 2


def test_other_cells_are_another_session(kept: Kept, bench: LoopBench) -> None:
    for name in ("bank", "few_cells", "bank"):
        if name != bench.loop._now.settings.profile:
            bench.mailbox.put("profile", name)
            bench.run(bench.clock.now_s() + 12.0)
        close(bench)
        open_again(bench)
    told = [(c.profile, c.cells, c.is_new) for c in kept.of(Closing)]
    assert told == [("bank", 32, True), ("few_cells", 4, True), ("bank", 32, False)]


def test_other_settings_in_force_are_told_to_the_session_that_is_left(
    kept: Kept, bench: LoopBench
) -> None:
    bench.mailbox.put("profile", "few_cells")  # no session yet: nothing is left
    bench.run(bench.clock.now_s() + 12.0)
    close(bench)
    open_again(bench)
    bench.mailbox.put("profile", "bank")
    bench.run(bench.clock.now_s() + 12.0)
    (left,) = (e for e in kept.of(Event) if e.code == "session_left")
    assert left.data == {"profile": "bank"}
    assert "nothing more is measured" in left.text
    names = [type(r).__name__ for r in kept.records if not isinstance(r, Window)]
    at = kept.records.index(left)
    assert [type(r).__name__ for r in kept.records[at : at + 3]] == [
        "Event", "SessionLeft", "SettingsInForce",
    ], names  # fmt: skip


def killed_and_started(bench: LoopBench) -> None:
    """The pins go with the process; nothing else is done in the end."""
    bench.loop.close()
    bench.loop = bench.new_loop()


def test_a_kill_while_closed_is_told_by_the_next_start(kept: Kept, bench: LoopBench) -> None:
    close(bench)
    assert kept.of(UnseenEnd) == []
    killed_and_started(bench)
    (found,) = kept.of(UnseenEnd)
    assert "ended without a word while the circuit was closed" in found.text
    assert "find out why it ended" in found.remedy
    assert kept.codes.count("locked_out_at_start") == 1


def test_a_lockout_that_was_seen_is_no_unseen_end_at_the_next_start(
    kept: Kept, bench: LoopBench
) -> None:
    close(bench)
    bench.world.fault(StopButton(kind="stop_button"))
    bench.run(bench.clock.now_s() + 2.0)
    killed_and_started(bench)
    assert kept.codes.count("locked_out_at_start") == 1
    assert kept.of(UnseenEnd) == []


def test_a_latch_that_cannot_be_read_is_no_unseen_end(
    kept: Kept, bench: LoopBench, tmp_path: Path
) -> None:
    """The run before it ended with words, and nothing was closed since."""
    close(bench)
    open_again(bench)
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    (tmp_path / "lockout.json").write_text("{")
    bench.loop = bench.new_loop()
    assert kept.codes.count("locked_out_at_start") == 1
    assert kept.of(UnseenEnd) == []


def test_an_error_that_ends_the_loop_is_a_trip_of_its_own(
    kept: Kept, bench: LoopBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Dated to when it happened, not to the next start; and nothing the next start has to find."""
    close(bench)

    def broken(*_arguments: object) -> None:
        raise RuntimeError("broken")

    monkeypatch.setattr(bench.loop, "_acquire", broken)
    with pytest.raises(RuntimeError, match="broken"):
        bench.loop.run()
    (trip,) = (e for e in kept.of(Event) if e.code == "trip")
    assert trip.mono_s == pytest.approx(bench.clock.now_s())
    assert (trip.data["rule"], trip.data["was_closed"]) == ("external", True)
    assert "RuntimeError: broken" in trip.text
    bench.loop.close()
    bench.loop = bench.new_loop()
    assert kept.of(UnseenEnd) == []


def test_an_error_while_open_is_no_trip(
    kept: Kept, bench: LoopBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_arguments: object) -> None:
        raise RuntimeError("broken")

    monkeypatch.setattr(bench.loop, "_acquire", broken)
    with pytest.raises(RuntimeError, match="broken"):
        bench.loop.run()
    assert "trip" not in kept.codes


def test_a_trip_comes_with_its_numbers_and_its_opening(kept: Kept, bench: LoopBench) -> None:
    close(bench)
    bench.world.fault(StopButton(kind="stop_button"))
    bench.run(bench.clock.now_s() + 2.0)
    bench.world.clear("stop_button")
    bench.run(bench.clock.now_s() + 1.0)
    bench.mailbox.put("reset", "looked at it")
    bench.run(bench.clock.now_s() + 1.0)
    trip, opening, reset = (
        next(e for e in kept.of(Event) if e.code == code) for code in ("trip", "opening", "reset")
    )
    assert trip.data["rule"] == "external"
    assert trip.data["was_closed"] is True
    assert trip.is_close
    assert 0 < opening.data["opened_in_s"] < 0.5
    assert reset.data["reason"] == "looked at it"


def test_stage_and_cues_are_told_when_they_change(kept: Kept, bench: LoopBench) -> None:
    close(bench, 200.0)
    stages = [e.data["stage"] for e in kept.of(Event) if e.code == "stage"]
    assert stages == ["bulk"]
    cues = [e.data["cue"] for e in kept.of(Event) if e.code == "cue"]
    assert len(cues) == len(set(cues)), "each once"
    progress = kept.of(Progress)
    assert len(progress) == pytest.approx(4, abs=1)
    assert progress[-1].circuit == "closed"


def test_what_was_charged_is_in_the_record_to_the_end(kept: Kept, bench: LoopBench) -> None:
    close(bench)
    bench.world.knob(0.9, 60.0)
    bench.run(bench.clock.now_s() + 90.0)
    open_again(bench)
    last = kept.of(Progress)[-1]
    assert last.charged_ah == pytest.approx(bench.loop._now.tally.charge_ah)
    assert last.zero_a is not None
    assert abs(last.zero_a) < 0.5


def test_the_zero_of_the_shunt_is_taken_out(kept: Kept, bench: LoopBench) -> None:
    """Half an ampere that is none: in an hour half an ampere-hour."""
    shunt = bench.settings.channels.shunt.model_copy(update={"offset_amperes": -0.5})
    channels = bench.settings.channels.model_copy(update={"shunt": shunt})
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    bench.settings = bench.settings.model_copy(update={"channels": channels})
    bench.loop = bench.new_loop()
    bench.run(bench.clock.now_s() + 40.0)
    close(bench, 120.0)
    last = kept.of(Progress)[-1]
    assert abs(last.zero_a) == pytest.approx(0.5, abs=0.05)
    assert last.charged_ah < 0.5 * 120 / HOUR_S / 5


class Broken(Kept):
    """Says that nothing can be written; records go nowhere."""

    def put(self, record: Record) -> None:  # noqa: ARG002
        self.health.trouble = "the disk is gone"
        self.health.dropped_events += 1


def test_a_journal_that_cannot_be_written_is_shown_and_changes_nothing_else(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    bench = LoopBench(with_level_drive(hut_settings), tmp_path, journal=Broken())
    bench.run(12.0)
    close(bench)
    snapshot = bench.loop._viewer.last
    assert snapshot is not None
    assert snapshot.journal.trouble == "the disk is gone"


def test_the_whole_way_into_a_file(hut_settings: SupervisorSettings, tmp_path: Path) -> None:
    journal = DirectJournal(tmp_path)
    bench = LoopBench(with_level_drive(hut_settings), tmp_path, journal=journal)
    bench.run(12.0)
    close(bench, 120.0)
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    with Reader(journal.path) as reader:
        (session,) = reader.sessions()
        assert session.is_simulated
        assert len(list(reader.samples(session.id, SECOND_MS))) == pytest.approx(121, abs=3)
        assert list(reader.samples(session.id, WINDOW_MS))
        assert [e.code for e in reader.events(session.id)][-1] == "ended"


def test_a_kill_the_whole_way_into_a_file(hut_settings: SupervisorSettings, tmp_path: Path) -> None:
    """Killed while closed, started half an hour later, reset: one trip, where the record ends."""
    journal = DirectJournal(tmp_path)
    bench = LoopBench(with_level_drive(hut_settings), tmp_path, journal=journal)
    bench.run(12.0)
    close(bench, 120.0)
    killed_at_s = bench.clock.now_s()
    bench.loop.close()
    bench.clock.sleep_until(killed_at_s + 1800.0)
    bench.loop = bench.new_loop()
    bench.run(bench.clock.now_s() + 12.0)
    bench.mailbox.put("reset", "looked at it")
    bench.run(bench.clock.now_s() + 1.0)
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    with Reader(journal.path) as reader:
        (session,) = reader.sessions()
        assert (session.trips, session.unseen_ends) == (1, 1)
        events = reader.events(session.id)
        (unseen,) = (e for e in events if e.code == "unseen_end")
        assert abs(killed_at_s - unseen.mono_s) < 0.2, "the newest row"
        assert unseen.run == 1
        codes = [e.code for e in events]
    for code in ("locked_out_at_start", "reset", "ended"):
        assert codes.count(code) == 1, code
