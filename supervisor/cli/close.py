"""``holdwatch close``: as things are, or as another profile, step by step."""

import time
from contextlib import suppress
from math import isfinite
from pathlib import Path
from typing import Any

import click

from supervisor.cli.asking import ask_and_tell, asked
from supervisor.cli.common import EXIT_FAILED, fail, run_dir_option, say
from supervisor.cli.completion import profiles_of_daemon
from supervisor.snapshot import Circuit

READY_WITHIN_S = 30.0
LOOK_EVERY_S = 0.5
LEAST_A = 1.0  # less tells no shunt from another
NOT_COMPARED = "not compared: a shunt that is not the one in the settings would not be noticed"
WAYS_OUT = {
    Circuit.CLOSED.value: "open it first (holdwatch open)",
    Circuit.PAUSED.value: "open it first (holdwatch open): that ends the pulsed hold",
    Circuit.FINISHED.value: "open it first (holdwatch open): that ends the charge before",
    Circuit.LOCKED_OUT.value: "look into it, then holdwatch reset --reason WHAT_WAS_FOUND",
}
AGREES_SHARE, AGREES_A = 0.1, 0.2  # of what a clamp meter and a shunt may differ by


@click.command()
@run_dir_option(of_running=True)
@click.option(
    "--profile",
    metavar="NAME",
    shell_complete=profiles_of_daemon,
    help="Put this profile of the settings in force first.",
)
@click.option("--yes", is_flag=True, help="The steps of the profile are done: do not ask.")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
def command(run_dir: Path, profile: str | None, yes: bool, as_json: bool) -> None:
    """Ask the daemon to close the contactor. It refuses while anything stands in the way.

    With --profile it first asks for what is to be done by hand, and compares the current
    afterwards: another supply on another shunt is where a wire is easily forgotten.
    """
    if as_json and profile and not yes:
        raise click.UsageError("--json with --profile needs --yes: there is nobody to ask")
    if profile is not None:
        _change_to(run_dir, profile, yes=yes)
    ask_and_tell(run_dir, "close", as_json=as_json)
    if profile is not None and yes:
        say(NOT_COMPARED)
    elif profile is not None:
        _compare_current(run_dir)


def _change_to(run_dir: Path, profile: str, *, yes: bool) -> None:
    known = _data(run_dir, "profile")
    if profile not in known:
        raise fail(
            f"there is no profile {profile!r}\n"
            f"  what to do: choose one of {', '.join(known)}, or add it to the settings file"
        )
    _check_circuit(run_dir, profile)
    say(f"{profile}: {known[profile]['about']}")
    for step in known[profile]["steps"]:
        if not yes and not click.confirm(f"  {step}. Done?", err=True):
            raise fail("not closed: that comes first")
    reply = asked(run_dir, "profile", profile)
    if not reply.done:
        raise fail(f"{reply.message}\nthe circuit is {reply.circuit}")
    _wait_until_ready(run_dir)


def _check_circuit(run_dir: Path, profile: str) -> None:
    """Before anybody unscrews a lead: may another profile be put in force at all?"""
    status = _data(run_dir, "status")
    way_out = WAYS_OUT.get(status.get("circuit", ""))
    if (
        way_out
        and status.get("circuit") == Circuit.CLOSED.value
        and status.get("profile") == profile
    ):
        raise fail(f"nothing to do: the circuit is closed, with the profile {profile}", 0)
    if way_out:
        raise fail(
            f"not closed: the circuit is {status['circuit']}{_why_locked(status)}, and another "
            f"profile needs it open\n  what to do: {way_out}"
        )


def _why_locked(status: dict[str, Any]) -> str:
    lockout = status.get("lockout")
    return f" ({lockout['reason']})" if lockout else ""


def _wait_until_ready(run_dir: Path) -> None:
    """Its own checks: zero of the shunt, leads, every rule. What still stands in the way is told by
    the closing itself."""
    until_s = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < until_s:
        status = _data(run_dir, "status")
        if status.get("circuit") == "open" and not status.get("not_closing_because"):
            return
        time.sleep(LOOK_EVERY_S)


def _compare_current(run_dir: Path) -> None:
    meter_a = _meter_amperes(run_dir)
    if meter_a is None:
        say(NOT_COMPARED)
        return
    status = _data(run_dir, "status")
    if status["circuit"] != Circuit.CLOSED.value:
        told = f"the circuit is {status['circuit']} meanwhile{_why_locked(status)}"
        raise fail(f"not compared: {told}")
    shunt: dict[str, Any] = next((c for c in status["channels"] if c["channel"] == "shunt"), {})
    if (measured := shunt.get("value")) is None:
        raise _opened(run_dir, "the current cannot be told")
    if max(abs(measured), abs(meter_a)) < LEAST_A:
        say(f"not compared: below {LEAST_A:g} A any two shunts agree; look again with more current")
        return
    unsure_a = AGREES_A + shunt.get("uncertainty", 0.0)
    if abs(measured - meter_a) > AGREES_SHARE * abs(meter_a) + unsure_a:
        raise _opened(
            run_dir,
            f"the shunt says {measured:.1f} A, your meter {meter_a:g} A: is this the shunt of the "
            "profile, and are its wires on its small screws?",
        )
    say(f"agreed: {measured:.1f} A")


def _meter_amperes(run_dir: Path) -> float | None:
    """What the meter shows; None when nobody compares. A slip of the finger is asked once more."""
    shown = ""
    for question in (
        "The contactor is closed and watched. Bring the current up. What does the supply or a "
        "clamp meter show, in amperes? (Enter: not compared)",
        "That is no number of amperes. Once more",
    ):
        try:
            shown = click.prompt(question, default="", show_default=False, err=True).strip()
        except click.Abort:
            say("\nleft; the contactor stays closed, and watched")
            return None
        if not shown:
            return None
        with suppress(ValueError):
            meter_a = float(shown.replace(",", ".").removesuffix("A").strip())
            if isfinite(meter_a):
                return meter_a
    raise _opened(run_dir, f"{shown!r} is no number of amperes")


def _opened(run_dir: Path, why: str) -> click.exceptions.Exit:
    reply = asked(run_dir, "open", why)
    return fail(f"opened: {why}\nthe circuit is {reply.circuit}", EXIT_FAILED)


def _data(run_dir: Path, act: str) -> dict[str, Any]:
    return asked(run_dir, act).data or {}
