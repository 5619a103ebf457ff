"""What no change of settings and no restart may forget: each bank's session, the supply's heat.

A profile may be for other cells, or do without a rule. What was counted is kept by the number of
cells in parallel, and goes on when settings for them are in force again: going to another profile
and back is no way around the limits of a session.

The latch is not written while closed; the journal is. So while closed the counts go there too, as
``text_of``, and after an end without a word ``gone_on_from`` takes them from there.
"""

import json
import logging
from collections.abc import Mapping
from dataclasses import dataclass, replace

from pydantic import TypeAdapter, ValidationError

from supervisor.control.latch import Finite, Kept
from supervisor.control.operations import KEY as CONTACTOR
from supervisor.guidance.tally import NAMES
from supervisor.protection.verdict import Memory
from supervisor.settings.model import SupervisorSettings

TALLY, HEAT = "tally", "supply_thermal"
LOST = "sessions that were lost"  # the kept state could not be read: whose, nobody knows
NOTHING_YET = {"counted": 0.0, "is_whole": 1.0, "is_used_up": 0.0}
OF_A_SESSION: Mapping[str, Memory] = {
    "session_charge": NOTHING_YET,
    "session_hold": NOTHING_YET,
    "session_time": NOTHING_YET,
    TALLY: {f"{name} {key}": value for name in NAMES for key, value in NOTHING_YET.items()},
}
PULSES = {key: value for key, value in OF_A_SESSION[TALLY].items() if key.startswith("pulses ")}
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class _Told:
    """By ``text_of``."""

    arming: str
    memories: dict[str, dict[str, Finite]]


_TOLD = TypeAdapter(_Told)


class Remembered:
    """Of all settings that were in force, by what they share with those that are."""

    def __init__(self, kept: Kept | None) -> None:
        """``kept`` from before the start; None: there was none, nothing has ever been charged."""
        self._all: dict[str, Memory] = dict(kept.memories) if kept else {}
        if kept and not kept.memories:
            self._all[LOST] = {}
        if kept and not kept.is_whole:
            self._lose_closings()

    @property
    def all(self) -> Mapping[str, Memory]:
        return self._all

    @property
    def of_contactor(self) -> Memory | None:
        return self._all.get(CONTACTOR)

    def keep(self, settings: SupervisorSettings, memories: Mapping[str, Memory]) -> None:
        """As it is by now, with these settings in force."""
        for key in OF_A_SESSION.keys() - memories.keys():
            self._note_lost(_name(key, settings))
        if HEAT not in memories:
            self.another_supply()
        self._all |= {_name(key, settings): memory for key, memory in memories.items()}

    def _note_lost(self, name: str) -> None:
        """It may have grown, or begun anew, and nothing counted that."""
        if memory := self._all.get(name):
            flags = {key: 0.0 for key in memory if key.endswith(("is_whole", "is_used_up"))}
            self._all[name] = {**memory, **_counts(memory), **flags}

    def _lose_closings(self) -> None:
        """One is missing. Of which cells, the settings in force now do not say: they may have been
        edited since."""
        for name in filter(_is_of_session, list(self._all)):
            self._note_lost(name)

    def another_supply(self) -> None:
        """Nobody knows how hot it is."""
        self._all.pop(HEAT, None)

    def of(self, settings: SupervisorSettings) -> dict[str, Memory]:
        """What rules and guide of these settings go on from, by their own keys."""
        sessions = {
            key: self._all.get(_name(key, settings), None if LOST in self._all else nothing_yet)
            for key, nothing_yet in OF_A_SESSION.items()
        }
        tally = sessions[TALLY]
        if tally and not tally.keys() & PULSES:  # of an older program, which counted none
            sessions[TALLY] = {**tally, **PULSES}
        others = {key: self._all[key] for key in (HEAT,) if key in self._all}
        return others | {key: memory for key, memory in sessions.items() if memory is not None}


def _name(key: str, settings: SupervisorSettings) -> str:
    if key not in OF_A_SESSION:
        return key
    return f"{key}, {settings.bank.cells_in_parallel} cells"


def text_of(kept: Kept, arming: str) -> str:
    """What the journal is told: sessions, and the arming of the latch that they were closed by."""
    sessions = {name: memory for name, memory in kept.memories.items() if _is_of_session(name)}
    return json.dumps({"arming": arming, "memories": sessions})


def gone_on_from(kept: Kept, arming: str, text: str) -> Kept:
    """After an end without a word: as kept by this arming, with the sessions as the journal had
    them last, if that is of the same arming.

    What came after it is missing all the same, so it is as little whole as what was kept.
    """
    try:
        told = _TOLD.validate_json(text)
    except ValidationError:
        told = _Told("", {})
    if arming and told.arming == arming and _is_like(told.memories, kept.memories):
        more = {
            name: memory
            for name, memory in told.memories.items()
            if _is_no_less(memory, kept.memories[name])
        }
        return replace(kept, memories={**kept.memories, **more})
    log.warning("what was counted since the last closing is not known: no limit counts it")
    return kept


def _is_of_session(name: str) -> bool:
    return name.partition(",")[0] in OF_A_SESSION


def _is_like(sessions: Mapping[str, Memory], kept: Mapping[str, Memory]) -> bool:
    """Of the same cells and rules, and nothing that cannot be: else it would count from zero."""
    names = {name: memory.keys() for name, memory in kept.items() if _is_of_session(name)}
    values = [each for memory in sessions.values() for each in memory.items()]
    is_sound = all(v >= 0 if k.endswith("counted") else v in (0.0, 1.0) for k, v in values)
    return is_sound and names == {name: memory.keys() for name, memory in sessions.items()}


def _is_no_less(told: Memory, kept: Memory) -> bool:
    """Of no count."""
    told_counts, kept_counts = _counts(told), _counts(kept)
    return all(told_counts[key] >= value for key, value in kept_counts.items())


def _counts(memory: Memory) -> dict[str, float]:
    """As it goes on after an end without a word: one used up counts from zero."""
    return {
        key: 0.0 if memory.get(key.removesuffix("counted") + "is_used_up") else value
        for key, value in memory.items()
        if key.endswith("counted")
    }
