"""The journal says how large it is, what it may take, and what the disk has left."""

import os
from pathlib import Path

from journals import WALL_S, closing, event, run, windows

from supervisor.journal.health import Health
from supervisor.journal.writer import Writer

MOST = 20_000_000


def test_nothing_is_said_before_anything_is_known() -> None:
    health = Health()
    assert (health.size_bytes, health.most_bytes, health.disk_free_bytes) == (None, None, None)


def test_room_is_told_once_it_has_been_written(tmp_path: Path) -> None:
    writer = Writer(tmp_path, MOST, lambda: WALL_S)
    for record in (run(), closing(0.0), *windows(0.0, 100.0), event(100.0)):
        writer.put(record)
    writer.close()
    size, free = writer.health.size_bytes, writer.health.disk_free_bytes
    assert size is not None
    assert 0 < size < MOST
    assert writer.health.most_bytes == MOST
    disk = os.statvfs(tmp_path)
    assert free is not None
    assert 0 < free <= disk.f_blocks * disk.f_frsize
