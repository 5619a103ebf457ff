"""Codes of events that the record itself goes by; all others pass through it as they are."""

CLOSES = frozenset({"closed", "resumed"})
UNSEEN_END = "unseen_end"  # see ``is_unseen_end``
TRIPS = frozenset({"trip", UNSEEN_END})
OPENS = TRIPS | {"opened", "paused", "finished", "ended"}
SESSION_LEFT = "session_left"  # other settings come into force
SESSION_GOES_ON = "session_goes_on"  # after that, or after a restart; ``profile`` in its data
SESSION_BEGUN_ANEW = "session_begun_anew"  # the one that was to go on is not there
SESSION_REMOVED = "session_removed"
FOUND_AT_START = "locked_out_at_start"
URGENT = TRIPS | {FOUND_AT_START}
TURNS = CLOSES | OPENS | {"opening", "reset"}  # what the story of a charge hangs on
REMARKS = frozenset({"stage", "cue", "cue_ended"})  # what it can be told without

# Said while no session is under way, and of none: what a build does without, and what was
# calibrated long ago, at each start; what the guide sees while open.
OF_NO_SESSION = REMARKS | {"without", "calibration", "rest"}


def is_unseen_end(code: str) -> bool:
    """Whether an event is the end of a run that nobody saw, while closed; it is dated to when that
    run was last heard of. Not so the lockout that a start finds (``FOUND_AT_START``): the latch
    could not be read perhaps, after a run that ended with words. Where the run before did end
    unseen, the journal notes that beside it, in the session that was under way."""
    return code == UNSEEN_END
