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

Measured = tuple[Span, Span, Span]


def in_buckets(pieces: Iterable[Piece], bucket_s: float, count: int) -> list[list[Span]]:
    """Three lists of ``count`` buckets, oldest first: front cell, far cell, current.

    The last bucket ends at 0, the newest moment. What is older than the first is left out.
    """
    weighed: list[list[tuple[Measured, float]]] = [[] for _ in range(count)]  # newest first
    for from_s, to_s, measured, good in pieces:
        newest = math.floor(-to_s / bucket_s)
        oldest = min(math.ceil(-from_s / bucket_s), count) - 1
        weight = good or 1.0
        if newest == oldest:
            weighed[newest].append((measured, weight * (to_s - from_s)))
            continue
        least_s = LEAST_SHARE * min(bucket_s, to_s - from_s)
        for bucket in range(max(0, newest), oldest + 1):
            within_s = min(to_s, -bucket * bucket_s) - max(from_s, -(bucket + 1) * bucket_s)
            if within_s >= least_s:
                weighed[bucket].append((measured, weight * within_s))
    return [[_over(inside, channel) for inside in reversed(weighed)] for channel in range(3)]


def _over(inside: Sequence[tuple[Measured, float]], channel: int) -> Span:
    known = [(spans[channel], weight) for spans, weight in inside]
    lows = [span.low for span, _ in known if span.low is not None]
    highs = [span.high for span, _ in known if span.high is not None]
    weights = [weight for span, weight in known if span.mean is not None]
    if not (lows and highs and weights):
        return UNKNOWN
    total = sum([span.mean * weight for span, weight in known if span.mean is not None])
    low, high = min(lows), max(highs)
    return Span(min(max(total / sum(weights), low), high), low, high)
