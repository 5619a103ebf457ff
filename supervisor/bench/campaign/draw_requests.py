"""Requests at random: close to one another, to faults and to their end, several in one cycle."""

from collections.abc import Iterator
from random import Random
from typing import Any

SHARE = 0.6  # of the runs with requests beside the operator's
NEAR_S = (-0.2, 1.2)  # from what they are close to
SOON_S = (0.0, 1.2)  # from one to the next: what waits is waiting still
LATER_S = (2.0, 5.0)  # ... or what nobody saw has been given up
TOGETHER = 0.6  # at the same instant, so that one cycle takes them all
BESIDE_THE_NAMES = 0.1
PAIRS = (
    ("open", "close"),
    ("open", "close"),
    ("reset", "close"),
    ("close", "profile"),
    ("open", "profile", "close"),
    ("open", "reset", "close"),
)
ACTS = ("open", "close", "close", "reset", "profile", "silence")
REASONS = ("mended", "looked at it")

Act = dict[str, Any]


def draw_requests(
    rng: Random, names: tuple[str, ...], anchors: list[float], until_s: float
) -> Iterator[Act]:
    """``names`` of the profiles; ``anchors``: when something else happens."""
    if rng.random() >= SHARE:
        return
    for _ in range(rng.randint(1, 3)):
        at_s = rng.uniform(0.5, until_s)
        if anchors and rng.random() < 0.7:
            at_s = rng.choice(anchors) + rng.uniform(*NEAR_S)
        for moment_s in _train(rng, at_s):
            yield from _burst(rng, names, moment_s, until_s)


def _train(rng: Random, at_s: float) -> Iterator[float]:
    """One burst, and others after it."""
    yield at_s
    while rng.random() < 0.5:
        at_s += rng.uniform(*rng.choice((SOON_S, SOON_S, LATER_S)))
        yield at_s


def _burst(rng: Random, names: tuple[str, ...], at_s: float, until_s: float) -> Iterator[Act]:
    acts = list(rng.choice(PAIRS)) if rng.random() < 0.6 else rng.choices(ACTS, k=rng.randint(1, 3))
    rng.shuffle(acts)
    together = rng.random() < TOGETHER
    for act in acts:
        moment_s = at_s if together else at_s + rng.uniform(*SOON_S)
        yield {"at_seconds": round(min(max(moment_s, 0.1), until_s), 3)} | _asked(rng, act, names)


def _asked(rng: Random, act: str, names: tuple[str, ...]) -> Act:
    if act == "profile":
        return {act: "nonsense" if rng.random() < BESIDE_THE_NAMES else rng.choice(names)}
    return {act: rng.choice(REASONS) if act == "reset" else True}
