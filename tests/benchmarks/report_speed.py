"""How long a report of a charge of two days takes, or of so many hours. Prints; asserts nothing.

The processor's time says it when the machine has other work to do as well.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from ended_charges import a_run, told
from journals import WALL_S, closing

from supervisor.journal.records import Progress
from supervisor.journal.schema import FILE_NAME
from supervisor.journal.store import Store
from supervisor.settings.load import load_settings

HUT, _ = load_settings(Path(__file__).parents[2] / "config" / "hut-bank.yaml")
HOURS = 48


def a_charge(folder: Path, hours: int = HOURS) -> Path:
    """A row a second and one a minute, a cue every half hour."""
    length_s = hours * 3600
    path = folder / FILE_NAME
    store = Store(path)
    store.connect()
    store.write([a_run(HUT), told(0.0, "closed", "closed, asked by Anna"), closing(0.0)])
    noise = np.random.default_rng(1)
    for span_ms in (1000, 60_000):
        at_s = np.arange(span_ms // 1000, length_s + 1, span_ms // 1000)
        volts = 3.30 + 0.25 * (at_s / length_s) ** 3 + noise.normal(0, 2e-4, len(at_s))
        amperes = 50 * np.exp(-((at_s / length_s) ** 4)) + noise.normal(0, 0.2, len(at_s))
        store.db.execute("BEGIN")
        store.db.executemany(
            f"INSERT INTO sample VALUES ({', '.join('?' * 16)})",
            (
                (1, span_ms, 1, int(t) * 1000, round((WALL_S + t) * 1000), v, v - 0.001, v + 0.001,
                 v - 0.002, v - 0.003, v - 0.001, a, a - 2, a + 2, span_ms // 100, span_ms // 100)
                for t, v, a in zip(at_s, volts.tolist(), amperes.tolist(), strict=True)
            ),
        )  # fmt: skip
        store.db.execute("COMMIT")
    minutes = range(0, length_s, 60)
    store.write(
        [Progress(m, WALL_S + m, "closed", "bulk", 0.01 * m, 0.1, 0.03 * m, True, 0.0, None, None)
         for m in minutes]
    )  # fmt: skip
    cues = range(1800, length_s, 1800)
    store.write([told(s, "cue", "Ease down.", cue="ease_down", urgency="now") for s in cues])
    store.write([told(length_s, "finished", "full: held")])
    store.disconnect()
    return path


def children_s() -> float:
    """Processor time of the commands that have ended."""
    times = os.times()
    return times.children_user + times.children_system


def main() -> None:
    hours = int(sys.argv[1]) if len(sys.argv) > 1 else HOURS
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        journal = a_charge(folder, hours)
        print(f"journal of {hours} h: {journal.stat().st_size / 1e6:.0f} MB")
        for more in ([], ["--pdf"]):
            began_s, busy_s = time.perf_counter(), children_s()
            page = folder / "page.html"
            command = [sys.executable, "-m", "supervisor", "report", "--journal", str(journal)]
            subprocess.run([*command, "--output", str(page), *more], check=True)
            took_s, busy_s = time.perf_counter() - began_s, children_s() - busy_s
            what = "HTML and PDF" if more else "HTML"
            size = f"{page.stat().st_size / 1e6:.1f} MB"
            most_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1000
            used = f"of the processor {busy_s:.1f} s; {most_mb:.0f} MB of memory"
            print(f"{what}: {took_s:.1f} s, {used}; {size}")


if __name__ == "__main__":
    main()
