"""How long it takes to look for damage in a journal of 200 MB, and what that costs a writer.

Prints only.
"""

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from journals import closing, event, run, written

from supervisor.journal.reader import Reader
from supervisor.journal.schema import SECOND_MS
from supervisor.journal.store import Store

MEGABYTES = 200
ROWS_AT_ONCE = 20_000

with tempfile.TemporaryDirectory() as name:
    path = written(Path(name), run(), closing(0.0))
    store = Store(path)
    store.connect()
    row, values = 0, (3.5, 3.49, 3.51, 3.498, 3.49, 3.51, 50.0, 49.0, 51.0)
    while path.stat().st_size < MEGABYTES * 1e6:
        rows = [
            (1, SECOND_MS, 1, 1000 * k, 1_780_000_000_000 + 1000 * k,
             *(v + k % 997 / 1e6 for v in values), 10, 10)
            for k in range(row, row + ROWS_AT_ONCE)
        ]  # fmt: skip
        with store.db:
            store.db.execute("BEGIN")
            store.db.executemany(f"INSERT INTO sample VALUES ({', '.join('?' * 16)})", rows)
        row += ROWS_AT_ONCE
    store.disconnect()
    print(f"{path.stat().st_size / 1e6:.0f} MB, {row} rows")
    with Reader(path) as reader:
        for _ in range(3):
            began_s = time.perf_counter()
            found = reader.damage()
            print(f"looked for damage: {time.perf_counter() - began_s:.2f} s, {found or 'sound'}")
    began_s = time.perf_counter()
    store = Store(path)
    store.connect()
    store.write([run(1.0), event(2.0)])
    print(f"a start of the daemon, that looks as well: {time.perf_counter() - began_s:.2f} s")
    store.disconnect()
