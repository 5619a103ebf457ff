"""``holdwatch web``: serves the status page, ``/api/status`` and ``/metrics``."""

import signal
import socket
import sys
from pathlib import Path

import click

from supervisor.settings.model import Web


class UnfitSettings(click.ClickException):
    exit_code = 78


@click.command("web")
@click.option(
    "--run-dir",
    type=click.Path(path_type=Path),
    default=Path("/run/holdwatch"),
    show_default=True,
    help="Where the supervisor publishes its status.",
)
@click.option(
    "--config",
    type=click.Path(path_type=Path),
    help="Settings file; only its web block is used.",
)
@click.option("--listen", metavar="ADDRESS", help="Address to listen on; 0.0.0.0 for all.")
@click.option("--port", type=click.IntRange(0, 65535), help="Port; 0 for any free one.")
def command(run_dir: Path, config: Path | None, listen: str | None, port: int | None) -> None:
    """Serve the status page, /api/status and /metrics. Shows, never acts."""
    import uvicorn  # noqa: PLC0415 - late, so that other commands start without the web packages

    from supervisor.status.app import create_app  # noqa: PLC0415

    defaults = _web_settings(config) if config else Web()
    listening = _listen(listen or defaults.listen, defaults.port if port is None else port)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: sys.exit(0))
    server = uvicorn.Server(
        uvicorn.Config(
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
    )
    click.echo(f"Status page: {_url(listening)}", err=True)
    server.run(sockets=[listening])


def _web_settings(config: Path) -> Web:
    from supervisor.settings.faults import SettingsFaults  # noqa: PLC0415
    from supervisor.settings.load import load_settings  # noqa: PLC0415

    try:
        settings, _ = load_settings(config)
    except SettingsFaults as faults:
        raise UnfitSettings(str(faults)) from faults
    return settings.web


def _listen(address: str, port: int) -> socket.socket:
    """A listening socket. Raises ClickException (exit code 1) when there is none to be had."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    try:
        return socket.create_server((address, port), family=family, backlog=64)
    except OSError as error:
        reason = (error.strerror or str(error)).split(" (while")[0].lower()
        raise click.ClickException(
            f"cannot serve the page on {address}, port {port}: {reason}. "
            "The protection is not affected. Stop what uses the port, or choose another "
            "with --port or --listen."
        ) from error


def _url(listening: socket.socket) -> str:
    address, port = listening.getsockname()[:2]
    if address in ("0.0.0.0", "::"):
        address = socket.gethostname()
    return f"http://[{address}]:{port}/" if ":" in address else f"http://{address}:{port}/"
