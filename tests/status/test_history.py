"""A session's record for a page, from real journals: restarts, gaps, clocks that were set."""

import json
from collections.abc import Iterable, Sequence
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journals import WALL_S, closing, end, event, run, window, windows, written

from supervisor.journal.reader import NoJournal, Reader
from supervisor.journal.records import UNKNOWN, Record, Window
from supervisor.journal.schema import FILE_NAME, SECOND_MS
from supervisor.journal.store import Store
from supervisor.status.history import COLUMNS, Asked, history, sessions

WHOLE = Asked(None, None, 360)


def runs(folder: Path, *each: Sequence[Record]) -> Path:
    """A journal to which one daemon after the other wrote."""
    path = folder / FILE_NAME
    for records in each:
        store = Store(path)
        store.connect()
        store.write(records, flush=True)
        store.disconnect()
    return path


def told(path: Path, minutes: int | None = None, points: int = 360, **asked: Any) -> dict[str, Any]:
    with Reader(path) as reader:
        told = history(reader, Asked(minutes, asked.get("session"), points)).as_dict()
    json.dumps(told, allow_nan=False)
    assert list(told["columns"]) == list(COLUMNS)
    assert len({len(column) for column in told["columns"].values()}) == 1
    return told


def shifted(records: Iterable[Window], wall_s: float) -> list[Window]:
    """The same by another wall clock."""
    return [one._replace(wall_s=one.wall_s + wall_s) for one in records]


def charge(until_s: float = 300.0) -> list[Record]:
    return [run(), closing(0.0), *windows(0.0, until_s)]


def test_what_is_told_of_a_short_charge(tmp_path: Path) -> None:
    answer = told(written(tmp_path, *charge()))
    assert answer["session"] == 1
    assert (answer["bank"], answer["simulated"], answer["profile"]) == ("Hut bank", True, "bank")
    assert answer["began_utc"] == "2026-05-28T20:26:40Z"
    assert answer["newest_utc"] == "2026-05-28T20:31:40Z"
    assert answer["bucket_s"] == 1.0
    columns = answer["columns"]
    assert columns["before_s"][-1] == 0
    assert {before - after for before, after in pairwise(columns["before_s"])} == {1.0}
    assert set(columns["front_mean_v"]) == {3.5}
    assert set(columns["front_low_v"]) == {3.49}
    assert set(columns["far_high_v"]) == {3.509}
    assert set(columns["current_mean_a"]) == {50.0}
    assert (answer["gaps"], answer["note"]) == ([], "")


@pytest.mark.parametrize("minutes", [1, 2, 4, None])
@pytest.mark.parametrize("points", [50, 100, 360, 2000])
def test_as_much_as_asked_in_no_more_points_than_asked(
    tmp_path: Path, minutes: int | None, points: int
) -> None:
    answer = told(written(tmp_path, *charge()), minutes, points)
    count = len(answer["columns"]["before_s"])
    length_s = 300 if minutes is None else 60 * minutes
    assert count <= points
    assert length_s <= count * answer["bucket_s"] <= length_s + answer["bucket_s"] + 0.2


@pytest.mark.parametrize("points", [50, 61, 360])
@pytest.mark.parametrize("at_s", [0.5, 61.3, 150.0, 299.9])
def test_a_spike_of_one_window_is_seen(tmp_path: Path, points: int, at_s: float) -> None:
    records = [
        window(w.mono_s, volts=4.1) if isinstance(w, Window) and abs(w.mono_s - at_s) < 0.01 else w
        for w in charge()
    ]
    columns = told(written(tmp_path, *records), points=points)["columns"]
    high = max(columns["front_high_v"])
    assert high == pytest.approx(4.11)
    width_s, row_s = columns["before_s"][0] - columns["before_s"][1], 1.0
    for before_s, value in zip(columns["before_s"], columns["front_high_v"], strict=True):
        if value == high:
            ends_s = 300.0 - before_s
            assert ends_s - width_s - row_s <= at_s <= ends_s + row_s


