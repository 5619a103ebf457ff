"""``holdwatch sessions``: what the journal holds; and to remove what is not wanted."""

import json
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

import click

from supervisor.cli.common import fail, say, state_dir_option
from supervisor.cli.export import (
    chosen,
    find_journal,
    journal_errors_in_words,
    journal_option,
    warn_of_damage,
)
from supervisor.control.instance import is_claimed
from supervisor.journal.closings import last_closing
from supervisor.journal.codes import CLOSES, SESSION_LEFT, is_unseen_end
from supervisor.journal.opening import open_to_write
from supervisor.journal.pruning import remove
from supervisor.journal.reader import ProgressRow, Reader, Session
from supervisor.journal.schema import MINUTE_MS

LOCK_TIMEOUT_S = 10.0
SHOWN = {"finished": "finished (full)", "ended unseen": "ended without a word"}


@dataclass(frozen=True, slots=True)
class Listed:
    """One session, as told here. ``state``: finished (by itself, as it was full), ended, ended
    unseen, left for another profile, under way, or not ended. ``trips``: ends unseen as well."""

    number: int
    began: str
    bank: str
    cells: int
    profiles: tuple[str, ...]
    state: str
    recorded_s: float
    charged_ah: float | None
    charge_is_whole: bool
    trips: int
    a_run_ended_unseen: bool
    is_simulated: bool
    is_thinned: bool


def moment(text: str) -> datetime:
    """ISO 8601; where it names no zone, UTC, as everything that is told here."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise click.BadParameter(
            f"{text!r} is no date: write 2026-07-01, 2026-07-01T20:30 (UTC), or "
            "2026-07-01T20:30+02:00"
        ) from None
    return when if when.tzinfo else when.replace(tzinfo=UTC)


@click.command()
@state_dir_option()
@journal_option()
@click.option("--json", "as_json", is_flag=True, help="The list as JSON.")
@click.option(
    "--since",
    type=moment,
    metavar="DATE",
    help="Those that began then or later: 2026-07-01 or 2026-07-01T20:30, taken as UTC; "
    "2026-07-01T20:30+02:00 in a zone of your own.",
)
@click.option("--profile", metavar="NAME", help="Those that were closed with this profile.")
@click.option("--tripped", is_flag=True, help="Those with a trip, or in which a run ended unseen.")
@click.option(
    "--simulated/--real", "simulated", default=None, help="Only simulated ones, or only real ones."
)
@click.option(
    "--remove", "number", metavar="N", type=click.IntRange(min=1), help="Remove this one for good."
)
@click.option("--yes", is_flag=True, help="Remove it without asking.")
@click.option("--with-trip", is_flag=True, help="Remove it even though it has a trip.")
def command(
    state_dir: Path,
    journal: Path | None,
    as_json: bool,
    since: datetime | None,
    profile: str | None,
    tripped: bool,
    simulated: bool | None,
    number: int | None,
    yes: bool,
    with_trip: bool,
) -> None:
    """List the sessions of the journal, oldest first, or remove one."""
    path = journal or find_journal(state_dir)
    if number is not None:
        if as_json or since or profile or tripped or simulated is not None:
            raise click.UsageError("--remove goes with --yes and --with-trip only")
        _remove(path, number, yes=yes, with_trip=with_trip)
        return
    if yes or with_trip:
        raise click.UsageError("--yes and --with-trip go with --remove only")
    with journal_errors_in_words(path), Reader(path) as reader:
        warn_of_damage(reader, path)
        sessions = reader.sessions()
        wanted = _wanted(since, profile, tripped=tripped, simulated=simulated)
        is_kept = is_claimed(path.parent)
        listed = [_listed(reader, s, sessions, is_kept=is_kept) for s in sessions if wanted(s)]
    _tell(listed, len(sessions), as_json=as_json)


def _wanted(
    since: datetime | None, profile: str | None, *, tripped: bool, simulated: bool | None
) -> Callable[[Session], bool]:
    since_s = since.timestamp() if since else float("-inf")
    return lambda session: (
        session.began_wall_s >= since_s
        and (profile is None or profile in session.profiles)
        and (session.trips > 0 or not tripped)
        and simulated in (None, session.is_simulated)
    )


# --- list


def _listed(
    reader: Reader, session: Session, sessions: Sequence[Session], *, is_kept: bool
) -> Listed:
    """``is_kept``: a daemon is at work on this journal."""
    progress = reader.progress(session.id)
    is_whole = all(row.is_whole for row in progress) and not session.unseen_ends
    return Listed(
        number=session.id,
        began=_iso(session.began_wall_s),
        bank=session.bank,
        cells=session.cells,
        profiles=session.profiles,
        state=_state(
            reader,
            session,
            may_go_on=is_kept and session.newest_run == max(s.newest_run for s in sessions),
        ),
        recorded_s=round(_recorded_s(reader, session.id), 3),
        charged_ah=_charged_ah(progress, is_whole=is_whole),
        charge_is_whole=is_whole,
        trips=session.trips,
        a_run_ended_unseen=session.unseen_ends > 0,
        is_simulated=session.is_simulated,
        is_thinned=session.is_thinned,
    )


def _charged_ah(progress: Sequence[ProgressRow], *, is_whole: bool) -> float | None:
    """After a kill it may have been counted from zero again: then it is the most that was ever
    counted, at least."""
    counted = [row.charged_ah for row in progress if row.charged_ah is not None]
    if not counted:
        return None
    return counted[-1] if is_whole else max(counted)


def _state(reader: Reader, session: Session, *, may_go_on: bool) -> str:
    events = reader.events(session.id)
    last = last_closing(events)
    if last is not None and last.by == "finished":
        return "finished"
    if last is not None and is_unseen_end(last.by):
        return "ended unseen"
    if session.ended_wall_s is not None:
        return "ended"
    turns = [event.code for event in events if event.code in {*CLOSES, SESSION_LEFT}]
    if turns[-1:] == [SESSION_LEFT]:
        return "left for another profile"
    return "under way" if may_go_on else "not ended"


def _recorded_s(reader: Reader, session: int) -> float:
    """Over all runs; the wall clock may have been stepped, so it is not asked."""
    ends: dict[int, list[float]] = {}
    times = [(row.run, row.mono_s) for row in reader.samples(session, MINUTE_MS)]
    times += [(row.run, row.mono_s) for row in reader.progress(session)]
    for run, mono_s in times:
        ends.setdefault(run, []).append(mono_s)
    return sum(max(of_run) - min(of_run) for of_run in ends.values())


def _iso(wall_s: float) -> str:
    return f"{datetime.fromtimestamp(wall_s, UTC):%Y-%m-%dT%H:%M:%SZ}"


def _tell(listed: Sequence[Listed], total: int, *, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps([asdict(one) for one in listed], indent=2, ensure_ascii=False))
        return
    for one in listed:
        click.echo("\n".join(_lines(one)))
    if not total:
        say("no session yet: nothing was ever closed")
    elif not listed:
        say(f"none of the {total} sessions in this journal is one of those asked for")


def _lines(one: Listed) -> list[str]:
    """Short ones: a telephone's terminal is 40 columns wide."""
    simulated = "  SIMULATED" if one.is_simulated else ""
    trips = f", {one.trips} trip{'s' if one.trips > 1 else ''}" if one.trips else ""
    return [
        f"{one.number:>3}  {one.began[:16].replace('T', ' ')} UTC{simulated}",
        f"     {one.bank}, {one.cells} cells",
        f"     profile {', '.join(one.profiles)}",
        f"     {SHOWN.get(one.state, one.state)}{trips}",
        f"     {_duration(one.recorded_s)} recorded",
        f"     {_charge(one)}",
    ]


