"""``holdwatch web``: serves the status page, its data and ``/metrics``."""

import os
import signal
import socket
import sys
import threading
from collections.abc import Callable
from functools import partial
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

import click

from supervisor.cli.common import (
    EXIT_SETTINGS,
    RUN_DIR,
    STATE_DIR,
    fail,
    run_dir_option,
    say,
)
from supervisor.cli.web_settings import WebSettings, web_settings

if TYPE_CHECKING:
    from ssl import SSLContext

    from supervisor.status.opening import Opening

WAITS_TO_BE_ACCEPTED = 64
DAEMON_ANSWERS_WITHIN_S = 2.0


@click.command()
@run_dir_option(of_running=True)
@click.option(
    "--state-dir",
    type=click.Path(path_type=Path, file_okay=False),
    help=f"Folder of the journal, for the trends; left out: that in {STATE_DIR} of a run folder "
    f"in {RUN_DIR}, and none for another run folder.",
)
@click.option(
    "--config", type=click.Path(path_type=Path), help="Settings file; only its web block is used."
)
@click.option("--listen", metavar="ADDRESS", help="Address to listen on; 0.0.0.0 for all.")
@click.option("--port", type=click.IntRange(0, 65535), help="Port; 0 for any free one.")
@click.option("--until-eof", is_flag=True, help="End when standard input does: with its starter.")
@click.option(
    "--new-token",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write a new token to FILE, which must not exist, and end.",
)
def command(
    run_dir: Path,
    state_dir: Path | None,
    config: Path | None,
    listen: str | None,
    port: int | None,
    until_eof: bool,
    new_token: Path | None,
) -> None:
    """Serve the page, its data and /metrics. Shows; opens for who knows the token.

    It can never close or reset: that socket of the daemon is not for its user.
    """
    if new_token is not None:
        _write_token(new_token)
        return
    web = web_settings(config)
    if until_eof:
        threading.Thread(target=_end_with_input, daemon=True).start()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: sys.exit(0))
    listening = _listen(listen or web.listen, web.port if port is None else port)
    _serve(run_dir, _journal_of(state_dir or _usual_state_dir(run_dir)), web, listening)


def _end_with_input() -> None:
    sys.stdin.buffer.read()
    os.kill(os.getpid(), signal.SIGTERM)


def _usual_state_dir(run_dir: Path) -> Path | None:
    """Another run folder's may be anywhere: a simulation's page must not show a real record."""
    if run_dir == RUN_DIR:
        return STATE_DIR
    return STATE_DIR / run_dir.name if run_dir.parent == RUN_DIR else None


def _journal_of(state_dir: Path | None) -> Callable[[], Path] | None:
    """Looked for at each query: it may come with the first run of the daemon."""
    from supervisor.cli.export import find_journal
    from supervisor.journal.reader import NoJournal

    def find(folder: Path) -> Path:
        try:
            return find_journal(folder)
        except click.UsageError as several:
            raise NoJournal(several.message) from None

    return None if state_dir is None else partial(find, state_dir)


# --- what may be wrong before anything is served


def _listen(address: str, port: int) -> socket.socket:
    """A listening socket; leaves with exit code 1 and a sentence when there is none to be had."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    try:
        listening = socket.create_server(
            (address, port), family=family, backlog=WAITS_TO_BE_ACCEPTED
        )
    except OSError as error:
        reason = (error.strerror or str(error)).split(" (while")[0].lower()
        raise fail(
            f"holdwatch: cannot serve the page on {address}, port {port}: {reason}\n"
            "  why it matters: nothing can be read from a browser; the protection is not affected\n"
            "  what to do: stop what uses the port, or choose another with --port or --listen"
        ) from None
    from supervisor.status.server import set_up  # the web packages, once the port is ours

    set_up(listening)
    return listening


def _unfit(problem: Exception) -> click.exceptions.Exit:
    return fail(
        f"holdwatch: {problem}\n"
        "  why it matters: a page that is not what the settings say is not served\n"
        "  what to do: mend the file, or take its line out of the settings' web block",
        EXIT_SETTINGS,
    )


def _opening(run_dir: Path, web: WebSettings) -> "Opening | None":
    from supervisor.control.requests import OPEN_SOCKET_NAME, ask
    from supervisor.status.opening import Opening
    from supervisor.status.token import Unfit, read_token

    if web.token_file is None:
        return None
    try:
        token = read_token(Path(web.token_file))
    except Unfit as unfit:
        raise _unfit(unfit) from None
    to_open = partial(
        ask,
        run_dir,
        "open",
        "on the page, by its token",
        patience_s=DAEMON_ANSWERS_WITHIN_S,
        socket_name=OPEN_SOCKET_NAME,
    )
    return Opening(token, to_open)


def _tls(web: WebSettings) -> "SSLContext | None":
    from supervisor.status.tls import tls_context
    from supervisor.status.token import Unfit

    if not (web.certificate_file and web.key_file):  # the settings have both or none
        return None
    try:
        return tls_context(Path(web.certificate_file), Path(web.key_file))
    except Unfit as unfit:
        raise _unfit(unfit) from None


def _write_token(path: Path) -> None:
    from supervisor.status.token import write_new_token

    try:
        write_new_token(path)
    except FileExistsError:
        raise fail(
            f"holdwatch: {path} is there already, and nothing is overwritten\n"
            "  what to do: give another name, or remove it if nobody needs it any more"
        ) from None
    except OSError as error:
        raise fail(
            f"holdwatch: cannot write {path}: {error.strerror or error}\n"
            "  what to do: give a file in a folder that is there and may be written"
        ) from None
    say(
        f"a new token is in {path}, to be read by its owner alone\n"
        "  what to do: make it belong to the user of holdwatch web, name it in the settings as "
        "web.token_file, start holdwatch web again, and type the token into the page to open"
    )


# --- serving


def _serve(
    run_dir: Path, journal: Callable[[], Path] | None, web: WebSettings, listening: socket.socket
) -> None:
    from supervisor.status.app import create_app
    from supervisor.status.server import PageServer

    opening, tls = _opening(run_dir, web), _tls(web)
    app = create_app(run_dir, socket.gethostname(), journal=journal, opening=opening)
    server = PageServer(app, tls)
    say(f"Page: {_url(listening, 'https' if tls else 'http')}")
    if opening and not tls and not _is_loopback(listening):
        say("anybody on the network can read the token on its way: see web.certificate_file")
    server.run(sockets=[listening])


def _is_loopback(listening: socket.socket) -> bool:
    return ip_address(listening.getsockname()[0].partition("%")[0]).is_loopback


def _url(listening: socket.socket, scheme: str) -> str:
    address, port = listening.getsockname()[:2]
    if address in ("0.0.0.0", "::"):
        address = socket.gethostname()
    host = f"[{address}]" if ":" in address else address
    return f"{scheme}://{host}:{port}/"
