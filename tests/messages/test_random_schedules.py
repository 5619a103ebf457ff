"""Whatever happens in whatever order, each thing that is to be told arrives, and once."""

import tempfile
from collections import Counter
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st
from message_bench import Bench

from supervisor.messages.courier import Outcome

NOTES = {"closed": "closed", "opened": "opened", "finished": "FULL"}
STEP = st.one_of(
    st.tuples(st.sampled_from(sorted(NOTES)), st.just(0.0)),
    st.tuples(st.just("trip"), st.just(0.0)),
    st.tuples(st.sampled_from(["tick", "tick", "tick", "clock is set"]), st.floats(0.1, 4000.0)),
    st.tuples(
        st.sampled_from(
            ["target fails", "target works", "restart", "set aside", "daemon restarts", "gone"]
        ),
        st.just(0.0),
    ),
)


class Schedule:
    """Plays steps on a bench, and counts what has to arrive."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.expected: Counter[str] = Counter()

    def play(self, what: str, amount: float) -> None:
        bench = self.bench
        match what:
            case "trip":
                reason = f"too high for the {self.expected.total()}. time"
                bench.journal.trip(reason=reason)
                self.expected["TRIP overvoltage"] += 1
            case "tick":
                bench.tick(each_s=amount)
            case "clock is set":
                bench.time.at_wall_s += amount * (1 if int(amount) % 2 else -1)
            case "target fails":
                bench.targets.answers = lambda _: Outcome(False, "no")
            case "target works":
                bench.targets.answers = lambda _: Outcome(True)
            case "restart":
                assert bench.watch.leave()  # in good order
                bench.restart()
            case "set aside":
                bench.tick()  # what nobody has read yet is in the file that is set aside
                bench.journal.set_aside()
                self.expected["RECORD TROUBLE"] += 0
            case "gone":
                bench.tick()
                bench.journal.close()
                for part in bench.folder.glob("journal.sqlite*"):
                    part.unlink()
                bench.tick(0)
                bench.journal.begin()
            case "daemon restarts":
                bench.time.pass_(0.5)
                bench.journal.begin()
                if bench.snapshot.lockout:
                    bench.journal.tell("locked_out_at_start", "as before")
            case _:
                bench.time.pass_(0.01)
                bench.journal.tell(what)
                self.expected[NOTES[what]] += 1
        bench.time.pass_(0.01)


@given(st.lists(STEP, max_size=14))
def test_in_any_order_each_arrives_and_once(steps: list[tuple[str, float]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder))
        bench.begin()
        schedule = Schedule(bench)
        for what, amount in steps:
            schedule.play(what, amount)
        bench.targets.answers = lambda _: Outcome(True)
        bench.tick(20, each_s=301.0)
        bench.restart()
        bench.tick(3, each_s=301.0)
        bench.journal.close()
    arrived = Counter(bench.titles)
    del arrived["RECORD TROUBLE"], schedule.expected["RECORD TROUBLE"]
    assert arrived == schedule.expected
    numbers = [sent.number for sent in bench.targets.arrived]
    assert len(numbers) == len(set(numbers))
