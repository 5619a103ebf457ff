"""Whether a channel goes along with what is put on its leads: if not, no line tells anything."""

from collections.abc import Mapping, Sequence

from supervisor.commissioning.measuring import CannotTell
from supervisor.control.build_record import Finding
from supervisor.readings import Channel, Quality, Reading

LEAST = 0.3  # of the way that the reference goes; a wrong gain is no such matter. Ours, no source
REVERSED, SWAPPED, STILL = "reversed lead", "swapped leads", "it does not follow its leads"
REMEDIES = {
    REVERSED: "Change the two leads of this channel over: plus to plus, and of the shunt the lead "
    "from the side of the supply to the plus input.",
    SWAPPED: "Put each lead on its own terminal, front to front; or put the inputs in the settings "
    "right.",
    STILL: "See whether the source is on these very leads, whether they are whole, and whether the "
    "inputs in the settings are the ones they go to.",
}

Scan = Mapping[Channel, Reading]


def follows(channel: Channel, true: Sequence[float], seen: Sequence[Scan]) -> Finding | None:
    """What is wrong with how it goes along; None when nothing is. ``true``: what was put on its
    leads, point by point, and ``seen`` what all channels showed."""
    shares = {one: _share(one, true, seen) for one in seen[0]}
    own = shares.pop(channel)
    if own is None or own >= LEAST:
        return None
    others = [one for one, share in shares.items() if share and share >= LEAST]
    defect = REVERSED if own <= -LEAST else SWAPPED if others else STILL
    words = f"of what was put on its leads it shows {own:.0%}"
    if others and defect == SWAPPED:
        words += f"; {others[0].words} follows instead"
    return _misled(channel, defect, words)


def reversed_by(channel: Channel, reason: CannotTell) -> Finding | None:
    """When it gives no value for the one reason that its lead is the wrong way round."""
    words = str(reason)
    return _misled(channel, REVERSED, words) if Quality.LEAD_REVERSED.value in words else None


def _misled(channel: Channel, defect: str, words: str) -> Finding:
    what = f"{channel.words} follows what is put on its leads"
    return Finding(what, False, words=words, defect=defect, remedy=REMEDIES[defect])


def _share(channel: Channel, true: Sequence[float], seen: Sequence[Scan]) -> float | None:
    """How far its reading goes while the reference goes from its lowest to its highest; None when
    it has no value at both."""
    low, high = true.index(min(true)), true.index(max(true))
    ends = seen[low][channel].value, seen[high][channel].value
    way = true[high] - true[low]
    if ends[0] is None or ends[1] is None or not way:
        return None
    return (ends[1] - ends[0]) / way
