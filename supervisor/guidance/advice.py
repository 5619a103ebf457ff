"""What to do in each stage of the charge, in a sentence or two."""

from supervisor.snapshot import Circuit, Stage

ADVICE = {
    Stage.NONE: "The circuit is open.",
    Stage.BULK: "The current is the limit: keep it at the target, watch the supply's heat. "
    "The voltage hardly moves for hours; the end comes fast.",
    Stage.TAPER: "The voltage has left its flat part: ease down in small turns, "
    "each a few minutes after the last, and stay beside it.",
    Stage.HOLD: "Keep the voltage in its band: the current falls by itself, the knob must come "
    "down again and again. It ends when next to nothing flows.",
    Stage.REST: "Full and open: leave it alone while the rest is watched.",
}
# Of a supply that is regulated.
BY_ITSELF = {
    Stage.TAPER: "The supply's own limit is near: look whether it holds its voltage.",
    Stage.HOLD: "The supply holds the voltage by itself, and the current falls. It ends when next "
    "to nothing flows.",
}
NOTHING_FLOWS = "Nothing flows: look at the supply and its fuse, or open it."
BETWEEN_PULSES = "Open between two pulses: it closes again by itself. Leave the knob as it is."


def advice(stage: Stage, circuit: Circuit, *, regulated: bool, has_stopped: bool) -> str:
    """``has_stopped``: the current, without fading."""
    if circuit is Circuit.PAUSED:
        return BETWEEN_PULSES
    if has_stopped and stage is Stage.HOLD:
        return NOTHING_FLOWS
    own = BY_ITSELF if regulated else {}
    return own.get(stage, ADVICE[stage])