def test_what_was_not_told_is_null(tmp_path: Path) -> None:
    bad = [window(s / 10, front_v=UNKNOWN, is_good=False) for s in range(1001, 1101)]
    records = [run(), closing(0.0), *windows(0.0, 100.0), *bad, *windows(110.0, 200.0)]
    answer = told(written(tmp_path, *records))
    values = dict(
        zip(answer["columns"]["before_s"], answer["columns"]["front_mean_v"], strict=True)
    )
    assert values[95.0] is None
    assert values[120.0] == 3.5
    assert answer["gaps"] == []  # something was recorded there: that it could not be told


def test_a_gap_stays_a_gap(tmp_path: Path) -> None:
    records = [run(), closing(0.0), *windows(0.0, 60.0), *windows(120.0, 200.0)]
    answer = told(written(tmp_path, *records))
    ((from_before_s, to_before_s),) = answer["gaps"]
    assert from_before_s == pytest.approx(140.0, abs=1.0)
    assert to_before_s == pytest.approx(80.0, abs=1.0)
    columns = answer["columns"]
    within = [
        mean
        for before_s, mean in zip(columns["before_s"], columns["front_mean_v"], strict=True)
        if to_before_s + 1 < before_s < from_before_s - 1
    ]
    assert within
    assert set(within) == {None}


