"""Local time: quiet hours by the clock on the wall, and when something was."""

from datetime import UTC, datetime, tzinfo

from supervisor.messages.settings import QuietHours


def is_quiet(hours: QuietHours | None, wall_s: float, zone: tzinfo | None) -> bool:
    """Whether what can wait has to. ``zone`` None: this machine's.

    Only what a clock on the wall shows counts, on the days too on which it is put forward or back.
    """
    if hours is None:
        return False
    shown = f"{datetime.fromtimestamp(wall_s, UTC).astimezone(zone):%H:%M}"
    if hours.begin < hours.end:
        return hours.begin <= shown < hours.end
    return shown >= hours.begin or shown < hours.end


def both_times(wall_s: float, zone: tzinfo | None) -> str:
    """2026-07-01 14:03:22 CEST (12:03:22 UTC); once where local time is UTC."""
    try:
        utc = datetime.fromtimestamp(wall_s, UTC)
        local = utc.astimezone(zone)
    except (OverflowError, OSError, ValueError):
        return "time not known: the clock was wild"
    if not local.utcoffset():
        return f"{utc:%Y-%m-%d %H:%M:%S} UTC"
    form = "%H:%M:%S" if utc.date() == local.date() else "%Y-%m-%d %H:%M:%S"
    return f"{local:%Y-%m-%d %H:%M:%S %Z} ({utc.strftime(form)} UTC)"
