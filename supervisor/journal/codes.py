"""Codes of events that the record itself goes by; all others pass through it as they are."""

CLOSES = frozenset({"closed", "resumed"})
UNSEEN_END = "unseen_end"  # of a run, while closed; dated to when it was last heard of
TRIPS = frozenset({"trip", UNSEEN_END})
OPENS = TRIPS | {"opened", "paused", "finished", "ended"}
SESSION_LEFT = "session_left"  # other settings come into force
SESSION_GOES_ON = "session_goes_on"  # after that, or after a restart; ``profile`` in its data
SESSION_BEGUN_ANEW = "session_begun_anew"  # the one that was to go on is not there
SESSION_REMOVED = "session_removed"
FOUND_AT_START = "locked_out_at_start"
URGENT = TRIPS | {FOUND_AT_START}

# Said while no session is under way, and of none: what a build does without, at each start, and
# what the guide sees while open.
OF_NO_SESSION = frozenset({"without", "stage", "cue", "cue_ended", "rest"})
