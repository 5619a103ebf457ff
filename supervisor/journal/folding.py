"""From windows to rows: one a second, one a minute, and every window around an event."""

from collections import deque
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from supervisor.journal.records import UNKNOWN, Span, Window
from supervisor.journal.schema import MINUTE_MS, SECOND_MS, WINDOW_MS

AROUND_S = 30.0  # before and after an event
MS = 1000


class Row(NamedTuple):
    """Of the table ``sample``; the end of its span in both times."""

    span_ms: int
    mono_ms: int
    wall_ms: int
    front_v: Span
    far_v: Span
    current_a: Span
    good: int
    windows: int


class Folding:
    """Of one run. A span in which nothing arrived has no row."""

    def __init__(self) -> None:
        self._second: list[Window] = []
        self._minute: list[Window] = []
        self._newest: deque[Window] = deque()
        self._close_until_s = float("-inf")

    def copy(self) -> "Folding":
        """To go back to when a transaction fails."""
        twin = Folding()
        twin._second, twin._minute = self._second.copy(), self._minute.copy()
        twin._newest, twin._close_until_s = self._newest.copy(), self._close_until_s
        return twin

    def take(self, window: Window) -> Iterator[Row]:
        yield from self._finish(self._second, SECOND_MS, window)
        yield from self._finish(self._minute, MINUTE_MS, window)
        if window.is_fine:
            self._second.append(window)
        self._minute.append(window)
        if window.mono_s <= self._close_until_s:
            yield _row(WINDOW_MS, [window])
            return
        self._newest.append(window)
        while window.mono_s - self._newest[0].mono_s > AROUND_S:
            self._newest.popleft()

    def near_event(self, mono_s: float) -> Iterator[Row]:
        """Every window around it, from here on and back."""
        self._close_until_s = max(self._close_until_s, mono_s + AROUND_S)
        yield from (_row(WINDOW_MS, [window]) for window in self._newest)
        self._newest.clear()

    def flush(self) -> Iterator[Row]:
        """What has been gathered so far."""
        for gathered, span_ms in ((self._second, SECOND_MS), (self._minute, MINUTE_MS)):
            if gathered:
                yield _row(span_ms, gathered)
                gathered.clear()

    def _finish(self, gathered: list[Window], span_ms: int, new: Window) -> Iterator[Row]:
        if gathered and _number(gathered[0], span_ms) != _number(new, span_ms):
            yield _row(span_ms, gathered)
            gathered.clear()


def _number(window: Window, span_ms: int) -> int:
    """Which span it falls into, counted from the clock's zero."""
    return round(window.mono_s * MS) // span_ms


def _row(span_ms: int, windows: Sequence[Window]) -> Row:
    last = windows[-1]
    return Row(
        span_ms,
        round(last.mono_s * MS),
        round(last.wall_s * MS),
        _over([w.front_v for w in windows]),
        _over([w.far_v for w in windows]),
        _over([w.current_a for w in windows]),
        sum(window.is_good for window in windows),
        len(windows),
    )


def _over(spans: Sequence[Span]) -> Span:
    known = [span for span in spans if span.mean is not None]
    if not known:
        return UNKNOWN
    return Span(
        sum(span.mean for span in known if span.mean is not None) / len(known),
        min((span.low for span in known if span.low is not None), default=None),
        max((span.high for span in known if span.high is not None), default=None),
    )
