"""A failing scenario made short: whatever can go, goes, as long as the same invariant breaks."""

import math
from collections.abc import Callable, Iterator
from copy import deepcopy
from typing import Any

from supervisor.bench.campaign.run import Run, run_document

TRIES = 40
ROUNDED = (0, 1)  # decimals that times are rounded to, the coarser first

Document = dict[str, Any]
Cut = Callable[[Document], Document]


class Shrinker:
    """Bounded: after ``tries`` runs the shortest so far has to do."""

    def __init__(self, document: Document, failed: Run, tries: int = TRIES) -> None:
        self._wanted = failed.broken[0]  # the gravest
        self._left = tries
        self.document, self.run = document, failed

    def shrink(self) -> Document:
        for cuts in (_without_acts, _shorter, _without_overrides, _without_parts, _rounded):
            for cut in cuts(self.document):
                self._try(cut)
        self.document["expect"] = _came_of(self.run)
        return self.document

    def _try(self, cut: Cut) -> None:
        if self._left <= 0:
            return
        shorter = cut(deepcopy(self.document))
        if shorter == self.document:
            return
        self._left -= 1
        came = run_document(shorter, seed=self.run.seed, run=self.run.run)
        if self._fails_alike(came):
            self.document, self.run = shorter, came

    def _fails_alike(self, came: Run) -> bool:
        if came.outcome == "error":
            return came.violations == self.run.violations
        return self._wanted in came.broken


def _came_of(run: Run) -> dict[str, Any]:
    """Only the invariant is to fail in the saved scenario, not the outcome besides."""
    if "f" in run.broken:
        return {"outcome": "closed"}
    expect: dict[str, Any] = {"outcome": run.ended}
    if run.tripped_by:
        expect["tripped_by"] = run.tripped_by
    return expect


def _without_acts(document: Document) -> Iterator[Cut]:
    """All requests at once; faults one at a time, each with what heals it; then what is left."""
    yield _without_requests
    for act in document["timeline"]:
        if "fault" in act:
            yield lambda d, act=act: _drop(d, act, act["fault"]["kind"])  # type: ignore[misc]
        elif "kill" in act:
            yield lambda d, act=act: _drop(d, act, None)  # type: ignore[misc]
    for act in document["timeline"]:
        if "fault" not in act and "kill" not in act:
            yield lambda d, act=act: _drop(d, act, None)  # type: ignore[misc]


def _without_requests(document: Document) -> Document:
    kept = [act for act in document["timeline"] if act.keys() & {"fault", "kill", "clear"}]
    return document | {"timeline": kept}


def _drop(document: Document, act: dict[str, Any], healed: str | None) -> Document:
    rest = [other for other in document["timeline"] if other != act]
    kinds = {other["fault"]["kind"] for other in rest if "fault" in other}
    if healed is not None and healed not in kinds:
        rest = [other for other in rest if other.get("clear") != healed]
    return document | {"timeline": rest}


def _shorter(document: Document) -> Iterator[Cut]:
    for share in (0.5, 0.7, 0.85):
        seconds = max(math.ceil(document["seconds"] * share), 1)
        yield lambda d, seconds=seconds: _ended(d, min(seconds, d["seconds"]))  # type: ignore[misc]


def _ended(document: Document, seconds: float) -> Document:
    timeline = [act for act in document["timeline"] if act["at_seconds"] <= seconds]
    return document | {"seconds": seconds, "timeline": timeline}


def _without_overrides(document: Document) -> Iterator[Cut]:
    for path in document["overrides"]:
        yield (
            lambda d, path=path: (
                d
                | {  # type: ignore[misc]
                    "overrides": {k: v for k, v in d["overrides"].items() if k != path}
                }
            )
        )


def _without_parts(document: Document) -> Iterator[Cut]:
    for part in document["plant"]:
        yield (
            lambda d, part=part: (
                d
                | {  # type: ignore[misc]
                    "plant": {k: v for k, v in d["plant"].items() if k != part}
                }
            )
        )


def _rounded(document: Document) -> Iterator[Cut]:
    for at, _ in enumerate(document["timeline"]):
        for decimals in ROUNDED:
            yield lambda d, at=at, decimals=decimals: _round_time(d, at, decimals)  # type: ignore[misc]


def _round_time(document: Document, at: int, decimals: int) -> Document:
    if at < len(document["timeline"]):
        act = document["timeline"][at]
        act["at_seconds"] = round(act["at_seconds"], decimals)
    return document
