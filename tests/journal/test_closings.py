"""How a closing ended, until when it was closed, and what is an end that nobody saw."""

from pathlib import Path

import pytest
from journals import WALL_S, closing, event, run, unseen_end, windows, written

from supervisor.journal.closings import last_closed_wall_s
from supervisor.journal.codes import is_unseen_end
from supervisor.journal.reader import Reader
from supervisor.journal.records import Progress, Record

FAST_S = 44 * 365.25 * 86400.0


def progress(mono_s: float) -> Progress:
    return Progress(mono_s, WALL_S + mono_s, "closed", "bulk", 1.0, 0.1, 3.3, True, 0.0, None, None)


def by_a_clock_ahead(record: Record) -> Record:
    return record._replace(wall_s=record.wall_s + FAST_S)


@pytest.mark.parametrize("ahead_until_s", [0.0, 70.0, 130.0, 370.0])
@pytest.mark.parametrize("newest_progress_s", [61.0, 361.0])
def test_until_when_is_told_by_the_newest_row_and_not_by_the_latest_date(
    tmp_path: Path, ahead_until_s: float, newest_progress_s: float
) -> None:
    """The clock was years ahead, until somebody set it."""
    records: list[Record] = [event(0.99, "closed"), closing(1.0), *windows(1.0, 400.0)]
    records += [progress(61.0), progress(newest_progress_s)]
    records.sort(key=lambda record: record.mono_s)
    ahead = [by_a_clock_ahead(r) if r.mono_s <= ahead_until_s else r for r in records]
    with Reader(written(tmp_path, run(), *ahead)) as reader:
        assert last_closed_wall_s(reader, 1) == pytest.approx(WALL_S + 400.0)


def test_a_newer_run_is_later_whatever_its_clocks_say(tmp_path: Path) -> None:
    """Both count from the start of the machine, and the wall clock was set back."""
    ahead = map(by_a_clock_ahead, [closing(5000.0), *windows(5000.0, 5070.0), progress(5070.0)])
    again = [event(9.0, "closed"), closing(9.0, is_new=False), *windows(9.0, 79.0), progress(70.0)]
    path = written(tmp_path, run(4000.0), *ahead, run(1.0), *again)
    with Reader(path) as reader:
        assert last_closed_wall_s(reader, 1) == pytest.approx(WALL_S + 79.0)


def test_a_lockout_found_at_the_start_is_no_unseen_end(tmp_path: Path) -> None:
    """The latch could not be read, after a run that ended with words; else both are noted."""
    path = written(
        tmp_path, run(), event(0.9, "closed"), closing(1.0), *windows(1.0, 20.0),
        event(20.0, "opened"), event(21.0, "ended"),
        run(100.0), event(100.1, "locked_out_at_start", ended_unseen=False), event(110.0, "reset"),
    )  # fmt: skip
    with Reader(path) as reader:
        (session,) = reader.sessions()
        assert (session.trips, session.unseen_ends) == (0, 0)
        assert not any(is_unseen_end(e.code) for e in reader.events(1))
    written(
        tmp_path, run(200.0), event(210.0, "closed"), closing(211.0, is_new=False),
        run(300.0), event(300.1, "locked_out_at_start", ended_unseen=True), unseen_end(300.1),
    )  # fmt: skip
    with Reader(path) as reader:
        (session,) = reader.sessions()
        assert (session.trips, session.unseen_ends) == (1, 1)
        assert sum(is_unseen_end(e.code) for e in reader.events(1)) == 1
