"""What the metrics tell of the record: whether it is kept, and what that costs."""

from supervisor.status.series import Series, one

JOURNAL_SERIES: tuple[Series, ...] = (
    Series(
        "holdwatch_journal_queue_records",
        "1",
        "Records that wait for the journal's thread.",
        lambda s: one(s.journal.depth),
    ),
    Series(
        "holdwatch_journal_records_total",
        "1",
        "Records that the journal has written since the supervisor started.",
        lambda s: one(s.journal.written),
        kind="counter",
    ),
    Series(
        "holdwatch_journal_dropped_total",
        "1",
        "Records that were dropped because the disk was too slow, by what they were.",
        lambda s: (
            (("sample",), s.journal.dropped_samples),
            (("event",), s.journal.dropped_events),
        ),
        ("what",),
        kind="counter",
    ),
    Series(
        "holdwatch_journal_cpu_seconds_total",
        "seconds",
        "CPU time of the journal's thread since the supervisor started.",
        lambda s: one(s.journal.cpu_s),
        kind="counter",
    ),
    Series(
        "holdwatch_journal_size_bytes",
        "bytes",
        "Size of the journal; absent until it has been written.",
        lambda s: one(s.journal.size_bytes),
    ),
    Series(
        "holdwatch_journal_limit_bytes",
        "bytes",
        "What the journal is kept below by giving up old sessions.",
        lambda s: one(s.journal.most_bytes),
    ),
    Series(
        "holdwatch_journal_disk_free_bytes",
        "bytes",
        "What is free on the journal's disk; absent until it has been written.",
        lambda s: one(s.journal.disk_free_bytes),
    ),
    Series(
        "holdwatch_journal_writable",
        "0 or 1",
        "1 while the journal can be written.",
        lambda s: one(not s.journal.trouble),
    ),
)
