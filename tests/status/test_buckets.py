"""Few points for many rows: no peak is lost, a gap stays a gap, the mean is the mean."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.journal.records import UNKNOWN, Span
from supervisor.status.axis import Piece, joined, without
from supervisor.status.buckets import in_buckets

TIGHT = 1e-9


def piece(from_s: float, to_s: float, span: Span, good: float = 1.0) -> Piece:
    return Piece(from_s, to_s, (span, UNKNOWN, UNKNOWN), good)


@st.composite
def records(draw: st.DrawFn) -> list[Piece]:
    """Rows one after the other from some time on to 0, gaps and bad ones between."""
    to_s, pieces = 0.0, []
    for _ in range(draw(st.integers(1, 60))):
        length_s = draw(st.sampled_from([1.0, 1.0, 1.0, 0.9, 60.0]))
        if draw(st.integers(0, 9)):
            low = draw(st.floats(-5, 5))
            high = low + draw(st.floats(0, 3))
            mean = low + (high - low) * draw(st.floats(0, 1))
            span = Span(mean, low, high) if draw(st.integers(0, 5)) else UNKNOWN
            pieces.append(piece(to_s - length_s, to_s, span))
        to_s -= length_s
    return pieces[::-1]


def buckets(pieces: list[Piece], bucket_s: float) -> list[Span]:
    oldest_s = min((p.from_s for p in pieces), default=0.0)
    return in_buckets(pieces, bucket_s, math.ceil(-oldest_s / bucket_s))[0]


@given(records(), st.sampled_from([0.5, 1.0, 2.0, 7.0, 60.0, 300.0]))
def test_no_peak_is_lost_and_none_is_made_up(pieces: list[Piece], bucket_s: float) -> None:
    found = buckets(pieces, bucket_s)
    count = len(found)
    for one in pieces:
        if (span := one.measured[0]).mean is None:
            continue
        within = [
            found[count - 1 - k]
            for k in range(count)
            if one.from_s < -k * bucket_s and one.to_s > -(k + 1) * bucket_s
        ]
        assert min(b.low for b in within if b.low is not None) <= span.low  # type: ignore[type-var,operator]
        assert max(b.high for b in within if b.high is not None) >= span.high  # type: ignore[type-var,operator]
    lows = {p.measured[0].low for p in pieces}
    highs = {p.measured[0].high for p in pieces}
    for bucket in found:
        assert (bucket.mean is None) == (bucket.low is None) == (bucket.high is None)
        assert bucket.low in lows | {None}
        assert bucket.high in highs | {None}
        if bucket.mean is not None:
            assert bucket.low <= bucket.mean <= bucket.high  # type: ignore[operator]


@given(records(), st.sampled_from([0.5, 1.0, 2.0, 7.0, 60.0, 300.0]))
def test_nothing_where_nothing_good_was_read(pieces: list[Piece], bucket_s: float) -> None:
    found = buckets(pieces, bucket_s)
    good = [p for p in pieces if p.measured[0].mean is not None]
    for number, bucket in enumerate(reversed(found)):
        overlaps = [
            p for p in good if p.from_s < -number * bucket_s and p.to_s > -(number + 1) * bucket_s
        ]
        if not overlaps:
            assert bucket == UNKNOWN


@given(records())
def test_one_bucket_has_the_mean_by_time(pieces: list[Piece]) -> None:
    """Of what was measured; arithmetic by hand."""
    known = [
        (p.to_s - p.from_s, p.measured[0].mean or 0.0)
        for p in pieces
        if p.measured[0].low is not None
    ]
    oldest_s = min((p.from_s for p in pieces), default=-1.0)
    ((bucket,), _, _) = in_buckets(pieces, -oldest_s, 1)
    if known:
        total = sum(length_s * mean for length_s, mean in known)
        weight = sum(length_s for length_s, _ in known)
        assert bucket.mean == pytest.approx(total / weight, abs=TIGHT)
    else:
        assert bucket == UNKNOWN


def test_a_bad_row_weighs_by_what_was_good_of_it() -> None:
    rows = [piece(-2, -1, Span(3.0, 3.0, 3.0)), piece(-1, 0, Span(4.0, 4.0, 4.0), good=0.5)]
    ((bucket,), _, _) = in_buckets(rows, 2.0, 1)
    assert bucket.mean == pytest.approx((3.0 + 0.5 * 4.0) / 1.5)


def test_two_clocks_that_do_not_quite_agree_smear_no_peak() -> None:
    """A row that ends 10 ms into the next bucket is not shown in both."""
    rows = [piece(-1.99, -0.99, Span(3.0, 3.0, 9.0)), piece(-0.99, 0.0, Span(3.0, 3.0, 3.1))]
    ((older, newer), _, _) = in_buckets(rows, 1.0, 2)
    assert (older.high, newer.high) == (9.0, 3.1)


stretches = st.lists(
    st.tuples(st.integers(-50, -1), st.integers(1, 10)).map(lambda t: (t[0], min(0, t[0] + t[1]))),
    max_size=8,
)


@given(stretches, stretches)
def test_without_leaves_what_is_not_covered_each_moment_once(
    first: list[tuple[int, int]], second: list[tuple[int, int]]
) -> None:
    covered = joined(piece(f, t, UNKNOWN) for f, t in second)
    own = [(f, t) for f, t in first if f < t]
    left = list(without([piece(f, t, UNKNOWN) for f, t in own], covered))
    for half in range(-50, 0):
        moment = half + 0.5
        expected = sum(f < moment < t for f, t in own)
        if any(f < moment < t for f, t in second):
            expected = 0
        assert sum(p.from_s < moment < p.to_s for p in left) == expected, moment
