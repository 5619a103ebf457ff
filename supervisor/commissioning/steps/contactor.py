"""Coil, auxiliary contact, release time, and a daemon that is killed."""

from supervisor.commissioning.deeds import CLOSED_BY_OHMMETER, CoilOnly, Source
from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.person import CLOSES
from supervisor.commissioning.steps.coil import CoilOnBench, Opened, coil, opens_by_itself
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.control.build_record import Finding
from supervisor.readings import Channel
from supervisor.settings.fitted import fitted_cells

OPERATIONS = 20
SOONEST_MS = 2.0  # that any contact opens after its coil: common practice, no source
LIVE_V = 3.30
KILLED_OPEN_WITHIN_S = 3.5  # the service's watchdog of 2 s, its clearing up, and the contact

COIL_CAUTIONS = (
    "Take rings, watch and bracelet off; wear eye protection near the cells. Bars and cells can "
    "not be switched off, and a tool across them burns.",
    "The mains side is work for a licensed electrician, by the rules that hold where you are.",
)


class DriveStep:
    key = "drive"
    cautions = COIL_CAUTIONS
    measures = (
        "The contact at rest, told to close, and told to open. Good: open, closed, open; and with "
        "a driver fed by edges, open in time when the edges stop while the pin stays high."
    )

    def run(self, bench: Bench) -> Outcome:
        bench.person.does(CoilOnly())
        with coil(bench) as one:
            one.rest()
            at_rest = one.is_closed()
            one.hold()
            told = one.is_closed(held=True)
            one.drop()
            one.rest()
            after = one.is_closed()
            defect, remedy = _defect(at_rest, told, after)
            follows = Finding(
                "the contact follows the coil's pin",
                not defect,
                words=f"at rest {_said(at_rest)}, told to close {_said(told)}, "
                f"told to open {_said(after)}",
                defect=defect,
                remedy=remedy,
            )
            if defect or bench.settings.contactor.drive != "pulse":
                return Outcome((follows,))
            return Outcome((follows, _lets_go_of_a_steady_high(bench, one)))


class AuxiliaryStep:
    key = "auxiliary"
    cautions = COIL_CAUTIONS
    measures = (
        "The auxiliary contact beside an ohmmeter across the main contacts, on which there is no "
        "other wire. Good: both say the same, open and closed."
    )

    def run(self, bench: Bench) -> Outcome:
        bench.person.does(CoilOnly())
        with coil(bench) as one:
            one.rest()
            at_rest = one.is_closed(), one.is_seen(CLOSED_BY_OHMMETER)
            one.hold()
            told = one.is_closed(), one.is_seen(CLOSED_BY_OHMMETER, held=True)
            one.drop()
            one.rest()
            after = one.is_closed()
        changes = told[0] and not after
        return Outcome(
            (
                _agrees("open", *at_rest, wanted=False),
                _agrees("closed", *told, wanted=True),
                Finding(
                    "it changes with the contactor",
                    changes,
                    words=f"told to close {_said(told[0])}, told to open {_said(after)}",
                    defect="" if changes else "auxiliary contact does not change",
                    remedy="Check its wires, and contactor.auxiliary.contact in the settings.",
                ),
            )
        )


class ReleaseStep:
    key = "release"
    cautions = COIL_CAUTIONS
    measures = (
        f"From the last signal that holds the coil to the open contact, {OPERATIONS} times. Good: "
        "the longest is within release_milliseconds, and dropout_milliseconds with a driver fed by "
        "edges."
    )

    def run(self, bench: Bench) -> Outcome:
        bench.person.does(CoilOnly())
        times_s = []
        with coil(bench) as one:
            for number in range(1, OPERATIONS + 1):
                bench.person.is_shown(f"operation {number} of {OPERATIONS}")
                one.hold(0.5)
                if not one.is_closed():
                    raise CannotTell(
                        f"operation {number}: the contactor did not close (repeat the step drive)"
                    )
                one.drop()
                opened = one.opens()
                if opened.after_s is None:
                    return Outcome((_stays_closed(number),))
                times_s.append(opened.after_s)
                one.rest(0.3)
        return Outcome((_released(bench, times_s),), as_found={"longest_ms": 1000 * max(times_s)})


class KillStep:
    key = "kill"
    cautions = (*COIL_CAUTIONS, "The daemon is killed with the coil on: the coil alone is fed.")
    measures = (
        "The daemon is started, told to close, and killed without a warning. Good: the contact is "
        f"closed before, and open by itself within {KILLED_OPEN_WITHIN_S:g} s."
    )

    def run(self, bench: Bench) -> Outcome:
        bench.person.does(CoilOnly())
        cells = tuple(channel.value for channel in fitted_cells(bench.settings))
        bench.person.does(Source((Channel.SHUNT.value,), 0.0, millivolts=0.0))
        bench.person.does(Source(cells, LIVE_V))  # or the daemon would not close
        bench.person.tells(f"The daemon is started, and then: {CLOSES}")
        killed = bench.leaves.kill_a_daemon(
            bench.settings, lambda: bench.person.saw(CLOSED_BY_OHMMETER)
        )
        before = Finding(
            "the contact is closed before the daemon is killed",
            killed.was_closed,
            words=_said(killed.was_closed),
            defect="" if killed.was_closed else "the contact was not closed before the kill",
            remedy="An opening proves nothing then. Do the steps drive and auxiliary again.",
        )
        if not killed.was_closed:
            return Outcome((before,))
        opened = opens_by_itself(bench, killed.at_s, KILLED_OPEN_WITHIN_S)
        return Outcome((before, _let_go(opened)))


