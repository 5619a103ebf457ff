"""Sample answers of ``/api/history``: what was recorded of the hut's charge."""

import math
from datetime import datetime, timedelta
from typing import Any

from supervisor.snapshot import Snapshot

SESSION = 7
CHANNELS = {"front": "v", "far": "v", "current": "a"}


def record(
    snapshot: Snapshot, *, length_s: float = 600.0, points: int = 120, late_s: float = 0.0
) -> dict[str, Any]:
    """A front cell that rises to 3.462 V while the current is turned down, and some noise.

    ``late_s``: so long before the snapshot the record ends.
    """
    newest = datetime.fromisoformat(snapshot.wall) - timedelta(seconds=late_s)
    bucket_s = length_s / points
    before_s = [round(bucket_s * (points - 1 - at), 3) for at in range(points)]
    columns: dict[str, list[float | None]] = {"before_s": list(before_s)}
    for name, unit in CHANNELS.items():
        means = [_mean(name, before / length_s) for before in before_s]
        spread = 0.6 if unit == "a" else 0.002
        columns[f"{name}_mean_{unit}"] = [round(mean, 5) for mean in means]
        columns[f"{name}_low_{unit}"] = [round(mean - spread, 5) for mean in means]
        columns[f"{name}_high_{unit}"] = [round(mean + spread, 5) for mean in means]
    return {
        "session": SESSION,
        "bank": snapshot.bank,
        "simulated": snapshot.simulated,
        "profile": snapshot.profile,
        "began_utc": utc(newest - timedelta(seconds=length_s)),
        "newest_utc": utc(newest),
        "bucket_s": bucket_s,
        "columns": columns,
        "gaps": [],
        "note": "",
    }


def with_gap(answer: dict[str, Any], from_at: int, to_at: int) -> dict[str, Any]:
    """Nothing good was read in these buckets."""
    columns = {
        name: [
            None if name != "before_s" and from_at <= at < to_at else value
            for at, value in enumerate(values)
        ]
        for name, values in answer["columns"].items()
    }
    before_s = answer["columns"]["before_s"]
    return answer | {"columns": columns, "gaps": [[before_s[from_at], before_s[to_at]]]}


def utc(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%SZ}"


def _mean(name: str, to_go: float) -> float:
    """``to_go`` is 1 at the beginning, 0 at the end."""
    wave = math.sin(40 * to_go)
    if name == "current":
        return 118.4 + 20.0 * math.floor(3 * to_go) + 0.5 * wave
    return {"front": 3.462, "far": 3.455}[name] - 0.06 * to_go**0.5 + 0.0005 * wave
