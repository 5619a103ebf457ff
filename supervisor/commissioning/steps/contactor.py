"""Coil, auxiliary contact, release time, and a daemon that is killed."""

from supervisor.commissioning.deeds import CoilOnly, DidIt, PutBack, Source
from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.steps.coil import coil, seen_open_s
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.control.build_record import Finding
from supervisor.readings import Channel
from supervisor.settings.fitted import fitted_cells

OPERATIONS = 20
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
        "a driver fed by edges, open again when the edges stop."
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
        return Outcome(
            (
                Finding(
                    "the contact follows the coil's pin",
                    not defect,
                    words=f"at rest {_said(at_rest)}, told to close {_said(told)}, "
                    f"told to open {_said(after)}",
                    defect=defect,
                    remedy=remedy,
                ),
            )
        )


class AuxiliaryStep:
    key = "auxiliary"
    cautions = COIL_CAUTIONS
    measures = (
        "The auxiliary contact beside an ohmmeter across the main contacts. Good: both say the "
        "same, open and closed."
    )

    def run(self, bench: Bench) -> Outcome:
        bench.person.does(CoilOnly())
        ask = "Does an ohmmeter across the main contacts show them closed now?"
        with coil(bench) as one:
            one.rest()
            open_pair = one.is_closed(), bench.person.saw(DidIt("main_contacts", ask))
            one.hold()
            closed = one.is_closed()
            one.drop()
            one.rest()
            open_again = one.is_closed()
        return Outcome(
            (
                _agrees("open", *open_pair, wanted=False),
                Finding(
                    "it changes with the contactor",
                    closed and not open_again,
                    words=f"told to close {_said(closed)}, told to open {_said(open_again)}",
                    defect="" if closed and not open_again else "auxiliary contact does not change",
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
                took_s = one.open_after_s()
                if took_s is None:
                    return Outcome((_stays_closed(number),))
                times_s.append(took_s)
                one.rest(0.3)
        return Outcome((_released(bench, times_s),), as_found={"longest_ms": 1000 * max(times_s)})


class KillStep:
    key = "kill"
    cautions = (*COIL_CAUTIONS, "The daemon is killed with the coil on: the coil alone is fed.")
    measures = (
        "The daemon is started, told to close, and killed without a warning. Good: the contact "
        f"opens by itself within {KILLED_OPEN_WITHIN_S:g} s."
    )

    def run(self, bench: Bench) -> Outcome:
        bench.person.does(CoilOnly())
        cells = tuple(channel.value for channel in fitted_cells(bench.settings))
        bench.person.does(Source((Channel.SHUNT.value,), 0.0, millivolts=0.0))
        bench.person.does(Source(cells, LIVE_V))  # or the daemon would not close
        killed_at_s = bench.leaves.kill_a_daemon(bench.settings)
        took_s = seen_open_s(bench, killed_at_s, KILLED_OPEN_WITHIN_S)
        bench.person.does(PutBack())
        passed = took_s is not None and took_s <= KILLED_OPEN_WITHIN_S
        return Outcome(
            (
                Finding(
                    "the contact opens after the daemon is killed",
                    passed,
                    measured=took_s,
                    unit="s",
                    high=KILLED_OPEN_WITHIN_S,
                    words=""
                    if took_s is not None
                    else f"closed for {KILLED_OPEN_WITHIN_S:g} s and on",
                    defect="" if passed else "the pin keeps its level after the daemon's death",
                    remedy="Run it by its unit file, which drops the pin after a death (holdwatch "
                    "install-units); and build a driver that is fed by edges (hardware page).",
                ),
            )
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
        defect = "the contact is welded or stuck closed"
    elif not passed:
        defect = "the auxiliary contact says the contrary"
    return Finding(
        f"{name}: auxiliary contact and ohmmeter agree",
        passed,
        words=f"auxiliary contact {_said(auxiliary)}, ohmmeter {_said(ohmmeter)}",
        defect=defect,
        remedy="Replace a contactor that stays closed. If the ohmmeter is right, "
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
    contactor = bench.settings.contactor
    dropout_ms = (contactor.dropout_milliseconds or 0.0) if contactor.drive == "pulse" else 0.0
    longest_ms = 1000 * max(times_s)
    high_ms = dropout_ms + contactor.release_milliseconds
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


def _said(closed: bool) -> str:
    return "closed" if closed else "open"