@pytest.mark.parametrize("length_s", [2, 29, 40, 59, 91, 200])
@pytest.mark.parametrize("from_s", [61, 90, 119.9])
def test_a_gap_is_as_long_as_it_was(tmp_path: Path, from_s: float, length_s: float) -> None:
    """However it lies to the minutes, of which there are rows too."""
    to_s = from_s + length_s
    records = [run(), closing(0.0), *windows(1.0, from_s), *windows(to_s, to_s + 70.0)]
    ((from_before_s, to_before_s),) = told(written(tmp_path, *records))["gaps"]
    assert from_before_s == pytest.approx(70.0 + length_s, abs=0.11)
    assert to_before_s == pytest.approx(70.0, abs=0.11)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([0.1, 0.3, 1.0, 7.0, 30.0, 65.0, 130.0]),
            st.sampled_from([0.1, 0.6, 1.4, 1.9, 20.0, 31.0, 45.0, 90.0, 130.0]),
            st.booleans(),
        ),
        min_size=1,
        max_size=6,
    ),
    st.sampled_from([0.0, 0.3, 17.0, 59.9]),
    st.sampled_from([50, 120, 360, 2000]),
    st.sampled_from([100, 200]),
)
def test_no_bucket_has_a_value_where_no_window_was(
    stretches: list[tuple[float, float, bool]], at_s: float, points: int, window_ms: int
) -> None:
    """Of rows of a second to the second. Of rows of a minute alone, which do not tell where in it
    they were read: in that minute, and not for longer than was read."""
    every, taken = window_ms // 100, []
    for length_s, lapse_s, is_fine in stretches:
        of_it = list(windows(at_s, at_s + length_s))[::every]
        taken += [one._replace(is_fine=is_fine) for one in of_it]
        at_s += length_s + lapse_s
    settings_text = json.dumps({"loop": {"window_milliseconds": window_ms}})
    with TemporaryDirectory() as folder:
        records = [run(settings=settings_text), closing(0.0), *taken]
        answer = told(written(Path(folder), *records), points=points)
    newest_s, width_s = taken[-1].mono_s, answer["bucket_s"]
    fine = [one.mono_s for one in taken if one.is_fine]
    calm_minutes = {round(1000 * one.mono_s) // 60_000 for one in taken if not one.is_fine}
    columns, shown = answer["columns"], 0
    for before_s, mean in zip(columns["before_s"], columns["front_mean_v"], strict=True):
        ends_s = newest_s - before_s
        begins_s = ends_s - width_s
        shown += mean is not None
        has_fine = any(begins_s - 0.11 < s < ends_s + window_ms / 1000 + 0.01 for s in fine)
        minutes = range(int((begins_s - 0.2) // 60), int((ends_s + 0.2) // 60) + 1)
        if mean is not None and not has_fine:
            assert calm_minutes & set(minutes), (begins_s, ends_s)
    rows = len(calm_minutes) + len({round(1000 * s) // 1000 for s in fine})
    if width_s == 1.0:
        assert shown <= len(taken) * window_ms / 1000 + 2 * rows


def test_a_restart_is_laid_by_the_wall_clock(tmp_path: Path) -> None:
    """The second run's monotonic clock begins anew; 30 s passed between."""
    again = [run(0.0, wall_s=WALL_S + 330), closing(0.0, is_new=False)]
    path = runs(tmp_path, charge(), [*again, *shifted(windows(0.0, 100.0), 330.0)])
    answer = told(path)
    ((from_before_s, to_before_s),) = answer["gaps"]
    assert from_before_s == pytest.approx(130.0, abs=0.2)
    assert to_before_s == pytest.approx(100.0, abs=0.2)
    assert answer["columns"]["before_s"][0] == pytest.approx(430, abs=answer["bucket_s"])
    assert answer["note"] == ""


@pytest.mark.parametrize("set_s", [-1e6, 1e6])
def test_where_the_clock_was_set_nobody_knows_how_long_it_took(
    tmp_path: Path, set_s: float
) -> None:
    again = [run(0.0, wall_s=WALL_S + set_s), closing(0.0, is_new=False)]
    path = runs(tmp_path, charge(), [*again, *shifted(windows(0.0, 100.0), set_s)])
    answer = told(path)
    ((from_before_s, to_before_s),) = answer["gaps"]
    assert from_before_s - to_before_s == pytest.approx(600.0, abs=1.0)
    assert "its clock was set" in answer["note"]
    with Reader(path) as reader:
        told_all = history(reader, WHOLE)
    assert told_all.utc(800.0) == ""
    assert told_all.utc(50.0).endswith("Z")


def test_rows_of_a_minute_fill_in_where_those_of_a_second_were_not_kept(tmp_path: Path) -> None:
    """Open, a row a minute is enough: no gap, and what is fine stays fine."""
    calm = [one._replace(is_fine=False) for one in windows(100.0, 400.0)]
    records = [run(), closing(0.0), *windows(0.0, 100.0), *calm, *windows(400.0, 500.0)]
    answer = told(written(tmp_path, *records))
    assert answer["gaps"] == []
    assert None not in answer["columns"]["front_mean_v"]


def test_a_spike_among_rows_of_a_minute_is_not_drawn_over_those_of_a_second(
    tmp_path: Path,
) -> None:
    calm = [one._replace(is_fine=False) for one in windows(100.0, 400.0)]
    spike = window(90.0, volts=4.1)  # in the minute from 60 to 120, which is half fine
    fine = [spike if abs(w.mono_s - 90.0) < 0.01 else w for w in windows(0.0, 100.0)]
    columns = told(written(tmp_path, run(), closing(0.0), *fine, *calm))["columns"]
    high = dict(zip(columns["before_s"], columns["front_high_v"], strict=True))
    newest_s = 400.0
    assert max(v for b, v in high.items() if newest_s - b < 89) == pytest.approx(3.51)
    assert high[310.0] == pytest.approx(4.11) or high[309.0] == pytest.approx(4.11)
    assert max(v for b, v in high.items() if 92 < newest_s - b <= 99) == pytest.approx(3.51)


def test_of_a_thinned_session_the_minutes_are_left_and_it_says_so(tmp_path: Path) -> None:
    path = written(tmp_path, *charge())
    store = Store(path)
    store.connect()
    store.db.execute("DELETE FROM sample WHERE span_ms = ?", (SECOND_MS,))
    store.db.execute("UPDATE session SET is_thinned = 1")
    store.disconnect()
    answer = told(path)
    assert answer["bucket_s"] == 60.0
    assert "given up" in answer["note"]
    assert answer["gaps"] == []


def test_the_newest_session_or_the_one_asked_for(tmp_path: Path) -> None:
    records = [*charge(60.0), end(60.0), closing(100.0, cells=4), *windows(100.0, 130.0)]
    path = written(tmp_path, *records, event(120.0))
    assert told(path)["session"] == 2
    assert told(path, session=1)["session"] == 1
    with Reader(path) as reader:
        assert [(s["id"], s["cells"], s["trips"]) for s in sessions(reader)] == [
            (2, 4, 1),
            (1, 32, 0),
        ]


def test_a_session_without_a_row_yet(tmp_path: Path) -> None:
    answer = told(written(tmp_path, run(), closing(0.0)), 10)
    assert answer["columns"]["before_s"] == []
    assert answer["newest_utc"] is None
    assert "Nothing is recorded" in answer["note"]


@pytest.mark.parametrize(
    ("records", "session", "words"),
    [([run()], None, "ever closed"), (charge(5.0), 7, "no session 7")],
)
def test_no_such_session(
    tmp_path: Path, records: list[Record], session: int | None, words: str
) -> None:
    with Reader(written(tmp_path, *records)) as reader, pytest.raises(NoJournal, match=words):
        history(reader, Asked(10, session, 360))


def test_long_ones_are_not_read_row_by_row_of_a_second(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However long the session is, what is read of it stays few thousand rows."""
    path = written(tmp_path, run(), closing(0.0), window(0.5))
    store = Store(path)
    store.connect()
    length_s = 6 * 3600
    store.db.execute("BEGIN")
    for span_ms in (1000, 60_000):
        step = span_ms // 1000
        store.db.executemany(
            f"INSERT INTO sample VALUES ({', '.join('?' * 16)})",
            [(1, span_ms, 1, t * 1000, round((WALL_S + t) * 1000), *[3.3] * 6, *[50.0] * 3,
              10 * step, 10 * step) for t in range(step, length_s, step)],
        )  # fmt: skip
    store.db.execute("COMMIT")
    store.disconnect()
    read: list[int] = []
    newest, all_of = Reader.newest_samples, Reader.samples

    def counted(self: Reader, session: int, span_ms: int, within_s: float) -> Any:
        rows = newest(self, session, span_ms, within_s)
        read.append(len(rows))
        return rows

    def counted_all(self: Reader, session: int, span_ms: int) -> Any:
        rows = list(all_of(self, session, span_ms))
        read.append(len(rows))
        return rows

    monkeypatch.setattr(Reader, "newest_samples", counted)
    monkeypatch.setattr(Reader, "samples", counted_all)
    for minutes in (10, 120, 121, 300, None):
        read.clear()
        answer = told(path, minutes)
        assert sum(read) < 10_000, minutes
        assert None not in answer["columns"]["front_mean_v"], minutes


@pytest.fixture(scope="module")
def two_hours(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A spike, a lapse, and a stretch in which one channel was not told."""
    folder = tmp_path_factory.mktemp("two hours")
    taken = [one for one in windows(0.0, 7300.0) if not 3003.0 < one.mono_s <= 3047.0]
    for at, one in enumerate(taken):
        if one.mono_s == 1234.5:
            taken[at] = window(1234.5, volts=4.1)
        elif 5000.0 < one.mono_s <= 5100.0:
            taken[at] = one._replace(far_v=UNKNOWN, is_good=False)
    return written(folder, run(), closing(0.0), *taken)


@pytest.mark.parametrize("points", [120, 200, 360, 700, 2000])
@pytest.mark.parametrize("minutes", [120, 121, None])
def test_two_hours_however_coarse(two_hours: Path, points: int, minutes: int | None) -> None:
    """From rows of a second, of ten, or of a minute: the same story."""
    answer = told(two_hours, minutes, points)
    columns, newest_s, width_s = answer["columns"], 7300.0, answer["bucket_s"]
    ends_s = [newest_s - before_s for before_s in columns["before_s"]]
    row_s = 60.0 if width_s >= 60 else 10.0
    (gap,) = answer["gaps"]
    assert [newest_s - before_s for before_s in gap] == pytest.approx([3003, 3047], abs=row_s)
    assert gap[0] - gap[1] == pytest.approx(44.0, abs=0.2)
    high = dict(zip(ends_s, columns["front_high_v"], strict=True))
    (spike_s, *others) = [s for s, value in high.items() if value == 4.11]
    assert spike_s - width_s - row_s <= 1234.5 <= spike_s + row_s
    assert len(others) <= 1
    for end_s, far_v in zip(ends_s, columns["far_mean_v"], strict=True):
        is_untold = 5000 + row_s <= end_s - width_s and end_s <= 5100 - row_s
        is_lapse = 3003 + row_s <= end_s - width_s and end_s <= 3047 - row_s
        assert (far_v is None) >= (is_untold or is_lapse), end_s
        assert far_v is None or far_v == pytest.approx(3.499, abs=0.02)  # with the spike
