"""Where a phone finds the page: by the settings' web block and this machine's own address."""

import ipaddress
import socket
from pathlib import Path

import click

from supervisor.cli.common import errors_in_words, fail, say
from supervisor.settings.model import Web

SETTINGS_DIR = Path("/etc/holdwatch")
# For documentation (RFC 5737): nothing is sent, the kernel only says by which way it would go.
FAR_AWAY = {socket.AF_INET: "192.0.2.1", socket.AF_INET6: "2001:db8::1"}


def tell_address(config: Path | None, run_dir: Path) -> None:
    """The page's address on stdout, as a code to be held before a phone and as text."""
    import segno  # only here

    address = page_address(_web(config or SETTINGS_DIR / f"{run_dir.name}.yaml"))
    segno.make(address, micro=False).terminal(compact=True)
    click.echo(address)
    say("The phone must be in the same network, and `holdwatch web` must run with these settings.")


def page_address(web: Web) -> str:
    """Raises Exit, with words said, when no other machine can reach it."""
    host = web.listen
    if host in ("0.0.0.0", "::"):
        host = own_address(socket.AF_INET6 if host == "::" else socket.AF_INET)
    if _is_loopback(host):
        raise fail(
            f"holdwatch: the page listens on {host}, this machine itself: no phone can reach it\n"
            "  why: nobody on the network sees the page unless you say so\n"
            "  what to do: write web.listen: 0.0.0.0 in the settings, and see the README for who\n"
            "  can look then; or join this machine to a network"
        )
    scheme = "https" if web.certificate_file else "http"
    return f"{scheme}://[{host}]:{web.port}/" if ":" in host else f"{scheme}://{host}:{web.port}/"


def own_address(family: socket.AddressFamily) -> str:
    """Of this machine, where it would leave it; loopback when it is in no network."""
    with socket.socket(family, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((FAR_AWAY[family], 9))
            return str(probe.getsockname()[0])
        except OSError:
            return "::1" if family == socket.AF_INET6 else "127.0.0.1"


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _web(config: Path) -> Web:
    from supervisor.settings.load import load_settings

    if not config.exists():
        raise click.UsageError(f"there is no {config}: name the settings file by --config")
    with errors_in_words():
        return load_settings(config)[0].web
