"""The page's address for a phone, as text and as a code."""

import socket
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from supervisor.cli import page_address as module
from supervisor.cli.main import main
from supervisor.cli.page_address import own_address, page_address
from supervisor.settings.model import Web

EXAMPLE = Path(__file__).parents[2] / "config" / "hut-bank.yaml"


def settings(folder: Path, listen: str) -> Path:
    text = EXAMPLE.read_text("utf-8")
    assert "  # listen: 127.0.0.1" in text
    path = folder / "hut.yaml"
    path.write_text(text.replace("  # listen: 127.0.0.1", f"  listen: {listen}"), "utf-8")
    return path


@pytest.mark.parametrize(
    ("web", "address"),
    [
        (Web(listen="192.168.1.20"), "http://192.168.1.20:8462/"),
        (Web(listen="192.168.1.20", port=80), "http://192.168.1.20:80/"),
        (Web(listen="hut.lan"), "http://hut.lan:8462/"),
        (Web(listen="fe80::1"), "http://[fe80::1]:8462/"),
        (Web(listen="10.0.0.2", certificate_file="/c", key_file="/k"), "https://10.0.0.2:8462/"),
    ],
)
def test_the_address_that_is_listened_on(web: Web, address: str) -> None:
    assert page_address(web) == address


@pytest.mark.parametrize("listen", ["0.0.0.0", "::"])
def test_of_all_addresses_the_one_that_others_see(
    monkeypatch: pytest.MonkeyPatch, listen: str
) -> None:
    seen = {socket.AF_INET: "192.168.7.3", socket.AF_INET6: "fd00::3"}
    monkeypatch.setattr(module, "own_address", lambda family: seen[family])
    assert ("192.168.7.3" if listen == "0.0.0.0" else "[fd00::3]") in page_address(
        Web(listen=listen)
    )


@pytest.mark.parametrize("listen", ["127.0.0.1", "localhost", "::1", "127.1.2.3"])
def test_what_no_phone_can_reach_is_refused(
    capsys: pytest.CaptureFixture[str], listen: str
) -> None:
    with pytest.raises(click.exceptions.Exit):
        page_address(Web(listen=listen))
    assert "web.listen: 0.0.0.0" in capsys.readouterr().err


@pytest.mark.parametrize("family", [socket.AF_INET, socket.AF_INET6])
def test_this_machine_has_an_address(family: socket.AddressFamily) -> None:
    socket.inet_pton(family, own_address(family))


def test_the_command_shows_code_and_text(tmp_path: Path) -> None:
    config = settings(tmp_path, "192.168.1.20")
    result = CliRunner().invoke(main, ["status", "--qr", "--config", str(config)])
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[-1] == "http://192.168.1.20:8462/"
    code = lines[:-1]
    assert len({len(line) for line in code}) == 1
    assert set("".join(code)) <= set("\u2588\u2580\u2584 ")


def test_without_settings_it_asks_for_them(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["status", "--qr", "--run-dir", str(tmp_path)])
    assert result.exit_code == 2
    assert "--config" in result.stderr
