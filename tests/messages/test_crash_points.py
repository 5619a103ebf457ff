"""Ended without a word at every point of its work, and begun anew: nothing lost, nothing repeated
but an alarm whose arrival nobody can know."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from message_bench import OPEN, Bench, Sent, settings

from supervisor.messages.courier import Outcome
from supervisor.messages.memory import Memory
from supervisor.messages.settings import QuietHours
from supervisor.snapshot import LockoutView

ALARMS = ("TRIP", "BLIND", "sees again")


class Killed(BaseException):
    """As kill -9: no handler runs."""


class Death:
    """Comes at the n-th of the points that are passed."""

    def __init__(self, at: int) -> None:
        self.left = at
        self.has_come = False

    def passes(self) -> None:
        self.left -= 1
        if self.left == 0:
            self.has_come = True
            raise Killed


def mortal(bench: Bench, death: Death, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before and after each write of what is kept, each send, each outcome."""
    write, start = Memory._write, bench.targets.start

    def mortal_write(memory: Memory, text: str) -> None:
        death.passes()
        write(memory, text)
        death.passes()

    def mortal_start(*task: str) -> object:
        death.passes()
        delivery = start(*task)
        death.passes()
        return delivery

    monkeypatch.setattr(Memory, "_write", mortal_write)
    monkeypatch.setattr(bench.targets, "start", mortal_start)


def until_done(bench: Bench, *steps: Callable[[], None]) -> int:
    """Each step, then a while; begun anew whenever it is killed. Returns how often that was."""
    deaths = 0
    for step in steps:
        step()
        for _ in range(9):  # long enough to be blind, even if begun anew meanwhile
            try:
                bench.tick(each_s=20.0)
            except Killed:
                deaths += 1
                bench.restart()
    return deaths


def story(bench: Bench) -> list[Callable[[], None]]:
    def trip() -> None:
        bench.journal.trip()
        bench.journal.tell("opening", outcome="confirmed", opened_in_s=0.04)

    def goes_blind() -> None:
        bench.is_published = False

    def sees() -> None:
        bench.is_published = True

    def begins() -> None:
        bench.journal.tell("closed")

    return [begins, trip, lambda: bench.journal.tell("reset"), goes_blind, sees]


TOLD = ["closed", "TRIP", "lockout reset", "BLIND", "sees again"]


def lived_through(folder: Path, at: int, monkeypatch: pytest.MonkeyPatch) -> tuple[Bench, Death]:
    folder.mkdir()
    bench, death = Bench(folder), Death(at)
    bench.begin()
    with monkeypatch.context() as patch:
        mortal(bench, death, patch)
        until_done(bench, *story(bench))
    bench.tick(6, each_s=301.0)
    bench.journal.close()
    return bench, death


def test_killed_at_every_point_in_turn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    at, twice, never = 1, 0, 0
    while True:
        bench, death = lived_through(tmp_path / str(at), at, monkeypatch)
        times = Counter(sent.number for sent in bench.targets.arrived)
        for sent in bench.targets.arrived:
            assert times[sent.number] <= (2 if sent.title.startswith(ALARMS) else 1)
        missing = [told for told in TOLD if not any(t.startswith(told) for t in bench.titles)]
        assert not set(missing) & set(ALARMS)
        assert len(times) == len(TOLD) - len(missing)
        twice += len(bench.titles) > len(times)
        never += len(missing)
        if not death.has_come:
            assert len(bench.titles) == len(TOLD)
            break
        at += 1
    assert at > 30  # so many points there are
    assert 0 < twice < at / 4  # only between sending and storing
    assert 0 < never < at / 4


def test_a_note_whose_arrival_nobody_knows_is_not_sent_again(bench: Bench) -> None:
    bench.targets.answers = lambda _: None  # under way
    bench.journal.tell("closed")
    bench.tick(2)
    bench.restart()
    bench.targets.answers = lambda _: Outcome(True)
    bench.tick(20)
    assert len(bench.targets.tried) == 1


def test_an_alarm_is_and_under_the_same_number(bench: Bench) -> None:
    bench.targets.answers = lambda _: None
    bench.journal.trip()
    bench.tick(2)
    bench.restart()
    bench.targets.answers = lambda _: Outcome(True)
    bench.tick(20)
    first, second = bench.targets.tried
    assert first.number == second.number
    assert second.body.endswith(", try 2")


def test_with_a_disk_that_takes_nothing_alarms_go_out_and_notes_wait(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: Memory, __: str) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(Memory, "_write", full)
        bench.journal.tell("closed")
        bench.journal.trip()
        bench.tick(60)
        assert bench.titles == ["TRIP overvoltage"]
    bench.tick(20)
    assert bench.titles == ["TRIP overvoltage", "closed"]


@pytest.mark.parametrize(
    "content",
    ["", "{", "[]", '{"format": 99}', '{"number": "x"}', "\x00", '{"position": {"id": 1e30}}',
     '{"position": {"id": 9223372036854775808}}', '{"position": {"id": -1}}'],
)  # fmt: skip
def test_a_memory_that_cannot_be_read_is_set_aside_and_said(
    tmp_path: Path, bench: Bench, content: str
) -> None:
    bench.journal.trip()
    bench.tick(3)
    (tmp_path / "messages.json").write_text(content, "utf-8")
    bench.restart()
    bench.tick(20)
    assert bench.titles[0] == "TRIP overvoltage"
    assert bench.titles[1].startswith("MESSAGES LOST")
    assert len(bench.titles) == 2
    assert (tmp_path / "messages.broken").read_text("utf-8") == content


@pytest.mark.parametrize("was_told", [False, True])
def test_what_stands_when_the_memory_is_lost_is_told_rather_twice_than_never(
    tmp_path: Path, was_told: bool
) -> None:
    """At night as well, when the word of the loss itself waits."""
    at_noon = QuietHours(begin="11:00", end="15:00")
    bench = Bench(tmp_path, settings(quiet_hours=at_noon, time_zone="UTC"))
    bench.begin()
    bench.journal.trip(reason="too high")
    view = LockoutView(
        "overvoltage", "too high", "look", 3.612, 3.6, "V", "2026-07-01T12:00:01+00:00", 0.04,
        False, True, (),
    )  # fmt: skip
    bench.snapshot = replace(OPEN, circuit="locked out", lockout=view)
    if was_told:
        bench.tick(3)
    (tmp_path / "messages.json").write_text("", "utf-8")
    bench.restart()
    bench.tick(40)
    bench.restart()
    bench.tick(40)
    bench.journal.close()
    assert bench.titles == ["TRIP overvoltage"] * (2 if was_told else 1)


def test_a_refused_one_that_is_sent_at_last_is_stored_as_sent(bench: Bench) -> None:
    answers = iter([False, False, True])

    def answer(_: Sent) -> Outcome:
        return Outcome(next(answers), "no")

    bench.targets.answers = answer
    bench.journal.trip()
    bench.tick(60)
    bench.restart()
    bench.tick(60)
    assert bench.titles == ["TRIP overvoltage"]
