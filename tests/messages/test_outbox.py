"""The order of what waits, how often and how soon it is tried, and what is held back."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from message_bench import ALL, URL, Bench, Sent, settings

from supervisor.messages.courier import Outcome
from supervisor.messages.message import Message, Place, Weight
from supervisor.messages.outbox import ALARMS_PER_HOUR, Now, Outbox, OutboxKept
from supervisor.messages.settings import QuietHours, Target, Topic

ZURICH = "Europe/Zurich"
NIGHT = QuietHours(begin="22:00", end="07:00")
HUT = Place("Hut", is_simulated=False)


def message(number: int, weight: Weight = Weight.NOTE, topic: Topic = "trips") -> Message:
    return Message(number, topic, weight, f"what {number}", HUT, "body", 0.0, 0.0, 0.0)


def outbox(most_per_hour: int = 60, draw: float = 0.5) -> Outbox:
    numbers = iter(range(1000, 2000))
    return Outbox(OutboxKept(), most_per_hour, lambda: draw, lambda: next(numbers))


def now(at_s: float = 0.0, *, is_quiet: bool = False, is_kept: bool = True) -> Now:
    return Now(at_s, at_s, is_quiet, is_kept)


def refuse(_: Sent) -> Outcome:
    return Outcome(False, "the service answers with status 500")


def test_the_heaviest_goes_first_then_the_oldest() -> None:
    box = outbox()
    weights = [Weight.NOTE, Weight.ALARM, Weight.NOTE, Weight.TRIP, Weight.FAILED_TO_OPEN]
    for number, weight in enumerate(weights):
        box.put(message(number, weight))
    order = []
    while entry := box.begin(now()):
        box.done(entry, 0.0)
        order.append(entry.message.number)
    assert order == [4, 3, 1, 0, 2]


@given(st.floats(0, 1), st.integers(1, 60))
def test_it_is_tried_again_later_and_later_but_never_later_than_in_five_minutes(
    draw: float, failures: int
) -> None:
    box, at_s, waits = outbox(draw=draw), 0.0, []
    box.put(message(1))
    for _ in range(failures):
        entry = box.begin(now(at_s))
        assert entry
        waits.append(box.failed(entry, at_s))
        assert box.begin(now(at_s + waits[-1] - 0.01)) is None
        at_s += waits[-1]
    assert waits == sorted(waits)
    assert all(2.5 <= wait_s <= 300 for wait_s in waits)
    assert all(wait_s >= 150 for wait_s in waits[7:])


def test_one_that_is_refused_for_ever_holds_no_other_up(bench: Bench) -> None:
    bench.targets.answers = lambda sent: Outcome(sent.title.startswith("closed"), "no")
    bench.journal.trip()
    bench.tick(3)
    bench.journal.tell("closed")
    bench.tick(3)
    assert bench.titles == ["closed"]


def test_a_trip_does_not_wait_for_what_failed_before_it(bench: Bench) -> None:
    bench.targets.answers = refuse
    bench.journal.tell("closed")
    bench.tick(90, each_s=10.0)  # by now its tries are minutes apart
    bench.journal.trip()
    bench.targets.answers = lambda _: Outcome(True)
    bench.tick(2)
    assert bench.titles[0] == "TRIP overvoltage"


def test_errors_then_success_is_one_message(bench: Bench) -> None:
    bench.targets.answers = refuse
    bench.journal.trip()
    bench.tick(60, each_s=10.0)
    assert len(bench.targets.tried) > 3
    bench.targets.answers = lambda _: Outcome(True)
    bench.tick(60, each_s=10.0)
    assert bench.titles == ["TRIP overvoltage"]
    body = bench.targets.arrived[0].body
    assert body.startswith("late by 1")
    assert body.endswith(f", try {len(bench.targets.tried)}")


def test_a_target_that_hangs_is_ended_and_holds_no_other_up(bench: Bench) -> None:
    other = Target(url="json://other.invalid", tell=ALL)
    bench.settings = settings(targets={"phone": Target(url=URL, tell=ALL), "other": other})
    bench.restart()
    bench.targets.answers = lambda s: None if s.url == URL else Outcome(True)
    bench.journal.trip()
    bench.tick(3)
    assert [sent.url for sent in bench.targets.arrived] == [other.url]
    bench.tick(60)
    hanging = [d for d in bench.targets.deliveries if d.outcome() is None]
    assert hanging[0].was_ended
    assert len(hanging) > 1  # tried again


def test_what_can_wait_waits_for_the_end_of_the_quiet_hours(bench: Bench) -> None:
    bench.settings = settings(quiet_hours=NIGHT, time_zone=ZURICH)
    bench.restart()
    bench.time.at_wall_s = datetime(2026, 3, 28, 23, 0, tzinfo=ZoneInfo(ZURICH)).timestamp()
    bench.journal.tell("closed", "closed, asked by the warden")
    bench.tick(6 * 60 + 50, each_s=60.0)  # the clock is put forward in this night
    assert bench.titles == []
    bench.tick(10, each_s=60.0)
    assert bench.titles == ["closed"]
    assert bench.targets.arrived[0].body.startswith("late by 7.0 h")


def test_what_cannot_wait_does_not(bench: Bench) -> None:
    bench.settings = settings(quiet_hours=NIGHT, time_zone=ZURICH)
    bench.restart()
    bench.time.at_wall_s = datetime(2026, 3, 28, 23, 0, tzinfo=ZoneInfo(ZURICH)).timestamp()
    bench.journal.trip()
    bench.journal.tell("opening", outcome="failed")
    bench.is_published = False
    bench.tick(100)
    assert bench.titles == ["DID NOT OPEN after trip overvoltage", "BLIND, no data for 60 s"]


def test_a_flood_is_bounded_and_summed_up(bench: Bench) -> None:
    bench.settings = settings(most_per_hour=6)
    bench.restart()
    for k in range(40):
        bench.journal.tell("closed", f"closed {k}")
        bench.tick(each_s=60.0)
    arrived = bench.targets.arrived
    assert bench.titles[:5] == ["closed"] * 5
    assert len(arrived) == 6
    bench.tick(60, each_s=60.0)
    assert "messages in one" in bench.titles[6]
    assert "closed: 34 times" in bench.targets.arrived[6].body
    assert bench.titles[6] == "34 messages in one"
    assert len(bench.targets.arrived) == 7


def sent_at(box: Outbox, at_s: float) -> list[Message]:
    """All that goes out now."""
    sent = []
    while entry := box.begin(now(at_s)):
        box.done(entry, at_s)
        sent.append(entry.message)
    return sent


def test_a_sum_of_notes_names_the_newest_first_and_no_alarm_is_in_it() -> None:
    box = outbox(most_per_hour=1)
    for number, weight in enumerate([Weight.NOTE, Weight.ALARM, Weight.NOTE]):
        box.put(message(number, weight, "cues" if weight is Weight.ALARM else "started"))
    alarm, notes = sent_at(box, 0.0)
    assert alarm.title == "what 1: Hut"
    assert notes.title == "2 messages in one: Hut"
    assert notes.body.splitlines() == ["what 2", "what 0"]
    assert notes.weight is Weight.NOTE


@pytest.mark.parametrize("most", [1, 6, 60])
@pytest.mark.parametrize("waits", [0, 19, 100])
def test_no_alarm_waits_for_notes_nor_for_alarms_of_another_kind(most: int, waits: int) -> None:
    box = outbox(most)
    for number in range(70):
        box.put(message(number))
        box.put(message(100 + number, Weight.ALARM, "blind"))
        sent_at(box, float(number))
    for number in range(waits):
        box.put(message(200 + number))
    box.put(message(999, Weight.ALARM, "cues"))
    assert box.begin(now(70.0)).message.number == 999  # type: ignore[union-attr]


def test_alarms_use_up_nothing_of_what_notes_are_allowed() -> None:
    box = outbox(most_per_hour=2)
    for number in range(50):
        box.put(message(number, Weight.ALARM, "blind"))
        sent_at(box, 0.0)
    for number in range(2):
        box.put(message(number))
        assert [one.number for one in sent_at(box, 1.0)] == [number]


def test_an_ignored_cue_is_told_at_once_after_an_hours_notes(bench: Bench) -> None:
    bench.settings = settings(most_per_hour=1)
    bench.restart()
    for _ in range(5):
        bench.journal.tell("closed")
        bench.tick(2)
    bench.is_published = False
    bench.tick(65)
    assert bench.titles == ["closed", "BLIND, no data for 60 s"]


def test_once_a_target_can_be_reached_all_that_waits_goes_out_at_once(bench: Bench) -> None:
    bench.targets.answers = refuse
    for code in ("closed", "opened", "finished"):
        bench.journal.tell(code)
        bench.tick(7, each_s=30.0)
    bench.tick(10, each_s=30.0)
    bench.targets.answers = lambda _: Outcome(True)
    while not bench.titles:
        bench.tick()
    bench.tick(5)
    assert sorted(bench.titles) == ["FULL", "closed", "opened"]


def test_trips_are_not_counted(bench: Bench) -> None:
    bench.settings = settings(most_per_hour=1)
    bench.restart()
    for k in range(10):
        bench.journal.trip(reason=f"too high {k}")
        bench.tick(2)
    assert len(bench.titles) == 10


@given(
    st.lists(
        st.tuples(
            st.sampled_from(list(Weight)),
            st.sampled_from(["blind", "cues"]),
            st.floats(0, 2000) | st.floats(0, 100),
            st.booleans(),
        ),
        max_size=60,
    ),
    st.integers(1, 10),
)
def test_never_more_an_hour_than_set_and_nothing_forgotten(
    puts: list[tuple[Weight, Topic, float, bool]], most: int
) -> None:
    box, at_s, sent = outbox(most), 0.0, []
    for number, (weight, topic, passes_s, works) in enumerate(puts):
        box.put(message(number, weight, topic))
        at_s += passes_s
        while entry := box.begin(now(at_s)):
            if works:
                box.done(entry, at_s)
                sent.append((at_s, entry.message))
            else:
                box.failed(entry, at_s)
    for _ in range(2 * len(puts)):
        at_s += 3600.0
        while entry := box.begin(now(at_s)):
            box.done(entry, at_s)
            sent.append((at_s, entry.message))
    notes = [when_s for when_s, message in sent if message.weight is Weight.NOTE]
    assert most_in_an_hour(notes) <= most
    for topic in ("blind", "cues"):
        alarms = [s for s, m in sent if m.weight is Weight.ALARM and m.topic == topic]
        assert most_in_an_hour(alarms) <= ALARMS_PER_HOUR
    told = sum(sum(count for _, count in m.holds) or 1 for _, m in sent)
    assert told == len(puts)
    numbers = [m.number for _, m in sent]
    assert len(numbers) == len(set(numbers))


def most_in_an_hour(times_s: list[float]) -> int:
    return max(
        (sum(0 <= at_s - one_s < 3600.0 for one_s in times_s) for at_s in times_s), default=0
    )


@pytest.mark.parametrize("step_s", [-1e6, 1e6])
def test_a_clock_that_is_set_does_not_stop_it(bench: Bench, step_s: float) -> None:
    bench.settings = settings(most_per_hour=1)
    bench.restart()
    bench.journal.tell("closed")
    bench.tick(2)
    bench.time.at_wall_s += step_s
    bench.tick(10)
    bench.journal.tell("closed")
    bench.tick(2)
    assert bench.titles == ["closed"] * 2


def test_a_target_is_told_what_it_asks_for_only(bench: Bench) -> None:
    bench.settings = settings(targets={"phone": Target(url=URL, tell=("finished",))})
    bench.restart()
    bench.journal.tell("closed")
    bench.journal.trip()
    bench.journal.tell("finished", "full: 2 A")
    bench.tick(5)
    assert bench.titles == ["FULL"]


def test_a_new_target_is_told_nothing_of_before(bench: Bench) -> None:
    bench.journal.trip()
    bench.tick(5)
    added = Target(url="json://added.invalid", tell=ALL)
    bench.settings = settings(targets={"phone": Target(url=URL, tell=ALL), "added": added})
    bench.restart()
    bench.tick(5)
    assert [sent.url for sent in bench.targets.arrived] == [URL]