def _let_go(opened: Opened) -> Finding:
    return Finding(
        "the contact opens after the daemon is killed",
        opened.is_open,
        measured=opened.after_s,
        unit="s",
        high=KILLED_OPEN_WITHIN_S,
        words="" if opened.after_s else f"{_said(not opened.is_open)} after that time",
        defect="" if opened.is_open else "the pin keeps its level after the daemon's death",
        remedy="Run it by its unit file, which drops the pin after a death (holdwatch "
        "install-units); and build a driver that is fed by edges (hardware page).",
    )


def _lets_go_of_a_steady_high(bench: Bench, one: CoilOnBench) -> Finding:
    """As after a process that stands still: no edge comes, and the pin has any level."""
    high_ms = _longest_ms(bench)
    one.hold()
    one.leave_high()
    opened = one.opens(high_ms / 1000)
    return Finding(
        "no more edges, the pin high: the contact opens",
        opened.is_open,
        measured=None if opened.after_s is None else 1000 * opened.after_s,
        unit="ms",
        high=high_ms,
        uncertainty=None if opened.after_s is None else 1.0,
        words="" if opened.after_s else f"{_said(not opened.is_open)} after that time",
        defect="" if opened.is_open else "the driver holds with a steady high",
        remedy="Feed it through a capacitor, so that edges alone charge it (hardware page); or "
        "write the drop-out time that it really has, if `holdwatch check` bears it.",
    )


def _defect(at_rest: bool, told: bool, after: bool) -> tuple[str, str]:
    """By the pattern of closed and open; nothing when it is as it should be."""
    match at_rest, told, after:
        case False, True, False:
            return "", ""
        case True, False, True:
            return (
                "the driver is active-low",
                "Take a driver that pulls in on a high level: with this one the coil is on while "
                "the Pi starts, and when it is dead.",
            )
        case True, True, True:
            return (
                "the contact is welded or stuck closed",
                "Measure across the main contacts with the coil's feed off. Replace a contactor "
                "that stays closed; it must not be used.",
            )
        case False, True, True:
            return (
                "the contact does not open again",
                "The coil is still fed, or the contact sticks: measure the coil's voltage.",
            )
        case False, False, _:
            return (
                "the contactor does not close",
                "Check the coil's feed and its driver, contactor.pin, and the auxiliary contact.",
            )
    return "the contact does not follow its pin", "Check driver, coil and auxiliary contact."


def _agrees(name: str, auxiliary: bool, ohmmeter: bool, *, wanted: bool) -> Finding:
    passed = auxiliary is ohmmeter is wanted
    defect = ""
    if ohmmeter is not wanted:
        closed = "the contact is welded or stuck closed"
        defect = "the main contact does not close" if wanted else closed
    elif not passed:
        defect = "the auxiliary contact says the contrary"
    return Finding(
        f"{name}: auxiliary contact and ohmmeter agree",
        passed,
        words=f"auxiliary contact {_said(auxiliary)}, ohmmeter {_said(ohmmeter)}",
        defect=defect,
        remedy="Replace a contactor that does not follow its coil. If the ohmmeter is right, "
        "contactor.auxiliary.contact says the wrong kind.",
    )


def _stays_closed(number: int) -> Finding:
    return Finding(
        "release time",
        False,
        words=f"operation {number}: still closed after 5 s",
        defect="the contact is welded or stuck closed",
        remedy="Do the step drive again.",
    )


def _released(bench: Bench, times_s: list[float]) -> Finding:
    longest_ms = 1000 * max(times_s)
    high_ms = _longest_ms(bench)
    if longest_ms < SOONEST_MS:
        return Finding(
            f"release time, the longest of {len(times_s)}",
            False,
            measured=longest_ms,
            unit="ms",
            low=SOONEST_MS,
            high=high_ms,
            uncertainty=1.0,
            words="no contact opens so soon",
            defect="the auxiliary contact follows the coil",
            remedy="Its input sees the coil's wire, not a contact: follow both wires. A contact "
            "that is welded would be told open.",
        )
    passed = longest_ms <= high_ms
    return Finding(
        f"release time, the longest of {len(times_s)}",
        passed,
        measured=longest_ms,
        unit="ms",
        high=high_ms,
        uncertainty=1.0,
        words=f"shortest {1000 * min(times_s):.1f} ms",
        defect="" if passed else "slow release",
        remedy="A bare diode across the coil slows it several times: put a Zener diode or a TVS "
        "clamp in series with it. Or write the longest time, with a margin, as "
        "contactor.release_milliseconds, if `holdwatch check` bears it.",
    )


def _longest_ms(bench: Bench) -> float:
    """By the settings, from what fed the driver last to the open contact."""
    contactor = bench.settings.contactor
    dropout_ms = (contactor.dropout_milliseconds or 0.0) if contactor.drive == "pulse" else 0.0
    return dropout_ms + contactor.release_milliseconds


def _said(closed: bool) -> str:
    return "closed" if closed else "open"
