"""Killed at any moment: no event that was acknowledged is lost, and the next start goes on.

As a program it kills as often as it is told, the path being that of the tests:
``PYTHONPATH=tests/support python tests/journal/test_survival_kill.py 1000``. It forks, so it is a
process of its own in the test as well.
"""

import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path
from random import Random
from select import select
from tempfile import TemporaryDirectory

from journals import closing, event, run, windows

from supervisor.journal.reader import NoJournal, Reader
from supervisor.journal.schema import FILE_NAME
from supervisor.journal.writer import Writer

SUPPORT = {"PYTHONPATH": str(Path(__file__).parents[1] / "support")}
KILLS = 40
LIVES_PER_FILE = 25
LONGEST_LIFE_S = 0.08
MOST_BYTES = 1 << 30


def test_killed_at_any_moment_nothing_acknowledged_is_lost() -> None:
    program = [sys.executable, __file__, str(KILLS)]
    result = subprocess.run(
        program, capture_output=True, text=True, check=False, env=os.environ | SUPPORT
    )
    assert result.returncode == 0, result.stdout + result.stderr
    assert result.stdout.startswith(f"{KILLS} kills, 0 wrong")


def live(folder: Path, first: int, said: int) -> None:
    """A daemon's journal, fed as fast as it takes it; what is written is acknowledged."""
    writer = Writer(folder, MOST_BYTES, lambda: 0.0)
    head = [run(), closing(0.0, is_new=first == 0)]
    for record in head:
        writer.put(record)
    for number in range(1_000_000):
        at_s = 1.0 + number
        for window in windows(at_s, at_s + 0.5):
            writer.put(window)
        writer.put(event(at_s, "numbered", is_close=False, number=first + number))
        put = len(head) + 6 * (number + 1)
        while writer.health.written < put:
            os.sched_yield()
        os.write(said, f"{first + number}\n".encode())


def killed_life(folder: Path, first: int, lives_s: float) -> int:
    """The newest number acknowledged; one below ``first`` if none was."""
    heard, said = os.pipe()
    child = os.fork()
    if not child:
        try:
            live(folder, first, said)
        finally:
            os._exit(1)
    os.close(said)
    select([], [], [], lives_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(heard) as stream:
        numbers = stream.read().split("\n")[:-1]  # the last may be cut short
    return int(numbers[-1]) if numbers else first - 1


def found(folder: Path) -> tuple[list[int], str]:
    """The numbers there are, and whether the file is sound."""
    path = folder / FILE_NAME
    try:
        with Reader(path) as reader:
            numbers = [e.data["number"] for e in reader.events() if e.code == "numbered"]
    except (NoJournal, sqlite3.OperationalError):  # killed before it was begun
        return [], "ok"
    db = sqlite3.connect(path)
    sound = db.execute("PRAGMA integrity_check").fetchone()[0]
    db.close()
    return numbers, sound


def kill_often(kills: int, seed: int) -> tuple[int, int, list[str]]:
    """Lives in which something was acknowledged, events in all, and what is wrong."""
    random, wrong = Random(seed), []
    spoke = events = 0
    while kills:
        with TemporaryDirectory() as name:
            folder, first = Path(name), 0
            for _ in range(min(LIVES_PER_FILE, kills)):
                kills -= 1
                newest = killed_life(folder, first, random.random() * LONGEST_LIFE_S)
                spoke += newest >= first
                numbers, sound = found(folder)
                if sound != "ok" or list(folder.glob("*.broken*")):
                    wrong.append(f"not sound: {sound}")
                if numbers != list(range(len(numbers))):
                    wrong.append("events missing or twice")
                if len(numbers) <= newest:
                    wrong.append(f"acknowledged up to {newest}, {len(numbers)} found")
                first = len(numbers)
            events += first
    return spoke, events, wrong


def main(kills: int) -> int:
    spoke, events, wrong = kill_often(kills, seed=1)
    print(f"{kills} kills, {len(wrong)} wrong; {spoke} had acknowledged something, {events} events")
    print("\n".join(wrong))
    return 1 if wrong or not events else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1])))
