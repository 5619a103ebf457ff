"""Sending one request to the daemon and telling the answer; used by close, open and reset."""

import json
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path

import click

from supervisor.cli.common import EXIT_FAILED, EXIT_STALE, fail
from supervisor.control.requests import OPEN_SOCKET_NAME, SOCKET_NAME, Reply, ask

PATIENCE_S = 5.0
FIRST_PATIENCE_S = 2.0  # where there is another one to try


def ask_and_tell(run_dir: Path, act: str, reason: str = "", *, as_json: bool = False) -> None:
    """Exit 0 when done, 1 when refused, 75 when no daemon answers."""
    reply = asked(run_dir, act, reason)
    if as_json:
        click.echo(json.dumps(asdict(reply), indent=2))
    else:
        click.echo(f"{reply.message}\nthe circuit is {reply.circuit}")
    if not reply.done:
        raise click.exceptions.Exit(EXIT_FAILED)


def open_all(run_dirs: Sequence[Path], reason: str = "", *, as_json: bool = False) -> None:
    """All at once: one that hangs keeps no other closed.

    Exit 0 when all have done it, 75 when one has not answered, else 1.
    """

    def reply(run_dir: Path) -> Reply | None:
        with suppress(click.exceptions.Exit):
            return asked(run_dir, "open", reason)
        return None

    with ThreadPoolExecutor(len(run_dirs)) as pool:
        replies = list(pool.map(reply, run_dirs))
    told = list(zip(run_dirs, replies, strict=True))
    if as_json:
        answers = {str(run_dir): one and asdict(one) for run_dir, one in told}
        click.echo(json.dumps(answers, indent=2))
    else:
        for run_dir, one in told:
            if one:
                click.echo(f"{run_dir}: {one.message}; the circuit is {one.circuit}")
    if None in replies:
        raise click.exceptions.Exit(EXIT_STALE)
    if not all(one and one.done for one in replies):
        raise click.exceptions.Exit(EXIT_FAILED)


def _doors(run_dir: Path, act: str) -> list[tuple[str, float]]:
    """Sockets to try, and how long each. Everybody may open, and by either of them; whoever may
    use it first takes the one that strangers cannot hold up."""
    if act != "open":
        return [(SOCKET_NAME, PATIENCE_S)]
    if not os.access(run_dir / SOCKET_NAME, os.W_OK):
        return [(OPEN_SOCKET_NAME, PATIENCE_S)]
    return [(SOCKET_NAME, FIRST_PATIENCE_S), (OPEN_SOCKET_NAME, PATIENCE_S)]


def asked(run_dir: Path, act: str, reason: str = "") -> Reply:
    """The daemon's answer. Raises Exit, with words said, when there is none."""
    *first, (last, patience_s) = _doors(run_dir, act)
    for name, first_patience_s in first:
        with suppress(OSError, ValueError):
            return ask(run_dir, act, reason, first_patience_s, socket_name=name)
    socket = run_dir / last
    try:
        return ask(run_dir, act, reason, patience_s, socket_name=last)
    except FileNotFoundError:
        remedy = "start it (holdwatch run), or give its --run-dir"
        if act == "open":
            remedy += (
                "; if the circuit may be closed,\n  open it by hand now, at the mains switch; "
                "sudo holdwatch drop switches off what a killed daemon left on"
            )
        text = f"no daemon: there is no {socket}\n  what to do: {remedy}"
        raise fail(text, EXIT_STALE) from None
    except PermissionError:
        text = f"no permission for {socket}\n  what to do: use the daemon's user, or join its group"
        raise fail(text, EXIT_STALE) from None
    except (OSError, ValueError) as error:
        text = (
            f"no answer from the daemon at {socket} ({error})\n"
            "  what to do: if the circuit may be closed, open it by hand now; then look at its log"
        )
        raise fail(text, EXIT_STALE) from None
