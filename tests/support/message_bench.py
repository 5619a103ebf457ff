"""A messages process without the process: its clock, its targets, a journal and a status file."""

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from supervisor.journal.records import Event, Record, Run
from supervisor.journal.schema import FILE_NAME as JOURNAL_NAME
from supervisor.journal.store import Store
from supervisor.messages.courier import Outcome
from supervisor.messages.memory import Memory
from supervisor.messages.settings import MessageSettings, Target
from supervisor.messages.watch import Watch
from supervisor.snapshot import Counters, JournalView, Snapshot
from supervisor.status.status_file import FILE_NAME as STATUS_NAME

WALL_S = 1_782_907_200.0  # 2026-07-01 12:00:00 UTC
ALL = ("trips", "cues", "finished", "blind", "started", "record")
BANK = "Mountain hut storage bank"
URL = "json://nobody.invalid"

OPEN = Snapshot(
    bank=BANK, version="0.1", simulated=False, circuit="open", coil_on=False,
    auxiliary_closed=False, lease_left_s=0.0, now_s=0.0, published_at_s=0.0,
    wall="2026-07-01T12:00:00+00:00", started_wall="2026-07-01T12:00:00+00:00",
    never_above_v=3.65, channels=(), probes=(), profile="bank", operations=1,
    rated_operations=None, guidance=None, silent_s=0.0, journal=JournalView(), rules=(),
    without=(), lockout=None, not_closing_because=(), uncommissioned=None, events=(),
    counters=Counters(),
)  # fmt: skip


def settings(**changes: object) -> MessageSettings:
    """One target that is told everything."""
    one = {"phone": Target(url=URL, tell=ALL)}
    return MessageSettings(targets=one, most_per_hour=60).model_copy(update=changes)


class Time:
    """A clock that only a test moves."""

    def __init__(self, now_s: float = 1000.0, wall_s: float = WALL_S) -> None:
        self.at_s, self.at_wall_s = now_s, wall_s

    def now_s(self) -> float:
        return self.at_s

    def wall_s(self) -> float:
        return self.at_wall_s

    def pass_(self, seconds: float) -> None:
        self.at_s += seconds
        self.at_wall_s += seconds


@dataclass
class Sent:
    """What a target was given."""

    url: str
    title: str
    body: str
    kind: str

    @property
    def number(self) -> int:
        return int(self.body.rpartition("message ")[2].partition(",")[0])


class _Delivery:
    def __init__(self, outcome: Outcome | None) -> None:
        self._outcome = outcome
        self.was_ended = False

    def outcome(self) -> Outcome | None:
        return self._outcome

    def wait(self, within_s: float) -> None: ...

    def end(self) -> None:
        self.was_ended = True


class Targets:
    """Takes what is sent, or what ``answers`` says: None hangs; only a sent outcome arrives."""

    def __init__(self) -> None:
        self.arrived: list[Sent] = []
        self.tried: list[Sent] = []
        self.deliveries: list[_Delivery] = []
        self.answers: Callable[[Sent], Outcome | None] = lambda _: Outcome(True)

    def start(self, url: str, title: str, body: str, kind: str) -> _Delivery:
        sent = Sent(url, title, body, kind)
        self.tried.append(sent)
        outcome = self.answers(sent)
        if outcome is not None and outcome.sent:
            self.arrived.append(sent)
        self.deliveries.append(_Delivery(outcome))
        return self.deliveries[-1]


class JournalBench:
    """Writes a journal as the daemon does; ``at_s`` is the daemon's monotonic clock."""

    def __init__(self, folder: Path, time: Time, bank: str = BANK) -> None:
        self.path = folder / JOURNAL_NAME
        self._time, self._bank = time, bank
        self._store = Store(self.path)

    def begin(self, *, is_simulated: bool = False) -> None:
        """The daemon starts."""
        self.run = Run(*self._now(), "0.1", self._bank, is_simulated, '{"a": 1}')
        self.write(self.run)

    def write(self, *records: Record) -> None:
        self._store.connect()
        self._store.write(records)

    def tell(self, code: str, text: str = "", **data: object) -> None:
        self.write(Event(*self._now(), code, text or code, data, False))  # type: ignore[arg-type]

    def trip(self, rule: str = "overvoltage", reason: str = "too high", **data: object) -> None:
        self.tell("trip", f"{rule}: {reason}", rule=rule, **({"was_closed": False} | data))

    def set_aside(self) -> None:
        """The writer finds the file broken: another takes its place, of the same run."""
        self._store.disconnect()
        for part in self.path.parent.glob(f"{JOURNAL_NAME}*"):
            part.rename(part.with_name(f"aside-{self._time.at_s}-{part.name}"))
        self._store = Store(self.path)
        self.write(self.run)
        self.write(Event(0.0, self._time.at_wall_s, "journal_set_aside", "kept", {}, False))

    def close(self) -> None:
        self._store.disconnect()

    def _now(self) -> tuple[float, float]:
        return self._time.at_s, self._time.at_wall_s


class Bench:
    """``watch`` is the process under test: ``restart`` ends it without a word and begins anew."""

    def __init__(self, folder: Path, chosen: MessageSettings | None = None) -> None:
        self.folder, self.settings = folder, chosen or settings()
        self.time, self.targets = Time(), Targets()
        self.journal = JournalBench(folder, self.time)
        self.is_published, self.snapshot = True, OPEN
        self.restart()

    def restart(self) -> None:
        self.memory = Memory(self.folder)
        self.watch = Watch(
            self.settings, self.journal.path, self.folder, self.memory, self.targets, self.time,
            draw=lambda: 0.5,
        )  # fmt: skip

    def begin(self) -> None:
        """The daemon runs, and messages have begun to be told."""
        self.journal.begin()
        self.journal.tell("without", "runs without balance")
        self.tick()

    def tick(self, times: int = 1, *, each_s: float = 1.0) -> None:
        for _ in range(times):
            self.time.pass_(each_s)
            if self.is_published:
                self.publish()
            self.watch.tick()

    def publish(self) -> None:
        now = replace(self.snapshot, published_at_s=self.time.at_s, now_s=self.time.at_s)
        (self.folder / STATUS_NAME).write_text(json.dumps(now.as_dict()), "utf-8")

    @property
    def titles(self) -> list[str]:
        """Of what arrived, without the bank."""
        return [sent.title.removesuffix(f": {BANK}") for sent in self.targets.arrived]
