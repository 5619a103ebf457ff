"""``holdwatch web`` as a process: address, signals, port taken."""

import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
import samples

COMMAND = [sys.executable, "-m", "supervisor", "web"]


@contextmanager
def web(run_dir: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    arguments = [*COMMAND, "--run-dir", str(run_dir), "--port", "0", *options]
    with subprocess.Popen(arguments, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stderr is not None
            yield process, process.stderr.readline()
        finally:
            process.kill()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_serves_and_leaves_clean(tmp_path: Path, number: signal.Signals) -> None:
    samples.publish(tmp_path, samples.CLOSED, age_s=60)
    with web(tmp_path) as (process, line):
        assert line.startswith("Page: http://127.0.0.1:")
        address = line.split()[-1]
        answer = httpx.get(address + "api/status", timeout=10)
        assert answer.status_code == 200
        assert answer.json()["bank"] == samples.CLOSED.bank
        assert "server" not in answer.headers
        assert httpx.get(address, timeout=10).text.startswith("<!DOCTYPE html>")
        assert "holdwatch_up 0.0" in httpx.get(address + "metrics", timeout=10).text
        process.send_signal(number)
        _, rest = process.communicate(timeout=10)
        assert (process.returncode, rest) == (0, "")


def test_port_taken(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        done = subprocess.run(
            [*COMMAND, "--run-dir", str(tmp_path), "--port", port],
            capture_output=True,
            text=True,
            check=False,
            timeout=30,
        )
    assert done.returncode == 1
    assert f"127.0.0.1, port {port}: address already in use" in done.stderr
    assert "--port" in done.stderr
    assert "Traceback" not in done.stderr


def test_address_of_another_machine(tmp_path: Path) -> None:
    with web(tmp_path, "--listen", "192.0.2.1") as (process, line):
        process.wait(timeout=10)
        assert process.returncode == 1
        assert "cannot serve the page on 192.0.2.1" in line


def test_unfit_settings(tmp_path: Path) -> None:
    file = tmp_path / "bank.yaml"
    file.write_text("web: {port: yes}\n")
    with web(tmp_path, "--config", str(file)) as (process, line):
        process.wait(timeout=10)
        assert process.returncode == 78
        assert "bank.yaml" in line


def test_nothing_that_acts_is_loaded() -> None:
    """The web process can reach no device and knows no rule: it reads one file."""
    code = "import sys, supervisor.cli.web, supervisor.status.app; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    rooms = {name.split(".")[1] for name in loaded if name.startswith("supervisor.")}
    assert rooms <= {"cli", "devices", "settings", "snapshot", "status"}
    assert {name for name in loaded if name.startswith("supervisor.devices.")} <= {
        "supervisor.devices.errors"
    }
    assert not loaded & {"smbus2", "gpiozero", "lgpio", "adafruit_ads1x15", "numpy"}
