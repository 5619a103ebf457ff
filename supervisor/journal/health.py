"""How the journal's writer does: for the status, the metrics, and the log."""

from dataclasses import dataclass


@dataclass
class Health:
    """Since its start. Written by the writer's thread, read by the loop."""

    depth: int = 0  # records that wait
    written: int = 0
    dropped_samples: int = 0
    dropped_events: int = 0
    cpu_s: float = 0.0
    session: int | None = None
    trouble: str = ""  # why nothing can be written now
    size_bytes: int | None = None  # of its pages in use; all three None until it has been written
    most_bytes: int | None = None
    disk_free_bytes: int | None = None
