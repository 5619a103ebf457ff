"""Physical facts that defeat any software behind the sensors: what is beyond its reach.

Each is looked up at the parts themselves, never in what the daemon says. The list is argued in
DEVELOPERS.md; keep it short.
"""

from collections.abc import Callable
from dataclasses import dataclass

from supervisor.bench.campaign.violation import Violation
from supervisor.readings import Channel
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.ads1115 import ChipTrouble
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.coil import NEVER
from supervisor.simulator.lead import Lead
from supervisor.simulator.world import World


@dataclass(frozen=True, slots=True)
class Fact:
    """``excuses``: invariant and what it is about, as one word, such as "e current"."""

    name: str
    excuses: frozenset[str]
    holds: Callable[[SupervisorSettings, World], bool]


def _welded(_settings: SupervisorSettings, world: World) -> bool:
    """Nothing else parts the circuit: no relay on the mains side, or the bank itself feeds it."""
    contactor = world.plant.contactor
    mains = world.plant.mains
    parted = mains is not None and not mains.welded and world.plant.supply.reverse_ohm is None
    return contactor.welded and contactor.closed and not parted


def _releases_late(settings: SupervisorSettings, world: World) -> bool:
    """Later than the settings claim, and the mains side is not there to go at once."""
    mains = settings.mains_contactor
    at_once = mains is not None and mains.opens == "every_opening"
    return releases_late(settings, world) and not at_once


def releases_late(settings: SupervisorSettings, world: World) -> bool:
    """Later than the settings claim; an opening under way keeps the time it began with."""
    claimed_s = settings.contactor.release_milliseconds / 1000
    contactor = world.plant.contactor
    is_opening = contactor.closed and not contactor.energised
    opens_late = is_opening and claimed_s < contactor.due_s - world.clock.now_s() < NEVER
    return opens_late or contactor.release_s > claimed_s


def _held_by_level(settings: SupervisorSettings, world: World) -> bool:
    """The whole process stands still, or is dead, and a static level keeps the coil on."""
    clock = world.clock
    stood_still = isinstance(clock, SimulatedClock) and clock.now_s() <= clock.stood_still_until_s
    is_gone = stood_still or not world.owner_lives
    return settings.contactor.drive == "level" and is_gone


def _voltage_lies(settings: SupervisorSettings, world: World) -> bool:
    """A lead lies so that no reading shows the limit passed, nor the two cells differing."""
    leads = {c: lead for c, lead in world.leads.items() if c is not Channel.SHUNT}
    if not any(_lies(lead) for lead in leads.values()):
        return False
    rules = settings.protection
    shown = [lead.shown for lead in leads.values()]
    if max(shown) > rules.overvoltage.trip_volts or min(shown) < rules.undervoltage.trip_volts:
        return False
    balance = rules.balance
    return balance is None or len(shown) < 2 or abs(shown[0] - shown[1]) <= balance.trip_volts


def _voltage_lies_unguarded(settings: SupervisorSettings, world: World) -> bool:
    """A second line that is whole has a lead of its own to the front cell."""
    return _voltage_lies(settings, world) and not _is_guarded(settings, world)


def _is_guarded(settings: SupervisorSettings, world: World) -> bool:
    if settings.second_line is None or world.second_line is None:
        return False
    name = settings.second_line.converter
    is_absent = settings.converters[name].address in world.wire.absent
    chip_is_whole = not is_absent and world.chips[name].trouble == ChipTrouble()
    return chip_is_whole and world.second_line.is_whole


def _current_lies(settings: SupervisorSettings, world: World) -> bool:
    """One shunt, and nothing to compare it with: it shows neither too much nor a reverse."""
    lead, true_a = world.leads[Channel.SHUNT], world.plant.current_a
    shown_a = lead.shown
    if abs(shown_a - true_a) <= TRUE_ENOUGH * abs(true_a):
        return False
    rules = settings.protection
    return -rules.reverse_current.trip_amperes <= shown_a <= rules.overcurrent.trip_amperes


def _stage_lies(_settings: SupervisorSettings, world: World) -> bool:
    """Which stage it is shows in the cells' voltage; a lie about it hides the stage's limits."""
    return any(_lies(lead) for lead in world.leads.values())


def _coil_lets_go_unseen(settings: SupervisorSettings, world: World) -> bool:
    """Open by itself, with no auxiliary contact to tell, or one that sticks at closed: it closes
    again as soon as it can."""
    broken = any(f.kind in ("coil_open", "contactor_stuck_open") for f in world.faults)
    return broken and (settings.contactor.auxiliary is None or world.auxiliary_shows is True)


def _probe_lies(settings: SupervisorSettings, world: World) -> bool:
    """Every probe on the cells shows something else than their temperature."""
    cells = [name for name, probe in settings.probes.items() if probe.place == "cells"]
    return all(world.probes[name].stuck_c is not None for name in cells)


def _lies(lead: Lead) -> bool:
    return lead.held_v is not None or bool(lead.added) or lead.reversed


TRUE_ENOUGH = 0.003  # of the current: within the guard band
EXPLAINS_FOR_S = 5.0  # after its end: rules time anew, a filter settles, a coil lets go
FALSE_V = "false cell voltage, contradicted by no other reading"
FACTS = (
    Fact(
        "contact welded, nothing else parts the circuit",
        frozenset(
            {
                "a voltage",
                "b temperature",
                "c current",
                "e lead",
                "e stage",
                "e voltage",
                "e current",
                "e coil",
            }
        ),
        _welded,
    ),
    Fact(
        "contactor slower than its settings claim",
        frozenset(
            {
                "a voltage",
                "b temperature",
                "c current",
                "e lead",
                "e stage",
                "e voltage",
                "e current",
                "e coil",
            }
        ),
        _releases_late,
    ),
    Fact(
        "process stands still or is dead, coil held by a static level",
        frozenset(
            {
                "a voltage",
                "b temperature",
                "c current",
                "d coil",
                "e stage",
                "e voltage",
                "e current",
            }
        ),
        _held_by_level,
    ),
    Fact(FALSE_V, frozenset({"e voltage"}), _voltage_lies),
    Fact(f"{FALSE_V}, and no second line", frozenset({"a voltage"}), _voltage_lies_unguarded),
    Fact("false current", frozenset({"c current", "e current"}), _current_lies),
    Fact("false voltage or current, and a stage with it", frozenset({"e stage"}), _stage_lies),
    Fact(
        "coil lets go, and no auxiliary contact tells", frozenset({"h coil"}), _coil_lets_go_unseen
    ),
    Fact("every probe on the cells is stuck", frozenset({"b temperature"}), _probe_lies),
)
FASTER = "a cell rose faster than the settings promise to survive"


class Reach:
    """Remembers when each fact held last: it explains nothing long after it has ended."""

    def __init__(self, settings: SupervisorSettings, world: World) -> None:
        self.settings, self._world = settings, world
        self._held_at_s: dict[Fact, float] = {}

    def look(self) -> None:
        now_s = self._world.clock.now_s()
        for fact in FACTS:
            if fact.holds(self.settings, self._world):
                self._held_at_s[fact] = now_s

    def excuse(self, violation: Violation) -> str | None:
        """The fact that puts this violation beyond reach."""
        key = f"{violation.invariant} {violation.about}"
        since_s = self._world.clock.now_s() - EXPLAINS_FOR_S
        facts = (fact for fact, at_s in self._held_at_s.items() if at_s >= since_s)
        return next((fact.name for fact in facts if key in fact.excuses), None)
