"""Sending one request to the daemon and telling the answer; used by close, open and reset."""

import json
import os
from dataclasses import asdict
from pathlib import Path

import click

from supervisor.cli.common import EXIT_FAILED, EXIT_STALE, fail
from supervisor.control.requests import OPEN_SOCKET_NAME, SOCKET_NAME, Reply, ask


def ask_and_tell(run_dir: Path, act: str, reason: str = "", *, as_json: bool = False) -> None:
    """Exit 0 when done, 1 when refused, 75 when no daemon answers."""
    reply = asked(run_dir, act, reason)
    if as_json:
        click.echo(json.dumps(asdict(reply), indent=2))
    else:
        click.echo(f"{reply.message}\nthe circuit is {reply.circuit}")
    if not reply.done:
        raise click.exceptions.Exit(EXIT_FAILED)


def _socket_name(run_dir: Path, act: str) -> str:
    """Everybody may open; whoever may use it takes the socket that strangers cannot hold up."""
    may_all = os.access(run_dir / SOCKET_NAME, os.W_OK)
    return OPEN_SOCKET_NAME if act == "open" and not may_all else SOCKET_NAME


def asked(run_dir: Path, act: str, reason: str = "") -> Reply:
    """The daemon's answer. Raises Exit, with words said, when there is none."""
    name = _socket_name(run_dir, act)
    socket = run_dir / name
    try:
        return ask(run_dir, act, reason, socket_name=name)
    except FileNotFoundError:
        remedy = "start it (holdwatch run), or give its --run-dir"
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
