"""Many rows as few: of each bucket of time the lowest, the mean and the highest.

No peak is lost: the lowest is the lowest of all that lies in the bucket, and so is the highest.
The mean is weighted by time. Where nothing good was read there is no value, and nothing is drawn
across a gap.
"""

import math
from collections.abc import Iterable, Sequence

from supervisor.journal.records import UNKNOWN, Span
from supervisor.status.axis import Piece

LEAST_SHARE = 0.05  # of a bucket or a piece: less is two clocks that do not quite agree


class _Channel:
    """One channel's buckets, the newest first."""

    __slots__ = ("high", "low", "sum", "weight")

    def __init__(self, count: int) -> None:
        self.low = [math.inf] * count
        self.high = [-math.inf] * count
        self.sum = [0.0] * count
        self.weight = [0.0] * count

    def spans(self) -> list[Span]:
        return [
            Span(min(max(total / weight, low), high), low, high) if weight else UNKNOWN
            for low, high, total, weight in zip(
                self.low, self.high, self.sum, self.weight, strict=True
            )
        ]


def in_buckets(pieces: Iterable[Piece], bucket_s: float, count: int) -> list[list[Span]]:
    """Three lists of ``count`` buckets, oldest first: front cell, far cell, current.

    The last bucket ends at 0, the newest moment. What is older than the first is left out.
    """
    channels = (_Channel(count), _Channel(count), _Channel(count))
    for piece in pieces:
        from_s, to_s = piece[:2]
        newest = math.floor(-to_s / bucket_s)
        oldest = min(math.ceil(-from_s / bucket_s), count) - 1
        if newest == oldest:
            _add(channels, newest, piece, to_s - from_s)
            continue
        least_s = LEAST_SHARE * min(bucket_s, to_s - from_s)
        for bucket in range(max(0, newest), oldest + 1):
            within_s = min(to_s, -bucket * bucket_s) - max(from_s, -(bucket + 1) * bucket_s)
            if within_s >= least_s:
                _add(channels, bucket, piece, within_s)
    return [channel.spans()[::-1] for channel in channels]


def _add(channels: Sequence[_Channel], bucket: int, piece: Piece, within_s: float) -> None:
    weight = within_s * (piece.good or 1.0)
    for channel, (mean, low, high) in zip(channels, piece.measured, strict=True):
        if mean is None or low is None or high is None:
            continue
        if low < channel.low[bucket]:
            channel.low[bucket] = low
        if high > channel.high[bucket]:
            channel.high[bucket] = high
        channel.sum[bucket] += weight * mean
        channel.weight[bucket] += weight