def _duration(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02} min"


def _charge(one: Listed) -> str:
    if one.charged_ah is None:
        return "charge not told"
    least = "" if one.charge_is_whole else "at least "
    return f"{least}{one.charged_ah:.1f} Ah"


# --- remove


def _remove(path: Path, number: int, *, yes: bool, with_trip: bool) -> None:
    with journal_errors_in_words(path):
        with Reader(path) as reader:
            session = chosen(reader, number, path)
            sessions = reader.sessions()
            is_kept = is_claimed(path.parent)
            told = "\n".join(_lines(_listed(reader, session, sessions, is_kept=is_kept)))
        say(told)
        _refuse_newest(session, sessions, path)
        if session.trips and not with_trip:
            raise fail(
                f"holdwatch: nothing was removed: session {number} has a trip, which may be needed "
                "as evidence\n"
                "  what to do: export or report it first, then add --with-trip"
            )
        question = f"Remove session {number} for good, with all its samples and events?"
        if not yes and not click.confirm(question, err=True):
            raise fail("nothing was removed")
        with closing(open_to_write(path, check=True, wait_s=LOCK_TIMEOUT_S)) as db:
            _refuse_newest_now(path, session)
            remove(db, number, "asked for by hand")
    say(f"session {number} was removed")


def _refuse_newest(session: Session, sessions: Sequence[Session], path: Path) -> None:
    newest_run = max((s.newest_run for s in sessions), default=0)
    may_go_on = session.ended_wall_s is None and session.newest_run == newest_run
    if may_go_on and is_claimed(path.parent):
        raise fail(
            f"holdwatch: nothing was removed: session {session.id} has not ended and may go on, "
            "and a daemon is at work\n  what to do: wait until it has ended, or end the daemon"
        )


def _refuse_newest_now(path: Path, session: Session) -> None:
    """A session may have gone on while the question stood."""
    with Reader(path) as reader:
        _refuse_newest(chosen(reader, session.id, path), reader.sessions(), path)
