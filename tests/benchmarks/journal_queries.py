"""How long a page would wait for its trends, from a journal of two days. Prints only."""

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from report_speed import a_charge

from supervisor.journal.reader import Reader
from supervisor.journal.schema import MINUTE_MS, SECOND_MS

with tempfile.TemporaryDirectory() as name:
    path = a_charge(Path(name))
    with Reader(path) as reader:
        for what, query in {
            "whole session, a row a minute": lambda: list(reader.samples(1, MINUTE_MS)),
            "2 h, a row a second": lambda: reader.newest_samples(1, SECOND_MS, 7200),
            "10 min, a row a second": lambda: reader.newest_samples(1, SECOND_MS, 600),
            "events": lambda: reader.events(1),
        }.items():
            times_s = []
            for _ in range(20):
                began_s = time.perf_counter()
                rows = len(query())
                times_s.append(time.perf_counter() - began_s)
            half_ms, worst_ms = 1000 * sorted(times_s)[10], 1000 * max(times_s)
            print(f"{what}: {rows} rows, {half_ms:.1f} ms, worst {worst_ms:.1f}")
