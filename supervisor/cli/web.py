"""``holdwatch web``: serves the status page, ``/api/status`` and ``/metrics``."""

import os
import signal
import socket
import sys
import threading
from pathlib import Path

import click

from supervisor.cli.common import errors_in_words, fail, run_dir_option, say
from supervisor.settings.model import Web


@click.command()
@run_dir_option(of_running=True)
@click.option(
    "--config", type=click.Path(path_type=Path), help="Settings file; only its web block is used."
)
@click.option("--listen", metavar="ADDRESS", help="Address to listen on; 0.0.0.0 for all.")
@click.option("--port", type=click.IntRange(0, 65535), help="Port; 0 for any free one.")
@click.option("--until-eof", is_flag=True, help="End when standard input does: with its starter.")
def command(
    run_dir: Path, config: Path | None, listen: str | None, port: int | None, until_eof: bool
) -> None:
    """Serve the page, /api/status and /metrics. Shows, never acts."""
    if until_eof:
        threading.Thread(target=_end_with_input, daemon=True).start()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: sys.exit(0))
    web = _web_settings(config) if config else Web()
    listening = _listen(listen or web.listen, web.port if port is None else port)
    _serve(run_dir, listening)


def _end_with_input() -> None:
    sys.stdin.buffer.read()
    os.kill(os.getpid(), signal.SIGTERM)


def _web_settings(config: Path) -> Web:
    from supervisor.settings.load import load_settings  # only with --config

    with errors_in_words():
        return load_settings(config)[0].web


def _listen(address: str, port: int) -> socket.socket:
    """A listening socket; leaves with exit code 1 and a sentence when there is none to be had."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    try:
        listening = socket.create_server((address, port), family=family, backlog=64)
        # Inherited by each connection; without it every answer waits 40 ms for the peer's ACK.
        listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return listening
    except OSError as error:
        reason = (error.strerror or str(error)).split(" (while")[0].lower()
        raise fail(
            f"holdwatch: cannot serve the page on {address}, port {port}: {reason}\n"
            "  why it matters: nothing can be read from a browser; the protection is not affected\n"
            "  what to do: stop what uses the port, or choose another with --port or --listen"
        ) from None


def _serve(run_dir: Path, listening: socket.socket) -> None:
    import uvicorn  # the web packages load only once the port is ours

    from supervisor.status.app import create_app

    settings = uvicorn.Config(
        create_app(run_dir, socket.gethostname()),
        http="h11",
        ws="none",
        loop="asyncio",
        lifespan="off",
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        limit_concurrency=64,
        timeout_graceful_shutdown=1,
    )
    say(f"Page: {_url(listening)}")
    uvicorn.Server(settings).run(sockets=[listening])


def _url(listening: socket.socket) -> str:
    address, port = listening.getsockname()[:2]
    if address in ("0.0.0.0", "::"):
        address = socket.gethostname()
    return f"http://[{address}]:{port}/" if ":" in address else f"http://{address}:{port}/"
