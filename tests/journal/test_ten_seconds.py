"""Rows of a second, folded to ten as they are read: no peak lost, nothing known that was not."""

import shutil
import sqlite3
from collections.abc import Sequence
from contextlib import closing as closing_db
from itertools import groupby
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journals import closing, run, window, windows, written

from supervisor.journal import reader as module
from supervisor.journal.reader import TEN_SECONDS_MS, Reader, Sample
from supervisor.journal.records import UNKNOWN, Span, Window
from supervisor.journal.schema import SECOND_MS

CHANNELS = ("front_v", "far_v", "current_a")


def folded(rows: Sequence[Sample]) -> list[Sample]:
    """The same by other means. A mean is weighed by the time in which all was told."""
    groups = groupby(rows, key=lambda row: (row.run, round(row.mono_s * 1000) // TEN_SECONDS_MS))
    return [_as_one(list(group)) for _, group in groups]


def _as_one(rows: Sequence[Sample]) -> Sample:
    spans = {name: _over([(getattr(row, name), _weight(row)) for row in rows]) for name in CHANNELS}
    counts = {name: sum(getattr(row, name) for row in rows) for name in ("good", "windows")}
    wall_s = max(row.wall_s for row in rows)  # 1970 is one that nobody can have written
    return rows[-1]._replace(wall_s=wall_s, span_s=TEN_SECONDS_MS / 1000, **spans, **counts)


def _weight(row: Sample) -> int:
    return row.good or row.windows


def _over(spans: Sequence[tuple[Span, int]]) -> Span:
    means = [(span.mean, weight) for span, weight in spans if span.mean is not None]
    if not means:
        return UNKNOWN
    mean = sum(mean * weight for mean, weight in means) / sum(weight for _, weight in means)
    lows, highs = ([s[at] for s, _ in spans if s[at] is not None] for at in (1, 2))
    return Span(mean, min(lows), max(highs))  # type: ignore[type-var]


def both(path: Path) -> tuple[list[Sample], list[Sample]]:
    """As read, and as they are to be."""
    with Reader(path) as reader:
        return list(reader.samples(1, TEN_SECONDS_MS)), folded(list(reader.samples(1, SECOND_MS)))


def assert_same(read: Sequence[Sample], right: Sequence[Sample]) -> None:
    assert len(read) == len(right)
    for one, other in zip(read, right, strict=True):
        for name in CHANNELS:
            assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-9)
        plain = dict.fromkeys(CHANNELS, UNKNOWN)
        assert one._replace(**plain) == other._replace(**plain)


@st.composite
def charges(draw: st.DrawFn) -> list[Window]:
    """Stretches and lapses; one in so many windows is a spike, or not told."""
    taken: list[Window] = []
    at_s = draw(st.sampled_from([0.0, 3.3, 9.9, 59.0]))
    for _ in range(draw(st.integers(1, 5))):
        length_s = draw(st.sampled_from([0.1, 0.7, 1.0, 9.9, 10.0, 23.0]))
        every, is_told = draw(st.integers(2, 40)), draw(st.booleans())
        for number, one in enumerate(windows(at_s, at_s + length_s), start=1):
            odd = number % every == 0
            spike = window(one.mono_s, volts=4.1, amperes=90.0)
            untold = one._replace(far_v=UNKNOWN, current_a=UNKNOWN, is_good=False)
            taken.append(one if not odd else spike if is_told else untold)
        at_s += length_s + draw(st.sampled_from([0.1, 0.9, 6.0, 31.0]))
    return taken


@settings(max_examples=40, deadline=None)
@given(charges(), charges())
def test_folded_as_by_hand(first: list[Window], second: list[Window]) -> None:
    with TemporaryDirectory() as name:
        written(Path(name), run(), closing(0.0), *first)
        path = written(Path(name), run(), closing(0.0, is_new=False), *second)
        assert_same(*both(path))


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(tmp_path_factory.mktemp("original"), run(), closing(0.0), *windows(0.0, 400.0))


@pytest.fixture
def path(original: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(original, tmp_path / original.name))


def test_one_window_in_ten_seconds_counts_for_what_it_is(tmp_path: Path) -> None:
    """Not for the second whose row it has alone."""
    path = written(tmp_path, run(), closing(0.0), *windows(0.0, 1.9), window(2.0, volts=4.5))
    (row, *_), _ = both(path)
    assert row.front_v.mean == pytest.approx((19 * 3.5 + 4.5) / 20)
    assert (row.mono_s, row.span_s, row.windows) == (2.0, 10.0, 20)


@pytest.mark.parametrize("rows", [1, 3, 39, 40])
def test_in_pieces_they_are_the_same(
    path: Path, monkeypatch: pytest.MonkeyPatch, rows: int
) -> None:
    whole, right = both(path)
    assert len(whole) == 41
    monkeypatch.setattr(module, "ROWS_AT_ONCE", rows)
    assert both(path)[0] == whole
    assert_same(whole, right)


@pytest.mark.parametrize("within_s", [0.0, 1.0, 9.9, 60.0, 1e4])
def test_the_newest_reach_as_far_back_as_asked(path: Path, within_s: float) -> None:
    with Reader(path) as reader:
        read = reader.newest_samples(1, TEN_SECONDS_MS, within_s)
        assert_same(read, folded(reader.newest_samples(1, SECOND_MS, within_s)))


@pytest.mark.parametrize("value", ["'abc'", "1e300", "x'00'", "NULL"])
@pytest.mark.parametrize("column", ["front_v", "far_high_v", "current_low_a", "good", "wall_ms"])
def test_what_nobody_can_have_written_is_not_in_them(path: Path, column: str, value: str) -> None:
    if value == "NULL" and column in ("good", "wall_ms"):
        value = "-1e18"
    with closing_db(sqlite3.connect(path)) as db, db:
        db.execute(f"UPDATE sample SET {column} = {value} WHERE mono_ms % 3000 < 1000")
    assert_same(*both(path))


def test_where_nothing_was_told_there_is_no_value(path: Path) -> None:
    with closing_db(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE sample SET front_v = 'x', front_low_v = -1e99, front_high_v = x'00'")
    read, _ = both(path)
    assert {row.front_v for row in read} == {UNKNOWN}
    assert all(row.far_v.mean == pytest.approx(3.499) for row in read)
