"""From the status file, and how long it has said so, to what has to be told. Pure, as ``story``.

It tells of what no event says: that nothing is known any more, that nobody acts on a cue. And of a
lockout that the journal does not tell, as it cannot be written perhaps.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from supervisor.messages import wording
from supervisor.messages.lasting import Darkness, Lasting
from supervisor.messages.message import Draft, Place
from supervisor.messages.quiet import both_times
from supervisor.messages.settings import MessageSettings
from supervisor.messages.story import StoryKept
from supervisor.snapshot import Circuit, CueView, LockoutView, Snapshot, Urgency
from supervisor.status.status_file import Status

JOURNAL_WITHIN_S = 15.0  # it tells of a trip, and knows more; so long it is given
RESET_AFTER_S = 15.0  # no lockout any more for so long, whatever the journal says
CUE_GAP_S, TROUBLE_GAP_S = 30.0, 120.0  # what flickers is still there
TROUBLE_AFTER_S = 60.0
SEES_AGAIN_AFTER_S = 30.0  # in a row: one snapshot now and then is no sight


@dataclass
class PresentKept:
    """What was seen last, and what was told and is not over yet. ``blind_since``: in words, empty
    while it sees. ``lockout_wall``: the date of the newest lockout, as the status has it."""

    bank: str = ""
    is_simulated: bool = False
    may_be_closed: bool = False
    lockout_wall: str = ""
    blind_since: str = ""
    is_cue_told: bool = False
    is_trouble_told: bool = False


class Present:
    """``kept`` and ``story`` are changed as things are told. ``where``: says which circuit it is
    as long as its bank's name is not known."""

    def __init__(
        self, settings: MessageSettings, kept: PresentKept, story: StoryKept, where: str
    ) -> None:
        self._settings = settings
        self._kept = kept
        self._story = story
        self._where = where
        self._untold, self._not_open, self._no_lockout = Lasting(), Lasting(), Lasting()
        self._darkness = Darkness()
        self._ignored, self._trouble = Lasting(CUE_GAP_S), Lasting(TROUBLE_GAP_S)

    def look(
        self, status: Status, journal_problem: str, now_s: float, wall_s: float
    ) -> list[Draft]:
        """``journal_problem``: why it cannot be read, empty when it can."""
        if status.snapshot is not None:
            self._kept.bank = status.snapshot.bank
            self._kept.is_simulated = status.snapshot.simulated
            self._kept.may_be_closed = _may_be_closed(status.snapshot)
        self._follow_end(status.snapshot)
        fresh = status.snapshot if status.fresh else None
        return [
            *self._tell_lockout(fresh, now_s, wall_s),
            *self._tell_blind(fresh, status.problem, now_s, wall_s),
            *self._tell_ignored(fresh, now_s, wall_s),
            *self._tell_trouble(fresh, journal_problem, now_s, wall_s),
        ]

    @property
    def _place(self) -> Place:
        return Place(self._kept.bank or self._where, self._kept.is_simulated)

    def _follow_end(self, snapshot: Snapshot | None) -> None:
        """Any status but the one that was found with it is of a run that began after it."""
        end, at_s = self._story.end, snapshot.published_at_s if snapshot else 0.0
        if end is None:
            return
        if end.beside_s is None:
            end.beside_s = at_s
        elif snapshot is not None and at_s != end.beside_s:
            self._story.end = None

    def _tell_lockout(self, fresh: Snapshot | None, now_s: float, wall_s: float) -> Iterator[Draft]:
        if fresh is None:
            return  # nobody knows; it begins nothing, and ends nothing
        view, lockouts = fresh.lockout, self._story.lockouts
        at_s = _wall_s(view, wall_s)
        if view is not None:
            if self._kept.lockout_wall not in ("", view.wall):
                lockouts.is_another(view.reason, at_s)
            self._kept.lockout_wall = view.wall
        is_untold = view is not None and not lockouts.stands(view.reason, at_s)
        untold_s = self._untold.look(now_s, is_so=is_untold)
        is_not_open = view is not None and view.failed_to_open and not lockouts.not_open
        not_open_s = self._not_open.look(now_s, is_so=is_not_open)
        over_s = self._no_lockout.look(now_s, is_so=view is None and lockouts.is_any)
        if over_s is not None and over_s >= RESET_AFTER_S:
            lockouts.is_gone()
        if view is not None and untold_s is not None and untold_s >= JOURNAL_WITHIN_S:
            trip = wording.Trip.from_status(view)
            lockouts.tell(trip.reason, at_s, not_open=trip.did_not_open, shown_at_s=fresh.now_s)
            yield wording.trip(trip, self._place, at_s)
        elif not_open_s is not None and not_open_s >= JOURNAL_WITHIN_S:
            lockouts.not_open = True
            yield wording.did_not_open(self._place, wall_s, "failed")

    def _tell_blind(
        self, fresh: Snapshot | None, problem: str, now_s: float, wall_s: float
    ) -> Iterator[Draft]:
        darkness = self._darkness
        darkness.look(now_s, is_dark=fresh is None)
        if self._kept.blind_since:
            if fresh is not None and darkness.clear_s >= SEES_AGAIN_AFTER_S:
                yield wording.sees_again(self._kept.blind_since, fresh.circuit, self._place, wall_s)
                self._kept.blind_since = ""
                darkness.is_over()
        elif darkness.dark_s >= self._settings.blind_after_seconds:
            lasts_s = darkness.lasts_s
            self._kept.blind_since = both_times(wall_s - lasts_s, self._settings.zone)
            yield wording.blind(
                problem, lasts_s, self._place, wall_s, is_all=darkness.is_all, after=self._after
            )

    @property
    def _after(self) -> wording.After:
        if self._story.end is None:
            return wording.After.NOTHING
        is_odd = self._kept.may_be_closed
        return wording.After.END_UNSEEN_OPEN if is_odd else wording.After.END

    def _tell_ignored(self, fresh: Snapshot | None, now_s: float, wall_s: float) -> Iterator[Draft]:
        cue = _urgent(fresh)
        for_s = self._ignored.look(now_s, is_so=cue is not None)
        if fresh is not None and for_s is None:
            self._kept.is_cue_told = False
        if fresh is None or cue is None or for_s is None or self._kept.is_cue_told:
            return
        if for_s >= self._settings.cue_ignored_after_seconds:
            self._kept.is_cue_told = True
            yield wording.ignored(cue, for_s, fresh.circuit, self._place, wall_s)

    def _tell_trouble(
        self, fresh: Snapshot | None, journal_problem: str, now_s: float, wall_s: float
    ) -> Iterator[Draft]:
        text = (fresh.journal.trouble or journal_problem) if fresh else ""
        for_s = self._trouble.look(now_s, is_so=bool(text))
        if fresh is not None and for_s is None:
            self._kept.is_trouble_told = False
        lasts = for_s is not None and for_s >= TROUBLE_AFTER_S
        if text and lasts and not self._kept.is_trouble_told:
            self._kept.is_trouble_told = True
            yield wording.trouble(text, self._place, wall_s)


def _urgent(fresh: Snapshot | None) -> CueView | None:
    """The first cue that cannot wait."""
    cues = fresh.guidance.cues if fresh and fresh.guidance else ()
    return next((cue for cue in cues if cue.urgency == Urgency.NOW.value), None)


def _wall_s(view: LockoutView | None, otherwise_s: float) -> float:
    try:
        return datetime.fromisoformat(view.wall).timestamp() if view else otherwise_s
    except (ValueError, OverflowError, OSError):
        return otherwise_s


def _may_be_closed(snapshot: Snapshot) -> bool:
    has_failed = snapshot.lockout is not None and snapshot.lockout.failed_to_open
    is_closed = snapshot.circuit in (Circuit.CLOSED.value, Circuit.PAUSED.value)
    return is_closed or has_failed or snapshot.coil_on or bool(snapshot.auxiliary_closed)
