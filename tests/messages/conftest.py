"""Fixtures of the messages' tests."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from message_bench import Bench


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """The daemon runs, and messages have begun to be told."""
    bench = Bench(tmp_path)
    bench.begin()
    yield bench
    bench.watch.end()
    bench.journal.close()
