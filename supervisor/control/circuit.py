"""States of the charging circuit and the only ways between them."""

from enum import Enum

from supervisor.snapshot import Circuit


class Cause(Enum):
    """What moves the circuit from one state to another."""

    CLOSE = "close"  # a request, admitted
    OPEN = "open"  # a request, or the end of the program
    TRIP = "trip"
    RESET = "reset"  # a deliberate local act, with a reason
    FULL = "full"
    PAUSE = "pause"  # a pulse of a pulsed hold has ended
    RESUME = "resume"  # the next begins: no rule stands in its way
    HINDERED = "hindered"  # a rule stands in the way of closing
    FREE = "free"  # none does any more


TRANSITIONS: dict[tuple[Circuit, Cause], Circuit] = {
    (Circuit.OPEN, Cause.CLOSE): Circuit.CLOSED,
    (Circuit.OPEN, Cause.OPEN): Circuit.OPEN,
    (Circuit.OPEN, Cause.TRIP): Circuit.LOCKED_OUT,
    (Circuit.OPEN, Cause.HINDERED): Circuit.UNFIT,
    (Circuit.CLOSED, Cause.OPEN): Circuit.OPEN,
    (Circuit.CLOSED, Cause.TRIP): Circuit.LOCKED_OUT,
    (Circuit.CLOSED, Cause.FULL): Circuit.FINISHED,
    (Circuit.CLOSED, Cause.PAUSE): Circuit.PAUSED,
    (Circuit.PAUSED, Cause.RESUME): Circuit.CLOSED,
    (Circuit.PAUSED, Cause.OPEN): Circuit.OPEN,
    (Circuit.PAUSED, Cause.TRIP): Circuit.LOCKED_OUT,
    (Circuit.PAUSED, Cause.FULL): Circuit.FINISHED,
    (Circuit.OPEN, Cause.FREE): Circuit.OPEN,
    (Circuit.UNFIT, Cause.FREE): Circuit.OPEN,
    (Circuit.UNFIT, Cause.HINDERED): Circuit.UNFIT,
    (Circuit.UNFIT, Cause.OPEN): Circuit.UNFIT,
    (Circuit.UNFIT, Cause.TRIP): Circuit.LOCKED_OUT,
    (Circuit.FINISHED, Cause.OPEN): Circuit.OPEN,
    (Circuit.FINISHED, Cause.TRIP): Circuit.LOCKED_OUT,
    (Circuit.LOCKED_OUT, Cause.OPEN): Circuit.LOCKED_OUT,
    (Circuit.LOCKED_OUT, Cause.TRIP): Circuit.LOCKED_OUT,
    (Circuit.LOCKED_OUT, Cause.RESET): Circuit.OPEN,
}


class NotAllowed(Exception):
    """There is no such way between states."""


def after(state: Circuit, cause: Cause) -> Circuit:
    """The state that follows. Raises NotAllowed."""
    try:
        return TRANSITIONS[state, cause]
    except KeyError:
        raise NotAllowed(f"{cause.value} is not possible while {state.value}") from None


def drawing() -> str:
    """The transition table as Markdown, for the documentation."""
    rows = [f"| {a.value} | {cause.value} | {b.value} |" for (a, cause), b in TRANSITIONS.items()]
    return "\n".join(["| from | cause | to |", "|---|---|---|", *rows])
